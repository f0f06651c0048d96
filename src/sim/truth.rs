//! What is really so in the simulated bank, which no frame tells. For tests and for the campaign of the engine.

use super::cell::Cell;
use super::pack::Pack;
use super::world::World;

/// The bank as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Seconds since the start.
    pub secs: f64,
    /// Air around the bank, °C.
    pub air: f64,
    /// Voltage of the bus, V.
    pub bus: f64,
    /// What the loads draw, A.
    pub load: f64,
    /// What each source gives, A.
    pub sources: Vec<f64>,
    /// The voltage that each source keeps to now, V; none while it is off.
    pub set_volts: Vec<Option<f64>>,
    /// The packs.
    pub packs: Vec<PackTruth>,
}

/// A pack as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct PackTruth {
    /// Rated capacity, Ah.
    pub rated: f64,
    /// Current, A; positive charges.
    pub amps: f64,
    /// Charge that went in and came out since the start, Ah, whatever is reported.
    pub passed: (f64, f64),
    /// Charge path closed.
    pub charge: bool,
    /// Discharge path closed.
    pub discharge: bool,
    /// Heater on.
    pub heating: bool,
    /// Power of the heater now, W.
    pub heater_watts: f64,
    /// Between the cells and the bus, ohm.
    pub path: f64,
    /// Switched off the bus.
    pub off: bool,
    /// Drawn where the current sensor does not see it, A.
    pub unseen: f64,
    /// What each temperature sensor would feel at its place, °C.
    pub felt: Vec<f64>,
    /// The cells.
    pub cells: Vec<CellTruth>,
}

/// A cell as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct CellTruth {
    /// State of charge against its own capacity, 0 to 1.
    pub soc: f64,
    /// Charge, Ah.
    pub charge: f64,
    /// Capacity, Ah.
    pub capacity: f64,
    /// Voltage, V.
    pub volts: f64,
    /// Voltage at rest, V.
    pub open_circuit: f64,
    /// Temperature, °C.
    pub celsius: f64,
    /// Instant resistance now, with its connection, ohm.
    pub ohms: f64,
    /// Connection inside its measured voltage, ohm.
    pub connection: f64,
    /// What it loses by itself, A.
    pub leak: f64,
    /// What is bled from it, by the balancer or a bleeder that is stuck, A.
    pub bleed: f64,
    /// Instant resistance of its own at 25 °C, without the connection, ohm.
    pub ohms_at_25: f64,
}

pub(super) fn of(world: &World) -> Truth {
    Truth {
        secs: world.secs,
        air: world.air,
        bus: world.bus,
        load: world.load,
        sources: world.chargers.iter().map(|charger| charger.amps).collect(),
        set_volts: world.chargers.iter().map(super::charger::Charger::set_volts).collect(),
        packs: world.packs.iter().map(of_pack).collect(),
    }
}

fn of_pack(pack: &Pack) -> PackTruth {
    PackTruth {
        rated: pack.spec.capacity,
        amps: pack.amps,
        passed: pack.passed,
        charge: pack.bms.charge,
        discharge: pack.bms.discharge,
        heating: pack.heating,
        heater_watts: pack.heater_watts(),
        path: pack.path(),
        off: pack.off,
        unseen: pack.unseen,
        felt: pack.felt.clone(),
        cells: pack.cells.iter().zip(&pack.volts).map(|(cell, &volts)| of_cell(cell, volts)).collect(),
    }
}

fn of_cell(cell: &Cell, volts: f64) -> CellTruth {
    CellTruth {
        soc: cell.soc(),
        charge: cell.charge,
        capacity: cell.capacity,
        volts,
        open_circuit: cell.open_circuit(),
        celsius: cell.celsius,
        ohms: cell.instant_ohms() + cell.connection,
        connection: cell.connection,
        leak: cell.leak,
        bleed: cell.bleed,
        ohms_at_25: cell.ohms,
    }
}

//! A pack as its scenario describes it: cells, sensors, label, balancer, BMS, heater, meter.

use crate::model::bank::{BalanceKind, SensorRole};
use serde::Deserialize;

/// A pack.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::sim) struct Pack {
    /// Rated capacity, Ah.
    pub(in crate::sim) capacity: f64,
    /// State of charge at the start, 0 to 1.
    pub(in crate::sim) soc: f64,
    /// Cells in series.
    #[serde(default = "Pack::usual_cells")]
    pub(in crate::sim) cells: u8,
    /// Where the temperature sensors sit.
    pub(in crate::sim) sensors: Vec<Sensor>,
    /// Loss of heat to the air, W/K.
    pub(in crate::sim) loss: f64,
    /// Temperature at the start, °C; that of the air unless given.
    #[serde(default)]
    pub(in crate::sim) celsius: Option<f64>,
    /// BMS, fuse and cables between the cells and the bus, mΩ.
    #[serde(default = "Pack::usual_path")]
    pub(in crate::sim) path_milliohm: f64,
    /// What is printed on it.
    pub(in crate::sim) label: Label,
    /// How much its cells differ.
    #[serde(default)]
    pub(in crate::sim) spread: Spread,
    /// Cells that differ from the others.
    #[serde(rename = "cell", default)]
    pub(in crate::sim) odd: Vec<OddCell>,
    /// The balancer.
    #[serde(default)]
    pub(in crate::sim) balance: Balance,
    /// When its BMS cuts off.
    #[serde(default)]
    pub(in crate::sim) bms: Bms,
    /// The heater.
    #[serde(default)]
    pub(in crate::sim) heater: Option<Heater>,
    /// What it reports, how finely and how well.
    #[serde(default)]
    pub(in crate::sim) meter: Meter,
}

impl Pack {
    fn usual_cells() -> u8 {
        4
    }

    fn usual_path() -> f64 {
        1.5
    }
}

/// A temperature sensor.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::sim) struct Sensor {
    /// What it measures.
    pub(in crate::sim) role: Role,
    /// The cell at which it sits, from 1.
    pub(in crate::sim) cell: u8,
}

words!(
    /// What a sensor measures, as the file calls it.
    Role is SensorRole: Unknown, Cell, Case, Terminal, Electronics, Ambient,
);
words!(
    /// Kind of balancing, as the file calls it.
    Balancer is BalanceKind: None, BleedAbove, BleedHighest,
);

/// What is printed on a pack.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::sim) struct Label {
    /// Rated charge current, A.
    pub(in crate::sim) charge: f64,
    /// Rated discharge current, A.
    pub(in crate::sim) discharge: f64,
    /// Current of the weakest part of the path, A.
    pub(in crate::sim) weakest: f64,
    /// Highest absorption voltage, V.
    pub(in crate::sim) absorption: f64,
    /// Highest float voltage, V.
    pub(in crate::sim) float: f64,
}

/// How much the cells of a pack differ, evenly to both sides.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(in crate::sim) struct Spread {
    /// Of capacity, as a share.
    pub(in crate::sim) capacity: f64,
    /// Of charge at the top, as a share of capacity.
    pub(in crate::sim) charge: f64,
    /// Of resistance, as a share.
    pub(in crate::sim) resistance: f64,
}

impl Default for Spread {
    fn default() -> Self {
        Self { capacity: 0.008, charge: 0.0004, resistance: 0.05 }
    }
}

/// A cell that differs from the others.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::sim) struct OddCell {
    /// Which, from 1.
    pub(in crate::sim) number: u8,
    /// Capacity as a multiple of the rated one.
    #[serde(default = "OddCell::usual_capacity")]
    pub(in crate::sim) capacity: f64,
    /// How much later than the others it is full, as a share of the rated capacity.
    #[serde(default)]
    pub(in crate::sim) behind: f64,
    /// What it loses by itself, A.
    #[serde(default)]
    pub(in crate::sim) leak: f64,
    /// Connection inside its measured voltage, mΩ.
    #[serde(default)]
    pub(in crate::sim) connection_milliohm: f64,
    /// The pack's description tells of this connection.
    #[serde(default)]
    pub(in crate::sim) connection_known: bool,
}

impl OddCell {
    fn usual_capacity() -> f64 {
        1.0
    }
}

/// The balancer.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(in crate::sim) struct Balance {
    /// Kind.
    pub(in crate::sim) kind: Balancer,
    /// Bleed current, A.
    pub(in crate::sim) amps: f64,
    /// Cell voltage from which it works, V.
    pub(in crate::sim) threshold: f64,
}

impl Default for Balance {
    fn default() -> Self {
        Self { kind: Balancer::BleedHighest, amps: 0.06, threshold: 3.42 }
    }
}

/// When a BMS cuts off.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(in crate::sim) struct Bms {
    /// Cell voltage above which charging stops, V.
    pub(in crate::sim) over_volts: f64,
    /// Cell voltage below which it all must have come before charging is allowed again, V.
    pub(in crate::sim) over_recover: f64,
    /// Cell voltage below which discharging stops, V.
    pub(in crate::sim) under_volts: f64,
    /// Cell voltage above which all must have come before discharging is allowed again, V.
    pub(in crate::sim) under_recover: f64,
    /// Temperature below which charging stops, °C; never unless given.
    pub(in crate::sim) cold_charge: Option<f64>,
    /// Temperature above which charging stops, °C.
    pub(in crate::sim) hot_charge: f64,
    /// Temperature above which everything stops, °C.
    pub(in crate::sim) hot: f64,
    /// Warns before it cuts off.
    pub(in crate::sim) pre_alarm: bool,
}

impl Default for Bms {
    fn default() -> Self {
        Self {
            over_volts: 3.75,
            over_recover: 3.45,
            under_volts: 2.50,
            under_recover: 3.00,
            cold_charge: None,
            hot_charge: 60.0,
            hot: 65.0,
            pre_alarm: false,
        }
    }
}

/// A heater, fed from the bus.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::sim) struct Heater {
    /// Power, W.
    pub(in crate::sim) watts: f64,
    /// On when the coldest cell is below, °C.
    pub(in crate::sim) on_below: f64,
    /// Off when it is above, °C.
    pub(in crate::sim) off_above: f64,
}

/// What a pack reports, how finely and how well.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(in crate::sim) struct Meter {
    /// Cell voltages, path, balancing and limits: a pack with a BMS that talks.
    pub(in crate::sim) bms_talks: bool,
    /// Resolution of cell voltages, V.
    pub(in crate::sim) cell_step: f64,
    /// Noise of cell voltages, V.
    pub(in crate::sim) cell_noise: f64,
    /// Resolution of pack voltages, V.
    pub(in crate::sim) pack_step: f64,
    /// Resolution of currents, A.
    pub(in crate::sim) current_step: f64,
    /// Noise of currents, A.
    pub(in crate::sim) current_noise: f64,
    /// What the current sensor reads too much, A.
    pub(in crate::sim) current_offset: f64,
    /// Its gain.
    pub(in crate::sim) current_gain: f64,
    /// Resolution of temperatures, K.
    pub(in crate::sim) temperature_step: f64,
    /// Noise of temperatures, K.
    pub(in crate::sim) temperature_noise: f64,
    /// Cell voltages are older than the current by this much when the first four are read, s; four by four they follow.
    pub(in crate::sim) cells_earlier: f64,
}

impl Default for Meter {
    fn default() -> Self {
        Self {
            bms_talks: true,
            cell_step: 0.001,
            cell_noise: 0.0007,
            pack_step: 0.01,
            current_step: 0.05,
            current_noise: 0.03,
            current_offset: 0.0,
            current_gain: 1.0,
            temperature_step: 0.1,
            temperature_noise: 0.05,
            cells_earlier: 0.0,
        }
    }
}

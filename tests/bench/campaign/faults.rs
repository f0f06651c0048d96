//! The faults that the campaign draws: what each is called in a scenario, the condition that is to find it, its
//! sizes from harmless over small to plain, and the life in which it can show.

use super::life::Life;

/// In which unit a size is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Unit {
    /// As the scenario takes it.
    Plain,
    /// % of the capacity, for a scenario that takes Ah.
    OfCapacity,
    /// % of the capacity that are lost over the run, for a scenario that takes A. More, and the cell comes to the knee no
    /// longer: then it is out of balance.
    OfRun,
    /// Volts of a bank of four cells.
    PerFour,
    /// Thousandths of the capacity in watts at 3.3 V a cell.
    OfPower,
    /// mΩ of a pack of four cells of 100 Ah.
    MilliohmOf100,
    /// Multiples of what is the limit of a current sensor's offset, A.
    OfOffset,
    /// Kelvin at the currents of a deep life, for a scenario that takes them at 100 A.
    KelvinDeep,
    /// Volts beside half of what the resolution leaves open.
    BeyondStep,
}

/// A kind of fault.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Kind {
    /// As scenarios call it.
    pub(crate) name: &'static str,
    /// Condition that is to find it; empty where only an estimate shows it.
    pub(crate) code: &'static str,
    /// Harmless, small, plain.
    pub(crate) sizes: [f64; 3],
    /// Unit of the sizes.
    pub(crate) unit: Unit,
    /// How the bank lives.
    pub(crate) life: Life,
    /// Shortest log that can show it, days.
    pub(crate) days: f64,
    /// What else the scenario needs.
    pub(crate) needs: Needs,
}

/// What a fault needs besides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Needs {
    /// Nothing.
    Nothing,
    /// At least two packs.
    Packs,
    /// Weather of its own (`air` is the mean): the fault is the weather.
    Weather,
    /// Days from 5 to 35 °C.
    Swing,
    /// Days that differ from 3 to 31 °C.
    Nights,
    /// A heater, in the cold.
    Heater,
    /// A pack voltage only.
    NoCells,
    /// A cell out of balance besides.
    Imbalance,
    /// A cell out of balance besides, so that balancing works.
    Bleeding,
    /// It comes and goes.
    OnAndOff,
    /// A charger that ends long before full.
    Weak,
    /// It comes after this part of the log.
    HalfWay,
    /// It comes half way through, at this hour of the day: while current flows.
    AtHour(f64),
}

impl Kind {
    /// Longest time between two sets at which it can show, s.
    pub(crate) fn slowest(&self) -> f64 {
        match self.name {
            "parallel-gone" => 2.0,
            "lead-resistive" | "bypass" => 10.0,
            _ => f64::INFINITY,
        }
    }

    /// Smallest bank that can show it, Ah: an offset larger than the current at the end of a charge lets no charge be seen
    /// to end.
    pub(crate) fn least_capacity(&self) -> f64 {
        if self.name == "current-offset" { 65.0 } else { 0.0 }
    }
}

const fn kind(name: &'static str, code: &'static str, sizes: [f64; 3], unit: Unit, life: (Life, f64, Needs)) -> Kind {
    Kind { name, code, sizes, unit, life: life.0, days: life.1, needs: life.2 }
}

use Needs::{
    AtHour, Bleeding, HalfWay, Heater, Imbalance, Nights, NoCells, Nothing, OnAndOff, Packs, Swing, Weak, Weather,
};
use Unit::{BeyondStep, KelvinDeep, MilliohmOf100, OfCapacity, OfOffset, OfPower, OfRun, PerFour, Plain};

/// Every fault.
pub(crate) const KINDS: &[Kind] = &[
    kind("out-of-balance", "imbalance", [0.4, 3.0, 7.0], OfCapacity, (Life::Shore, 2.0, Nothing)),
    kind("small-cell", "low-capacity-cell", [2.0, 11.0, 26.0], Plain, (Life::Deep, 2.0, Nothing)),
    kind("connection", "high-resistance-connection", [0.08, 0.8, 2.5], Plain, (Life::Van, 1.0, Nothing)),
    kind("outer-resistance", "", [0.5, 3.0, 8.0], Plain, (Life::Van, 1.0, Nothing)),
    kind("lead-offset", "balance-lead-fault", [0.005, 0.024, 0.050], BeyondStep, (Life::Van, 2.0, Nothing)),
    kind("lead-shared", "balance-lead-fault", [0.008, 0.035, 0.080], Plain, (Life::Van, 1.0, HalfWay)),
    kind("lead-open", "balance-lead-fault", [0.3, 0.5, 0.9], Plain, (Life::Van, 1.0, HalfWay)),
    kind("lead-resistive", "balance-lead-fault", [0.04, 0.6, 1.0], Plain, (Life::Hold, 6.0, Bleeding)),
    kind("leads-swapped", "balance-lead-fault", [1.0, 1.0, 1.0], Plain, (Life::Van, 1.0, Nothing)),
    kind("leak", "self-discharging-cell", [0.1, 2.0, 7.5], OfRun, (Life::Deep, 14.0, Nothing)),
    kind("bleeder-stuck", "self-discharging-cell", [0.1, 2.0, 2.4], OfRun, (Life::Deep, 14.0, Nothing)),
    kind("bleeder-dead", "balancing-fails", [0.0, 0.0, 0.0], Plain, (Life::Hold, 8.0, Imbalance)),
    kind("air", "cold-charge", [14.0, 4.0, -5.0], Plain, (Life::Shore, 1.0, Weather)),
    kind("air", "overtemperature", [32.0, 46.0, 53.0], Plain, (Life::Van, 1.0, Weather)),
    kind("air", "hot-exposure", [30.0, 40.0, 44.0], Plain, (Life::Van, 8.0, Weather)),
    kind("absorption-high", "charger-profile", [0.1, 0.6, 1.0], PerFour, (Life::Shore, 1.0, Nothing)),
    kind("equalise", "charger-profile", [14.3, 15.0, 15.6], PerFour, (Life::Shore, 1.0, Nothing)),
    kind("compensation", "charger-profile", [-3.0, -18.0, -24.0], PerFour, (Life::Shore, 10.0, Nights)),
    kind("float-high", "prolonged-high-float", [0.1, 0.85, 1.0], PerFour, (Life::Float, 14.0, Nothing)),
    kind("heater-weak", "heater-weak", [10.0, 85.0, 97.0], Plain, (Life::Shore, 2.0, Heater)),
    kind("sensor-stuck", "sensor-fault", [1.0, 1.0, 1.0], Plain, (Life::Van, 4.0, HalfWay)),
    kind("sensor-lost", "sensor-fault", [1.0, 1.0, 1.0], Plain, (Life::Van, 0.5, HalfWay)),
    kind("sensor-in-air", "sensor-fault", [0.2, 1.0, 1.0], Plain, (Life::Van, 8.0, Swing)),
    kind("sensor-by-heat", "temperature-spread", [1.0, 14.0, 24.0], KelvinDeep, (Life::Deep, 2.0, Nothing)),
    kind("current-offset", "sensor-fault", [0.15, 1.65, 1.9], OfOffset, (Life::Shore, 9.0, Nothing)),
    kind("current-gain", "bank-description", [1.0, 24.0, 35.0], Plain, (Life::Deep, 4.0, Nothing)),
    kind("current-dead-band", "", [0.1, 0.4, 1.0], Plain, (Life::Van, 4.0, Nothing)),
    kind("bypass", "bank-description", [0.2, 200.0, 300.0], OfPower, (Life::Van, 2.0, OnAndOff)),
    kind("described-capacity", "bank-description", [-4.0, -25.0, -45.0], Plain, (Life::Deep, 3.0, Nothing)),
    kind("described-cells", "bank-description", [-1.0, -1.0, -1.0], Plain, (Life::Deep, 2.0, NoCells)),
    kind("parallel-gone", "bank-description", [0.03, 0.5, 0.5], Plain, (Life::Van, 4.9, HalfWay)),
    kind("fade", "", [3.0, 12.0, 25.0], Plain, (Life::Deep, 3.0, Nothing)),
    kind("pack-off", "unequal-sharing", [1.0, 1.0, 1.0], Plain, (Life::Deep, 3.0, Packs)),
    kind("outer-resistance", "unequal-sharing", [0.1, 22.0, 70.0], MilliohmOf100, (Life::Deep, 3.0, Packs)),
    kind("standby", "low-in-storage", [0.1, 9.0, 14.0], OfPower, (Life::Store, 12.0, Nothing)),
    kind("charge-refused", "bms-cutoff", [1.0, 1.0, 1.0], Plain, (Life::Deep, 1.0, AtHour(1.5))),
    kind("cut-out", "bms-cutoff", [1.0, 1.0, 1.0], Plain, (Life::Deep, 1.0, AtHour(12.5))),
    kind("pack-silent", "stale-data", [1.0, 1.0, 1.0], Plain, (Life::Van, 0.5, HalfWay)),
    kind("frames-lost", "lossy-link", [400.0, 40.0, 10.0], Plain, (Life::Van, 0.5, Nothing)),
    kind("source-amps", "not-fully-charged", [0.0, 0.0, 0.0], Plain, (Life::Van, 36.0, Weak)),
];

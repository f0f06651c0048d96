//! A scenario as data: what its file says. The files stand beside this one and are part of the program.

use crate::model::bank::{BalanceKind, SensorRole, SourceKind};
use serde::Deserialize;
use std::ops::Range;

/// A scenario of our own; everything in it is invented.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Scenario {
    /// What happens, in one line.
    pub(super) about: String,
    /// First moment, RFC 3339.
    pub(super) start: String,
    /// Days unless asked otherwise.
    pub(super) days: f64,
    /// Seconds between sets of frames unless asked otherwise.
    pub(super) sample: f64,
    /// Air around the bank, and the sun.
    pub(super) weather: Weather,
    /// How the packs are joined.
    #[serde(default)]
    pub(super) joint: Joint,
    /// The packs.
    #[serde(rename = "pack")]
    pub(super) packs: Vec<Pack>,
    /// The charging sources.
    #[serde(rename = "source", default)]
    pub(super) sources: Vec<Source>,
    /// The loads.
    #[serde(rename = "load", default)]
    pub(super) loads: Vec<Load>,
    /// What goes wrong with what is reported.
    #[serde(rename = "fault", default)]
    pub(super) faults: Vec<Fault>,
}

/// Air around the bank, and the sun.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Weather {
    /// Mean of the air in the locker, °C.
    pub(super) mean: f64,
    /// Half of the daily range, K.
    pub(super) swing: f64,
    /// Hour of the day at which it is warmest.
    #[serde(default = "Weather::usual_warmest")]
    pub(super) warmest: f64,
    /// Days differ by up to this much either way, K.
    #[serde(default)]
    pub(super) differs: f64,
    /// Warmer by this much each day, K.
    #[serde(default)]
    pub(super) trend: f64,
    /// Hours of sunrise and sunset.
    #[serde(default = "Weather::usual_sun")]
    pub(super) sun: [f64; 2],
    /// The largest share of the sun that clouds may take, 0 to 1.
    #[serde(default)]
    pub(super) clouds: f64,
}

impl Weather {
    fn usual_warmest() -> f64 {
        15.5
    }

    fn usual_sun() -> [f64; 2] {
        [6.5, 19.0]
    }
}

/// How the packs are joined: one bar each for plus and minus, a link between neighbours.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Joint {
    /// Resistance of a link of one bar between two packs, mΩ.
    pub(super) link_milliohm: f64,
    /// Minus is taken off at the other end than plus.
    pub(super) diagonal: bool,
    /// A shunt measures the current of the whole bank.
    pub(super) shunt: bool,
}

/// A pack.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Pack {
    /// Rated capacity, Ah.
    pub(super) capacity: f64,
    /// State of charge at the start, 0 to 1.
    pub(super) soc: f64,
    /// Cells in series.
    #[serde(default = "Pack::usual_cells")]
    pub(super) cells: u8,
    /// Where the temperature sensors sit.
    pub(super) sensors: Vec<Sensor>,
    /// Loss of heat to the air, W/K.
    pub(super) loss: f64,
    /// Temperature at the start, °C; that of the air unless given.
    #[serde(default)]
    pub(super) celsius: Option<f64>,
    /// BMS, fuse and cables between the cells and the bus, mΩ.
    #[serde(default = "Pack::usual_path")]
    pub(super) path_milliohm: f64,
    /// What is printed on it.
    pub(super) label: Label,
    /// How much its cells differ.
    #[serde(default)]
    pub(super) spread: Spread,
    /// Cells that differ from the others.
    #[serde(rename = "cell", default)]
    pub(super) odd: Vec<OddCell>,
    /// The balancer.
    #[serde(default)]
    pub(super) balance: Balance,
    /// When its BMS cuts off.
    #[serde(default)]
    pub(super) bms: Bms,
    /// The heater.
    #[serde(default)]
    pub(super) heater: Option<Heater>,
    /// What it reports, how finely and how well.
    #[serde(default)]
    pub(super) meter: Meter,
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
pub(super) struct Sensor {
    /// What it measures.
    pub(super) role: Role,
    /// The cell at which it sits, from 1.
    pub(super) cell: u8,
}

macro_rules! words {
    ($(#[$doc:meta])* $type:ident is $of:ident: $($word:ident,)*) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub(super) enum $type { $($word,)* }

        impl From<$type> for $of {
            fn from(word: $type) -> Self {
                match word { $($type::$word => Self::$word,)* }
            }
        }
    };
}

words!(
    /// What a sensor measures, as the file calls it.
    Role is SensorRole: Unknown, Cell, Case, Terminal, Electronics, Ambient,
);
words!(
    /// Kind of a source, as the file calls it.
    Kind is SourceKind: Alternator, Shore, Solar, Wind, Generator, Converter,
);
words!(
    /// Kind of balancing, as the file calls it.
    Balancer is BalanceKind: None, BleedAbove, BleedHighest,
);

/// What is printed on a pack.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Label {
    /// Rated charge current, A.
    pub(super) charge: f64,
    /// Rated discharge current, A.
    pub(super) discharge: f64,
    /// Current of the weakest part of the path, A.
    pub(super) weakest: f64,
    /// Highest absorption voltage, V.
    pub(super) absorption: f64,
    /// Highest float voltage, V.
    pub(super) float: f64,
}

/// How much the cells of a pack differ, evenly to both sides.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Spread {
    /// Of capacity, as a share.
    pub(super) capacity: f64,
    /// Of charge at the top, as a share of capacity.
    pub(super) charge: f64,
    /// Of resistance, as a share.
    pub(super) resistance: f64,
}

impl Default for Spread {
    fn default() -> Self {
        Self { capacity: 0.008, charge: 0.0004, resistance: 0.05 }
    }
}

/// A cell that differs from the others.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OddCell {
    /// Which, from 1.
    pub(super) number: u8,
    /// Capacity as a multiple of the rated one.
    #[serde(default = "OddCell::usual_capacity")]
    pub(super) capacity: f64,
    /// How much later than the others it is full, as a share of the rated capacity.
    #[serde(default)]
    pub(super) behind: f64,
    /// What it loses by itself, A.
    #[serde(default)]
    pub(super) leak: f64,
    /// Connection inside its measured voltage, mΩ.
    #[serde(default)]
    pub(super) connection_milliohm: f64,
}

impl OddCell {
    fn usual_capacity() -> f64 {
        1.0
    }
}

/// The balancer.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Balance {
    /// Kind.
    pub(super) kind: Balancer,
    /// Bleed current, A.
    pub(super) amps: f64,
    /// Cell voltage from which it works, V.
    pub(super) threshold: f64,
}

impl Default for Balance {
    fn default() -> Self {
        Self { kind: Balancer::BleedHighest, amps: 0.06, threshold: 3.42 }
    }
}

/// When a BMS cuts off.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Bms {
    /// Cell voltage above which charging stops, V.
    pub(super) over_volts: f64,
    /// Cell voltage below which it all must have come before charging is allowed again, V.
    pub(super) over_recover: f64,
    /// Cell voltage below which discharging stops, V.
    pub(super) under_volts: f64,
    /// Cell voltage above which all must have come before discharging is allowed again, V.
    pub(super) under_recover: f64,
    /// Temperature below which charging stops, °C; never unless given.
    pub(super) cold_charge: Option<f64>,
    /// Temperature above which charging stops, °C.
    pub(super) hot_charge: f64,
    /// Temperature above which everything stops, °C.
    pub(super) hot: f64,
    /// Warns before it cuts off.
    pub(super) pre_alarm: bool,
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
pub(super) struct Heater {
    /// Power, W.
    pub(super) watts: f64,
    /// On when the coldest cell is below, °C.
    pub(super) on_below: f64,
    /// Off when it is above, °C.
    pub(super) off_above: f64,
}

/// What a pack reports, how finely and how well.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Meter {
    /// Cell voltages, path, balancing and limits: a pack with a BMS that talks.
    pub(super) bms_talks: bool,
    /// Resolution of cell voltages, V.
    pub(super) cell_step: f64,
    /// Noise of cell voltages, V.
    pub(super) cell_noise: f64,
    /// Resolution of pack voltages, V.
    pub(super) pack_step: f64,
    /// Resolution of currents, A.
    pub(super) current_step: f64,
    /// Noise of currents, A.
    pub(super) current_noise: f64,
    /// What the current sensor reads too much, A.
    pub(super) current_offset: f64,
    /// Its gain.
    pub(super) current_gain: f64,
    /// Resolution of temperatures, K.
    pub(super) temperature_step: f64,
    /// Noise of temperatures, K.
    pub(super) temperature_noise: f64,
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
        }
    }
}

/// A charging source: constant current, then constant voltage, then float.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Source {
    /// Kind. Solar follows the sun.
    pub(super) kind: Kind,
    /// Largest current, A; for solar that at noon under a clear sky.
    pub(super) amps: f64,
    /// Absorption voltage, V.
    pub(super) absorption: f64,
    /// Float voltage, V; without it the source goes off after absorption until it starts anew.
    #[serde(default)]
    pub(super) float: Option<f64>,
    /// Longest absorption, h.
    #[serde(default = "Source::usual_hours")]
    pub(super) absorption_hours: f64,
    /// Charge current of the bank at which absorption ends, A; it goes by its hours alone unless given.
    #[serde(default)]
    pub(super) tail: Option<f64>,
    /// Cable between source and bus, mΩ.
    #[serde(default = "Source::usual_cable")]
    pub(super) cable_milliohm: f64,
    /// When it runs; always unless given.
    #[serde(default)]
    pub(super) on: Vec<Span>,
}

impl Source {
    fn usual_hours() -> f64 {
        2.0
    }

    fn usual_cable() -> f64 {
        2.0
    }
}

/// A load.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Load {
    /// Power, W.
    pub(super) watts: f64,
    /// When it runs; always unless given.
    #[serde(default)]
    pub(super) on: Vec<Span>,
    /// Minutes of a cycle of on and off; runs through unless given.
    #[serde(default)]
    pub(super) cycle_minutes: f64,
    /// Share of the cycle that it is on.
    #[serde(default)]
    pub(super) duty: f64,
}

/// A span of the day.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Span {
    /// Hour at which it begins.
    pub(super) from: f64,
    /// Hour at which it ends.
    pub(super) to: f64,
    /// Moves by up to so many minutes either way from day to day.
    #[serde(default)]
    pub(super) moves: f64,
    /// On which days, from 0; all unless given.
    #[serde(default)]
    pub(super) days: Vec<u32>,
}

/// Something that goes wrong with what is reported. Packs, cells and sensors from 1, minutes from the start.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Fault {
    /// What.
    pub(super) kind: FaultKind,
    /// Pack.
    #[serde(default = "Fault::first")]
    pub(super) pack: u8,
    /// Cell or sensor.
    #[serde(default = "Fault::first")]
    pub(super) part: u8,
    /// Beginning.
    pub(super) from_minute: f64,
    /// End; never unless given.
    #[serde(default)]
    pub(super) to_minute: Option<f64>,
    /// Size, in the unit of the kind.
    #[serde(default)]
    pub(super) size: f64,
}

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum FaultKind {
    /// A temperature sensor says 'not available'.
    SensorLost,
    /// A temperature sensor stays at what it said last.
    SensorStuck,
    /// A temperature sensor reads `size` K too much.
    SensorOffset,
    /// A cell's voltage is 'not available'.
    CellLost,
    /// A cell's voltage reads `size` V too much (the next cell's as much too little: a shared lead).
    LeadShared,
    /// The current sensor reads `size` A too much.
    CurrentOffset,
    /// A pack says nothing.
    PackSilent,
    /// One frame in `size` is lost before it reaches us.
    FramesLost,
}

impl Fault {
    fn first() -> u8 {
        1
    }

    /// Minutes during which it lasts.
    pub(super) fn minutes(&self) -> Range<f64> {
        self.from_minute..self.to_minute.unwrap_or(f64::INFINITY)
    }
}

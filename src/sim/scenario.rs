//! A scenario as data: what its file says. The files stand beside this one and are part of the program.

use crate::model::bank::SourceKind;
use serde::Deserialize;

macro_rules! words {
    ($(#[$doc:meta])* $type:ident is $of:ident: $($word:ident,)*) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub(in crate::sim) enum $type { $($word,)* }

        impl From<$type> for $of {
            fn from(word: $type) -> Self {
                match word { $($type::$word => Self::$word,)* }
            }
        }
    };
}

mod fault;
mod pack;

pub(super) use fault::{Fault, FaultKind, Place};
pub(super) use pack::{Balancer, Bms, Pack, Role};

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
    /// What goes wrong, with the bank or with what is reported.
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

words!(
    /// Kind of a source, as the file calls it.
    Kind is SourceKind: Alternator, Shore, Solar, Wind, Generator, Converter,
);

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

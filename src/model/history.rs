//! What was done to a bank, as its file tells it: work after which some of what was learnt no longer holds.

use super::Stamp;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Change {
    /// Another pack stands in this one's place.
    PackReplaced,
    /// Cells were replaced or moved within the pack.
    CellsReplaced,
    /// The pack has another capacity, as by cells added in parallel.
    CapacityChanged,
    /// A temperature sensor was moved or replaced.
    SensorMoved,
    /// Links, lugs or cables were worked on.
    ConnectionsChanged,
    /// The current is measured by another sensor, or by the same one set anew.
    CurrentSensorChanged,
    /// Nothing that was learnt changes.
    Remark,
}

impl Change {
    /// Every change with its word in a bank file.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("pack-replaced", Self::PackReplaced),
        ("cells-replaced", Self::CellsReplaced),
        ("capacity-changed", Self::CapacityChanged),
        ("sensor-moved", Self::SensorMoved),
        ("connections-changed", Self::ConnectionsChanged),
        ("current-sensor-changed", Self::CurrentSensorChanged),
        ("remark", Self::Remark),
    ];

    /// Its word in a bank file.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, change)| *change == self).map_or("", |(word, _)| word)
    }
}

/// An event in the history of a bank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BankEvent {
    /// When, by the wall clock, UTC.
    pub at: Stamp,
    /// What.
    pub change: Change,
    /// Of which pack, from 0; none: of every pack.
    pub pack: Option<u8>,
    /// Of which sensor, from 0; none: of every sensor.
    pub sensor: Option<u8>,
    /// Remark, clean.
    pub note: String,
}

impl BankEvent {
    /// The sensor that alone was touched; none when all were.
    #[must_use]
    pub fn moved(&self) -> Option<u8> {
        self.sensor.filter(|_| self.change == Change::SensorMoved)
    }

    /// Whether it is about this pack.
    #[must_use]
    pub fn concerns(&self, pack: u8) -> bool {
        self.pack.is_none_or(|own| own == pack)
    }
}

/// 'pack 1 was replaced', 'sensor 2 of every pack was moved or replaced'.
impl fmt::Display for BankEvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let pack = self.pack.map_or_else(|| "every pack".to_owned(), |pack| format!("pack {}", u16::from(pack) + 1));
        match (self.change, self.sensor) {
            (Change::PackReplaced, _) => write!(f, "{pack} was replaced"),
            (Change::CellsReplaced, _) => write!(f, "cells of {pack} were replaced or moved"),
            (Change::CapacityChanged, _) => write!(f, "the capacity of {pack} was changed"),
            (Change::SensorMoved, Some(sensor)) => {
                write!(f, "sensor {} of {pack} was moved or replaced", u16::from(sensor) + 1)
            }
            (Change::SensorMoved, None) => write!(f, "the sensors of {pack} were moved or replaced"),
            (Change::ConnectionsChanged, _) => write!(f, "connections of {pack} were worked on"),
            (Change::CurrentSensorChanged, _) => write!(f, "the current sensor of {pack} was changed"),
            (Change::Remark, _) => write!(f, "a remark about {pack}"),
        }
    }
}

//! What was done to a bank, as its file tells it: work after which some of what was learnt no longer holds.

use super::Stamp;
use serde::{Deserialize, Serialize};

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

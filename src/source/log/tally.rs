//! Lines that were refused: how many for each reason, and where the first was.

use crate::model::Rejection;

const REASONS: usize = Rejection::ALL.len();

/// What was refused for one reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rejected<'a> {
    /// Why.
    pub reason: Rejection,
    /// How many lines (or archives).
    pub count: u64,
    /// File of the first one, harmless to show.
    pub file: &'a str,
    /// Line of the first one, from 1.
    pub line: u64,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Row {
    count: u64,
    file: usize,
    line: u64,
}

/// Counts by reason.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Tally {
    rows: [Row; REASONS],
}

impl Tally {
    pub(super) fn add(&mut self, reason: Rejection, file: usize, line: u64) {
        let Some(row) = self.rows.get_mut(reason as usize) else { return };
        if row.count == 0 {
            *row = Row { count: 0, file, line };
        }
        row.count += 1;
    }

    /// Rows that are not empty: reason, count, number of the file, line.
    pub(super) fn rows(&self) -> impl Iterator<Item = (Rejection, u64, usize, u64)> {
        let rows = Rejection::ALL.into_iter().zip(self.rows);
        rows.filter(|(_, row)| row.count > 0).map(|(reason, row)| (reason, row.count, row.file, row.line))
    }
}

/// What came before the first stamp, and waits for it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Held {
    rejected: [u32; REASONS],
    lost: u32,
}

impl Held {
    pub(super) fn reject(&mut self, reason: Rejection) {
        if let Some(count) = self.rejected.get_mut(reason as usize) {
            *count = count.saturating_add(1);
        }
    }

    pub(super) fn lose(&mut self, count: u32) {
        self.lost = self.lost.saturating_add(count);
    }

    /// Empties it: counts by reason, and frames lost.
    pub(super) fn release(&mut self) -> (impl Iterator<Item = (Rejection, u32)> + use<>, u32) {
        let held = std::mem::take(self);
        (Rejection::ALL.into_iter().zip(held.rejected).filter(|(_, count)| *count > 0), held.lost)
    }
}

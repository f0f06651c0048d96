//! A table out of a spreadsheet into frames of our own format, so that everything else works on it. Lines in, frames
//! out; no I/O. What is refused has its reason, and nothing is guessed: a column without a unit is in the quantity's own.

mod cells;
mod frames;
mod time;
mod units;

use crate::bank::table::Table;
use crate::model::{Bank, Frame, Slot, Stamp, Value, clean};
use cells::Layout;
use frames::Writer;
use jiff::tz::TimeZone;
use time::Times;

/// Why a table cannot be read at all.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TableError {
    /// No column has the heading of the time.
    #[error("no line has a column '{0}' for the time; the headings in line {1} are: {2}")]
    NoTime(String, u64, String),
    /// A column of the bank file is not in the table.
    #[error("no column is headed '{heading}'; the headings are: {all}")]
    NoColumn {
        /// What was looked for.
        heading: String,
        /// What there is.
        all: String,
    },
    /// Several columns have the heading of one of the bank file.
    #[error(
        "several columns are headed '{heading}': {all}; write the whole heading with its brackets into the bank file, or \
         give each column a heading of its own"
    )]
    SeveralColumns {
        /// What was looked for.
        heading: String,
        /// What there is.
        all: String,
    },
    /// A unit that is none of the quantity.
    #[error(
        "column '{heading}': '{unit}' is no unit of {quantity}; expected one of {expected}. If it is no unit, say the unit \
         in the bank file: unit = \"…\" in its [[column]]"
    )]
    Unit {
        /// The column.
        heading: String,
        /// What was found.
        unit: String,
        /// The quantity.
        quantity: &'static str,
        /// What can be.
        expected: String,
    },
    /// A quantity whose unit must be said.
    #[error("column '{0}': say whether it is in % or a fraction (unit = \"%\" or unit = \"fraction\")")]
    UnitNeeded(String),
    /// The table is empty.
    #[error("the table holds no line of text")]
    Empty,
}

/// Why a row gave nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Refusal {
    /// The time cannot be read.
    BadTime,
    /// The time is earlier than that of the row before.
    TimeBack,
    /// Fewer columns than the heading.
    FewColumns,
    /// More columns than the heading, between commas.
    ManyColumns,
    /// No column that is used holds anything.
    NoValues,
    /// Longer than 64 KiB, or a quoted cell goes over its end.
    LongLine,
}

impl Refusal {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::BadTime => "the time cannot be read",
            Self::TimeBack => "the time runs backwards",
            Self::FewColumns => "fewer columns than the heading",
            Self::ManyColumns => {
                "more columns than the heading (a decimal comma between commas needs quotes around the number)"
            }
            Self::NoValues => "no value in any column that is used",
            Self::LongLine => "too long, or a quote that does not end",
        }
    }
}

/// Turns rows into frames.
#[derive(Debug)]
pub struct Converter {
    layout: Layout,
    times: Times,
    writer: Writer,
    last: Option<Stamp>,
    values: Vec<(Slot, Value)>,
    /// Cells that were no number, or none that can be.
    bad_cells: u64,
}

impl Converter {
    /// Finds the columns in the heading; `None` when the line is not the heading yet.
    ///
    /// # Errors
    /// [`TableError`] when the heading lacks a column that the bank file names, or a unit does not fit.
    pub fn new(table: &Table, bank: &Bank, zone: TimeZone, heading: &[u8]) -> Result<Option<Self>, TableError> {
        let Some(layout) = Layout::of(table, heading)? else { return Ok(None) };
        let slots: Vec<Slot> = table.columns.iter().map(|column| column.slot).collect();
        Ok(Some(Self {
            layout,
            times: Times::new(table.time.form.clone(), zone),
            writer: Writer::new(bank.clone(), &slots),
            last: None,
            values: Vec::with_capacity(slots.len()),
            bad_cells: 0,
        }))
    }

    /// The frames of a row with its moment, each handed to `each`.
    ///
    /// # Errors
    /// [`Refusal`] when the row gives nothing.
    pub fn row(&mut self, line: &[u8], each: impl FnMut(Stamp, Frame)) -> Result<(), Refusal> {
        let row = self.layout.read(line)?;
        let stamp = self.times.read(&row.time).ok_or(Refusal::BadTime)?;
        if self.last.is_some_and(|last| stamp < last) {
            return Err(Refusal::TimeBack);
        }
        self.values.clear();
        self.values.extend_from_slice(row.values);
        self.bad_cells += row.bad;
        if self.values.iter().all(|(_, value)| *value == Value::Missing) {
            return Err(Refusal::NoValues);
        }
        self.last = Some(stamp);
        self.writer.row(stamp, &self.values, each);
        Ok(())
    }

    /// Cells that held something that is no number, or no number that can be. They went out as 'error'.
    #[must_use]
    pub fn bad_cells(&self) -> u64 {
        self.bad_cells
    }
}

/// Headings as a list for an error, clean and not too long.
fn listed<'a>(headings: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<String> = headings.map(|heading| format!("'{}'", clean(heading.trim(), 40))).take(40).collect();
    clean(&all.join(", "), 600)
}

#[cfg(test)]
mod tests;

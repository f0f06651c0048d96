//! How a table is laid out: which column is what. Part of the bank file; the room `convert` reads tables by it.

use crate::model::{Slot, Stamp};

/// A table, as the bank file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What stands between columns; none to find it in the heading.
    pub separator: Option<char>,
    /// Decimal mark, '.' or ','; none to find it at the first number that has one. Between commas, a number with a decimal
    /// comma is quoted.
    pub decimal: Option<char>,
    /// The column of time.
    pub time: TimeColumn,
    /// Zone of stamps that name none: a name such as `Europe/Lisbon`, or `+01:00`; none: UTC.
    pub zone: Option<String>,
    /// The other columns; the table may have more.
    pub columns: Vec<Column>,
}

/// The column of time.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeColumn {
    /// Its heading, without the unit.
    pub heading: String,
    /// How time is written.
    pub form: TimeForm,
}

/// How time is written.
#[derive(Debug, Clone, PartialEq)]
pub enum TimeForm {
    /// A count of this many a second from a moment on.
    Count {
        /// Counts a second: 1 for seconds, 1000 for milliseconds.
        per_second: f64,
        /// The moment of count 0.
        start: Stamp,
    },
    /// Date and time: ISO 8601, or as the format says (letters of strptime, such as `%d.%m.%Y %H:%M:%S`); where the
    /// stamp names no zone, the table's applies.
    Stamp {
        /// The format; none for ISO 8601.
        format: Option<String>,
    },
}

/// A column with values.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Its heading, without the unit.
    pub heading: String,
    /// Where its values belong.
    pub slot: Slot,
    /// The unit, where the heading does not name it.
    pub unit: Option<String>,
    /// What a number is multiplied by, in the column's unit: -1 where discharging counts positive.
    pub scale: f64,
    /// What is added after that.
    pub offset: f64,
}

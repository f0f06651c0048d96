//! What is wrong with a bank file, with line, names and a suggestion.

use std::fmt;

/// Problems that are collected.
pub(super) const MOST_PROBLEMS: usize = 20;
/// Problems that an error's text tells.
const TOLD: usize = 5;

/// A bank file that is refused.
#[derive(Debug, Clone, PartialEq)]
pub struct BankError {
    /// What is wrong, in the order of the lines; the first few where there are many.
    pub problems: Vec<Problem>,
}

impl BankError {
    pub(super) fn only(line: u32, what: Trouble) -> Self {
        Self { problems: vec![Problem { line, what }] }
    }
}

impl fmt::Display for BankError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (number, problem) in self.problems.iter().take(TOLD).enumerate() {
            write!(f, "{}{problem}", if number > 0 { "; " } else { "" })?;
        }
        match self.problems.len().saturating_sub(TOLD) {
            0 => Ok(()),
            more => write!(f, "; and {more} more"),
        }
    }
}

impl std::error::Error for BankError {}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct Problem {
    /// Line of the file, from 1.
    pub line: u32,
    /// What is wrong there.
    pub what: Trouble,
}

/// What can be wrong. Names are harmless to show.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Trouble {
    /// The file is too large.
    #[error("the file is larger than {bytes} bytes, which no bank file is")]
    TooLarge {
        /// The limit.
        bytes: usize,
    },
    /// Not TOML.
    #[error("this is no TOML: {0}")]
    Toml(String),
    /// A key that there is not.
    #[error("{place} has no key '{key}'; {hint}")]
    UnknownKey {
        /// What was written.
        key: String,
        /// Where.
        place: &'static str,
        /// What may have been meant.
        hint: String,
    },
    /// A key that must be there.
    #[error("{place} needs '{key}'")]
    Needs {
        /// The key, or several with 'or'.
        key: &'static str,
        /// Where.
        place: &'static str,
    },
    /// A value that cannot be.
    #[error("{key} = {found}: expected {expected}")]
    Value {
        /// The key.
        key: String,
        /// What was written.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// A word that there is not.
    #[error("{key} = {found}: {hint}")]
    Word {
        /// The key.
        key: String,
        /// What was written.
        found: String,
        /// What may have been meant.
        hint: String,
    },
    /// Keys that go together or not at all.
    #[error("'{key}' {why}")]
    Key {
        /// The key.
        key: &'static str,
        /// Why it cannot stand here.
        why: &'static str,
    },
    /// Numbers that do not fit.
    #[error("{found} signals for {wanted} values: {names} against {what}")]
    Count {
        /// Signals.
        found: usize,
        /// Values.
        wanted: usize,
        /// The signals.
        names: String,
        /// The values.
        what: String,
    },
    /// A DBC that cannot be read.
    #[error("DBC '{name}': {why}")]
    Dbc {
        /// Its name.
        name: String,
        /// Why.
        why: String,
    },
    /// A name that no DBC has.
    #[error("no {what} is called '{name}'{place}; {hint}")]
    NoSuch {
        /// Message or signal.
        what: &'static str,
        /// The name.
        name: String,
        /// Of which message.
        place: String,
        /// What may have been meant.
        hint: String,
    },
    /// A unit of a DBC that is none of the role's.
    #[error(
        "{signal} is in '{unit}' by the DBC, which is not known as a unit of {role}; known are {known}: say which of them \
         it is with unit = \"…\""
    )]
    Unit {
        /// Message and signal.
        signal: String,
        /// What the DBC says.
        unit: String,
        /// The role.
        role: &'static str,
        /// What can be.
        known: String,
    },
    /// Two of something for one value.
    #[error("{what} is given by two {by}")]
    Twice {
        /// The value.
        what: String,
        /// Signals, columns or rows.
        by: &'static str,
    },
    /// A signal of a pack that is not described.
    #[error("{slot}: {packs} described; add a [[pack]], raise its 'count', or correct 'pack'")]
    NoSuchPack {
        /// The value.
        slot: String,
        /// 'one pack is', '2 packs are'.
        packs: String,
    },
    /// A signal of a cell that the pack does not have.
    #[error("{slot}: that pack has {cells} cells in series by its 'cells'; correct 'cells', or 'number'")]
    NoSuchCell {
        /// The value.
        slot: String,
        /// Cells in series.
        cells: u8,
    },
    /// Two values in the same bits.
    #[error("{slot} takes bits of {key} that {other} (line {line}) takes too, in the same frame; {hint}")]
    Overlap {
        /// The value.
        slot: String,
        /// The frames.
        key: String,
        /// The value that had them first.
        other: String,
        /// Its line.
        line: u32,
        /// What to do.
        hint: &'static str,
    },
    /// A value on bits that say whose it is, or whether it is there.
    #[error(
        "{slot} takes bits of {key} that its own '{by}' reads; correct 'start' or 'length' of the one or the other"
    )]
    OnSwitch {
        /// The value.
        slot: String,
        /// The frames.
        key: String,
        /// The key that reads them.
        by: &'static str,
    },
    /// The map cannot be made.
    #[error("{0}")]
    Map(String),
    /// Told to use signals, and there are none.
    #[error("dialect = \"file\" needs signals: write [[signal]] tables, or leave the dialect out")]
    NoSignals,
    /// Too many of something.
    #[error("at most {most} {what} are read")]
    TooMany {
        /// What.
        what: &'static str,
        /// The limit.
        most: usize,
    },
}

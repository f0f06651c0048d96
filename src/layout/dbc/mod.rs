//! DBC: the text that describes a CAN bus, as plain data.
//!
//! [`parse`] reads what decoding needs (messages, signals, multiplexing, floats, states, units, long names), refuses
//! what cannot be, with line and names, and skips the rest. The grammar is that of the 'DBC File Format
//! Documentation' 1.0 (Vector, 2007), quoted from memory; where it leaves things open this reader does as the library
//! cantools 45 does, and `tests/reference/check_dbc_suite.py` compares the two on that library's own files.

mod error;
mod lex;
mod map;
mod overlap;
mod raw;
mod read;
mod resolve;
mod scale;
mod switch;
mod text;

#[cfg(test)]
mod tests;

pub use error::{DbcError, Note, Problem, Trouble};
pub use map::{DbcMap, SignalNumber};
pub use scale::decimals;
pub use text::MOST_BYTES;

use super::{Field, Key, When};
use crate::model::Id;

/// Signals of one message, at most.
pub const MOST_SIGNALS: usize = 2048;
/// Signals of all messages together, at most.
pub const MOST_SIGNALS_IN_ALL: usize = 1 << 16;
/// Ranges of a switch's numbers for one signal, at most.
pub const MOST_RANGES: usize = 1 << 12;
/// Messages, at most.
pub const MOST_MESSAGES: usize = 1 << 15;
/// Characters of a name, at most.
pub const MOST_NAME: usize = 128;

/// What a DBC says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Dbc {
    /// Its messages, in the order of the file.
    pub messages: Vec<Message>,
    /// What was skipped or stands there without effect.
    pub notes: Vec<Note>,
}

/// A message.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// Line of the file, from 1.
    pub line: u32,
    /// Its id.
    pub id: Id,
    /// Which frames carry it: its id, or its parameter group where the file says so and names no sender.
    pub key: Key,
    /// Its name, harmless; the long one where the file has one.
    pub name: String,
    /// Data bytes.
    pub length: u16,
    /// It comes in CAN FD frames.
    pub fd: bool,
    /// Its signals, in the order of the file.
    pub signals: Vec<Signal>,
}

impl Message {
    /// The signal of this name.
    #[must_use]
    pub fn signal(&self, name: &str) -> Option<&Signal> {
        self.signals.iter().find(|signal| signal.name == name)
    }
}

/// A signal.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// Line of the file, from 1.
    pub line: u32,
    /// Its name, harmless; the long one where the file has one.
    pub name: String,
    /// Its unit as the file writes it, harmless; may be empty.
    pub unit: String,
    /// Where it stands and how it counts.
    pub field: Field,
    /// All of these must hold for it to be there: multiplexing, the outermost switch first.
    pub when: Vec<When>,
    /// It is a switch of its message.
    pub switches: bool,
    /// Names of states by count before scaling, harmless, in rising order.
    pub states: Vec<(i64, String)>,
}

impl Signal {
    /// Name of the state that raw bits stand for.
    #[must_use]
    pub fn state(&self, raw: u64) -> Option<&str> {
        let count = self.field.count(raw)?;
        let at = self.states.binary_search_by_key(&count, |(state, _)| *state).ok()?;
        self.states.get(at).map(|(_, name)| name.as_str())
    }
}

impl Dbc {
    /// The message of this name.
    #[must_use]
    pub fn message(&self, name: &str) -> Option<&Message> {
        self.messages.iter().find(|message| message.name == name)
    }
}

/// Reads a DBC: UTF-8 or Windows-1252, with or without a byte order mark, any line ends.
///
/// # Errors
/// [`DbcError`] with every problem found, up to a few.
pub fn parse(bytes: &[u8]) -> Result<Dbc, DbcError> {
    let text = text::decode(bytes).map_err(DbcError::only)?;
    resolve::resolve(read::read(&text)?)
}

//! What is wrong with a DBC, with line and names.

use std::fmt;

/// Problems that are collected before the reader gives up.
pub(super) const MOST_PROBLEMS: usize = 20;
/// Problems that an error's text tells.
const TOLD: usize = 5;

/// A DBC that is refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DbcError {
    /// What is wrong, in the order of the lines; the first few where there are many.
    pub problems: Vec<Problem>,
}

impl DbcError {
    pub(super) fn only(problem: Problem) -> Self {
        Self { problems: vec![problem] }
    }
}

impl fmt::Display for DbcError {
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

impl std::error::Error for DbcError {}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct Problem {
    /// Line of the file, from 1.
    pub line: u32,
    /// What is wrong there.
    pub what: Trouble,
}

/// What can be wrong. Names are harmless to show.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// The file is too large.
    #[error("the file is larger than {bytes} bytes, which no DBC is")]
    TooLarge {
        /// The limit.
        bytes: usize,
    },
    /// Another encoding.
    #[error("the file is UTF-16; save it as UTF-8 or Windows-1252")]
    Utf16,
    /// Not a DBC at all.
    #[error("this is no DBC: no statement of one is in it")]
    NoDbc,
    /// More than can be held.
    #[error("more than {most} {what}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// The limit.
        most: usize,
    },
    /// A text that does not end.
    #[error("a text begins with \" and does not end")]
    OpenText,
    /// A statement that cannot be read.
    #[error("{statement}: expected {expected}, found '{found}'")]
    Syntax {
        /// Keyword of the statement.
        statement: &'static str,
        /// What was expected.
        expected: &'static str,
        /// What stands there.
        found: String,
    },
    /// A signal before the first message.
    #[error("signal '{signal}' belongs to no message: no BO_ stands before it")]
    NoMessage {
        /// Its name.
        signal: String,
    },
    /// An id that no frame has.
    #[error("message '{message}': id {id} is neither 11 bits (0 to 2047) nor 29 bits with bit 31 set")]
    WrongId {
        /// Its name.
        message: String,
        /// The number in the file.
        id: u64,
    },
    /// An id that comes twice.
    #[error("message '{message}': id {id} is that of message '{first}' in line {line}")]
    IdTwice {
        /// Its name.
        message: String,
        /// The id.
        id: String,
        /// Who has it already.
        first: String,
        /// Where.
        line: u32,
    },
    /// A message name that comes twice.
    #[error("message '{message}' has the name of the one in line {line}")]
    MessageTwice {
        /// Its name.
        message: String,
        /// Where the first is.
        line: u32,
    },
    /// A signal name that comes twice in a message.
    #[error("message '{message}': signal '{signal}' has the name of the one in line {line}")]
    SignalTwice {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// Where the first is.
        line: u32,
    },
    /// A signal that is longer than 64 bits or has none.
    #[error("message '{message}': signal '{signal}' has {bits} bits; a signal has 1 to 64")]
    Bits {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// Its length.
        bits: u64,
    },
    /// A signal beyond its message.
    #[error(
        "message '{message}': signal '{signal}' ({bits} bits from bit {start}) does not fit into the {length} bytes of the message"
    )]
    Outside {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// Its start bit.
        start: u64,
        /// Its length.
        bits: u64,
        /// Bytes of the message.
        length: u16,
    },
    /// Two signals in the same bits.
    #[error("message '{message}': signals '{signal}' and '{other}' (line {line}) overlap and can be there together")]
    Overlap {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// The other.
        other: String,
        /// Where the other is.
        line: u32,
    },
    /// A scale that makes no numbers.
    #[error(
        "message '{message}': signal '{signal}' has the factor {factor} and the offset {offset}, which makes no numbers"
    )]
    Scale {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// As read.
        factor: String,
        /// As read.
        offset: String,
    },
    /// A float of a length that no float has.
    #[error(
        "message '{message}': signal '{signal}' has {bits} bits and SIG_VALTYPE_ {kind}; 1 is a float of 32 bits, 2 one of 64"
    )]
    FloatBits {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// Its length.
        bits: u8,
        /// What SIG_VALTYPE_ says.
        kind: u64,
    },
    /// A statement about something that there is not.
    #[error("{statement}: message {id} has no signal '{signal}'")]
    Unknown {
        /// Keyword of the statement.
        statement: &'static str,
        /// The number in the file.
        id: u64,
        /// The name.
        signal: String,
    },
    /// A multiplexed signal of which no switch is known.
    #[error("message '{message}': signal '{signal}' is multiplexed, but {why}")]
    NoSwitch {
        /// Message.
        message: String,
        /// Signal.
        signal: String,
        /// Why not.
        why: &'static str,
    },
}

/// Something that was skipped or has no effect; no reason to refuse the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Line of the file, from 1.
    pub line: u32,
    /// What, harmless.
    pub text: String,
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.text)
    }
}

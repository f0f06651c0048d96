//! What the statements of a DBC say, before it is put together.

use super::error::{Note, Problem};
use crate::layout::Order;
use std::collections::BTreeMap;

/// The number of a message as the file writes it: bit 31 marks 29 bits.
pub(super) type Number = u64;

/// A signal's place in the file: number of its message, and its name there.
pub(super) type SignalKey = (Number, String);

/// Names of states by count.
pub(super) type States = Vec<(i64, String)>;

/// Ranges of a switch's numbers, with both ends.
pub(super) type Numbers = Vec<(u64, u64)>;

/// Everything that was read.
#[derive(Debug, Default)]
pub(super) struct Raw {
    pub(super) messages: Vec<RawMessage>,
    /// `SG_MUL_VAL_`.
    pub(super) ranges: Vec<RawRanges>,
    /// `SIG_VALTYPE_`: line, signal, kind.
    pub(super) kinds: Vec<(u32, SignalKey, u64)>,
    /// `VAL_`: line, signal, states.
    pub(super) states: Vec<(u32, SignalKey, States)>,
    /// Long names of messages.
    pub(super) message_names: BTreeMap<Number, String>,
    /// Long names of signals.
    pub(super) signal_names: BTreeMap<SignalKey, String>,
    pub(super) formats: Formats,
    pub(super) notes: Vec<Note>,
    pub(super) problems: Vec<Problem>,
}

/// `BO_`.
#[derive(Debug)]
pub(super) struct RawMessage {
    pub(super) line: u32,
    pub(super) number: Number,
    pub(super) name: String,
    pub(super) length: u16,
    pub(super) signals: Vec<RawSignal>,
}

/// `SG_`.
#[derive(Debug)]
pub(super) struct RawSignal {
    pub(super) line: u32,
    pub(super) name: String,
    pub(super) mux: Mux,
    pub(super) bits: Bits,
    pub(super) scale: (f64, f64),
    pub(super) unit: String,
}

/// Where a signal stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bits {
    pub(super) start: u64,
    pub(super) len: u64,
    pub(super) order: Order,
    pub(super) signed: bool,
}

/// What stands after a signal's name.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Mux {
    /// `M`: a switch.
    pub(super) switches: bool,
    /// `m…`: multiplexed, with this number.
    pub(super) on: Option<u64>,
}

/// `SG_MUL_VAL_`.
#[derive(Debug)]
pub(super) struct RawRanges {
    pub(super) line: u32,
    pub(super) signal: SignalKey,
    pub(super) switch: String,
    pub(super) any_of: Numbers,
}

/// What `VFrameFormat` says of messages.
#[derive(Debug, Default)]
pub(super) struct Formats {
    /// Names by number, where the file defines them.
    pub(super) names: Vec<String>,
    /// What holds for those that have none.
    pub(super) usual: Option<String>,
    pub(super) of: BTreeMap<Number, String>,
}

impl Formats {
    /// The format of a message, by name. A number is looked up in the file's own list, or in the usual one.
    pub(super) fn of(&self, number: Number) -> &str {
        let Some(said) = self.of.get(&number).or(self.usual.as_ref()) else { return "" };
        let Ok(place) = said.parse::<usize>() else { return said };
        match (self.names.get(place), place) {
            (Some(name), _) => name,
            (None, 3) => "J1939PG",
            (None, 14) => "StandardCAN_FD",
            (None, 15) => "ExtendedCAN_FD",
            _ => "",
        }
    }
}

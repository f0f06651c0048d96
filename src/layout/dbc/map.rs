//! A DBC as a compiled map.

use super::{Dbc, Signal};
use crate::layout::{Channel, CompiledMap, MapBuilder, MapError, MessageSpec, Places, Target};

/// A signal of a DBC: number of its message and its own in it, in the order of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SignalNumber {
    /// Number of its message.
    pub message: u16,
    /// Its number in the message.
    pub signal: u16,
}

impl Target for SignalNumber {
    #[inline]
    fn bounds(self) -> (f64, f64) {
        (f64::NEG_INFINITY, f64::INFINITY)
    }

    /// Every number is one, even what IEEE 754 calls none.
    #[inline]
    fn takes(self, _: f64) -> bool {
        true
    }

    #[inline]
    fn moved(self, _: u8, _: u8) -> Self {
        self
    }
}

/// A DBC and its compiled map. Messages have the same numbers in both.
#[derive(Debug, Clone)]
pub struct DbcMap {
    /// What the file says.
    pub dbc: Dbc,
    /// The same, compiled.
    pub map: CompiledMap<SignalNumber>,
}

impl DbcMap {
    /// Compiles a DBC.
    ///
    /// # Errors
    /// [`MapError`] when it has more messages than a map holds.
    pub fn new(dbc: Dbc) -> Result<Self, MapError> {
        let mut builder = MapBuilder::default();
        for (number, message) in dbc.messages.iter().enumerate() {
            // A message longer than any frame keeps its place: each of its frames is too short for it.
            let signals = if message.length > 64 { &[] } else { message.signals.as_slice() };
            let channels = signals.iter().enumerate().map(|(place, signal)| Channel {
                when: signal.when.clone(),
                ..Channel::new(SignalNumber { message: number as u16, signal: place as u16 }, signal.field)
            });
            builder.message(MessageSpec {
                key: message.key,
                name: message.name.clone(),
                places: Places::default(),
                channels: channels.collect(),
            })?;
        }
        Ok(Self { dbc, map: builder.compile() })
    }

    /// The signal of a number.
    #[must_use]
    pub fn signal(&self, number: SignalNumber) -> Option<&Signal> {
        self.dbc.messages.get(usize::from(number.message))?.signals.get(usize::from(number.signal))
    }
}

//! Signals into a compiled map.

use super::Signal;
use super::error::Trouble;
use super::role::{is_of_the_bank, word_of};
use crate::layout::{Channel, CompiledMap, Key, MapBuilder, MapError, MessageSpec};
use crate::model::Slot;
use std::collections::BTreeMap;

/// Compiles the signals: one message for each key.
pub(super) fn compile(signals: &[Signal]) -> Result<CompiledMap, MapError> {
    let mut messages: BTreeMap<Key, MessageSpec<Slot>> = BTreeMap::new();
    for signal in signals {
        let message = messages.entry(signal.key).or_insert_with(|| MessageSpec {
            key: signal.key,
            name: signal.message.clone(),
            places: signal.places,
            channels: Vec::new(),
        });
        let codes = (!signal.states.is_empty()).then(|| signal.states.as_slice().into());
        let when = signal.when.clone();
        message.channels.push(Channel { codes, when, ..Channel::new(signal.slot, signal.field) });
    }
    let mut builder = MapBuilder::default();
    for message in messages.into_values() {
        builder.message(message)?;
    }
    Ok(builder.compile())
}

/// Whether the signals from `new` on go with those before them.
pub(super) fn agrees(signals: &[Signal], new: usize) -> Result<(), Trouble> {
    for (at, signal) in signals.iter().enumerate().skip(new) {
        for other in signals.iter().take(at) {
            let apart = signal.key == other.key && !signal.when.is_empty() && !other.when.is_empty();
            if signal.slot == other.slot && !apart {
                return Err(Trouble::Twice { what: shown(signal.slot), by: "signals" });
            }
            if signal.key == other.key && signal.places != other.places {
                let why = "all signals of a message have the same pack-in and number-in";
                return Err(Trouble::Map(format!("{}: {why}", signal.key)));
            }
        }
    }
    Ok(())
}

/// A slot as a person reads it.
#[must_use]
pub fn shown(slot: Slot) -> String {
    let number = u16::from(slot.index) + 1;
    let word = word_of(slot.quantity);
    if is_of_the_bank(slot.quantity) {
        format!("{word} {number}")
    } else {
        format!("{word} {number} of pack {}", u16::from(slot.pack) + 1)
    }
}

//! Multiplexing: for each signal the chain of switches above it.

use super::raw::{Numbers, RawMessage};
use crate::layout::{Field, Form, When};
use std::collections::BTreeMap;

/// `SG_MUL_VAL_` of a message: for a signal its switches with the ranges of each.
pub(super) type Ranges = BTreeMap<usize, Vec<(usize, Numbers)>>;

/// Switches in switches, at most.
const DEEPEST: usize = 16;

/// The switches of a message.
pub(super) struct Switches<'a> {
    message: &'a RawMessage,
    fields: &'a [Option<Field>],
    ranges: Ranges,
    /// The only switch, where there is one alone.
    only: Option<usize>,
    sound: bool,
}

impl<'a> Switches<'a> {
    pub(super) fn new(message: &'a RawMessage, fields: &'a [Option<Field>], ranges: Ranges) -> Self {
        let mut all = message.signals.iter().enumerate().filter(|(_, signal)| signal.mux.switches);
        let only = all.next().filter(|_| all.next().is_none()).map(|(place, _)| place);
        Self { message, fields, ranges, only, sound: true }
    }

    /// Whether every chain asked for was found.
    pub(super) const fn sound(&self) -> bool {
        self.sound
    }

    /// What must hold for a signal to be there, the outermost switch first.
    pub(super) fn conditions(&mut self, place: usize) -> Result<Vec<When>, &'static str> {
        let chain = self.chain(place);
        self.sound &= chain.is_ok();
        chain
    }

    fn chain(&self, mut place: usize) -> Result<Vec<When>, &'static str> {
        let mut chain = Vec::new();
        while let Some((switch, any_of)) = self.above(place)? {
            let signal = self.message.signals.get(switch).filter(|signal| signal.mux.switches);
            signal.ok_or("what SG_MUL_VAL_ names as its switch is not marked with M")?;
            let field = self.fields.get(switch).copied().flatten().ok_or("its switch is wrong")?;
            if field.form == Form::Float {
                return Err("its switch is a float");
            }
            chain.push(When { field, any_of });
            if chain.len() > DEEPEST {
                return Err("its switches form a ring or are nested too deep");
            }
            place = switch;
        }
        chain.reverse();
        Ok(chain)
    }

    /// The switch of a signal, and for which of its numbers the signal is there; none for one that is always there.
    fn above(&self, place: usize) -> Result<Option<(usize, Numbers)>, &'static str> {
        let Some(mux) = self.message.signals.get(place).map(|signal| signal.mux) else { return Ok(None) };
        let said = self.ranges.get(&place).map_or(&[][..], Vec::as_slice);
        if mux.on.is_none() && said.is_empty() {
            return Ok(None);
        }
        // Some write a switch that is multiplexed itself as M, and its numbers in SG_MUL_VAL_ alone.
        if mux.on.is_none() && !mux.switches {
            return Err("SG_MUL_VAL_ alone says so: it is not marked with m");
        }
        let mut any_of = Vec::new();
        let mut switch = said.first().map(|(switch, _)| *switch);
        if said.iter().any(|(other, _)| Some(*other) != switch) {
            return Err("SG_MUL_VAL_ names several switches for it");
        }
        // The number after m stands for a range where there are several switches; the ranges count then.
        if switch.is_none() || self.only == switch {
            any_of.extend(mux.on.map(|on| (on, on)));
            switch = switch.or(self.only).filter(|switch| *switch != place);
        }
        any_of.extend(said.iter().flat_map(|(_, ranges)| ranges));
        let several = self.message.signals.iter().filter(|signal| signal.mux.switches).nth(1).is_some();
        let missing = if several {
            "the message has several switches and no SG_MUL_VAL_ says which is its own"
        } else {
            "the message has no switch (M)"
        };
        Ok(Some((switch.ok_or(missing)?, merged(any_of))))
    }
}

/// Ranges in rising order, those that touch made one.
fn merged(mut ranges: Numbers) -> Numbers {
    ranges.sort_unstable();
    let mut merged: Numbers = Vec::new();
    for (low, high) in ranges {
        match merged.last_mut().filter(|(_, end)| low <= end.saturating_add(1)) {
            Some((_, end)) => *end = high.max(*end),
            None => merged.push((low, high)),
        }
    }
    merged
}

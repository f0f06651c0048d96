//! When a role that the survey names is right.
//!
//! It is right when it stands at the slot that the generator put there (the same pack, the same cell), in the same
//! message (id, and the same choice of a multiplexor), its scale with its sign is within 2 % of the true one, and
//! its numbers agree with the true ones over the whole log, to within one count and 2 %, a temperature to within one
//! count and 0.5 K. So a top bit that is always 0 may be missing, and a constant that is written into the bits or
//! into the offset is the same; a bit too few or too many at the low end, the other byte order or the other sign is
//! wrong. What is named and is not there at all is wrong too.

use crate::bus::Bus;
use crate::layout::{Message, Part};
use cellwright::model::{Frame, Quantity, Slot, Stamp};
use cellwright::survey::{Found, Role};
use std::collections::BTreeMap;

/// The score of one bus, or of many.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Score {
    pub(crate) right: usize,
    pub(crate) wrong: usize,
    pub(crate) missed: usize,
}

impl Score {
    pub(crate) fn add(&mut self, other: Score) {
        self.right += other.right;
        self.wrong += other.wrong;
        self.missed += other.missed;
    }

    pub(crate) fn all(&self) -> usize {
        self.right + self.wrong + self.missed
    }
}

/// Scores what was found on a bus: in all, and by quantity. `say` hears of everything that is not right.
pub(crate) fn score(
    bus: &Bus,
    frames: &[(Stamp, Frame)],
    found: &Found,
    mut say: impl FnMut(String),
) -> (Score, BTreeMap<Quantity, Score>) {
    let mut by = BTreeMap::<Quantity, Score>::new();
    let parts: Vec<(&Message, &Part)> = bus.layout.iter().flat_map(|layout| layout.parts()).collect();
    for (message, part) in &parts {
        let row = by.entry(part.slot.quantity).or_default();
        match found.roles.iter().find(|role| role.slot == part.slot) {
            None => {
                row.missed += 1;
                say(format!(
                    "missed {:?} {} {:?} {:?}",
                    part.slot,
                    message.id,
                    message.selector.map(|s| s.1),
                    part.field
                ));
            }
            Some(role) => match fault(message, part, role, frames) {
                None => row.right += 1,
                Some(why) => {
                    row.wrong += 1;
                    say(format!(
                        "wrong {:?}: {why}: true {} {:?} {:?}, named {} {:?} {:?}",
                        part.slot,
                        message.id,
                        message.selector.map(|s| s.1),
                        part.field,
                        role.id,
                        role.when,
                        role.field
                    ));
                }
            },
        }
    }
    for role in &found.roles {
        if !parts.iter().any(|(_, part)| part.slot == role.slot) {
            by.entry(role.slot.quantity).or_default().wrong += 1;
            say(format!("named and not there: {:?} {} {:?}", role.slot, role.id, role.field));
        }
    }
    let mut sum = Score::default();
    by.values().for_each(|row| sum.add(*row));
    (sum, by)
}

/// Packs and cells as the scorer sees them: slots of the whole bank count as those of the first pack.
fn fault(message: &Message, part: &Part, role: &Role, frames: &[(Stamp, Frame)]) -> Option<&'static str> {
    if role.id != message.id {
        return Some("another message");
    }
    if ((role.field.scale / part.field.scale) - 1.0).abs() > 0.02 {
        return Some("scale");
    }
    let slack = if part.slot.quantity == Quantity::Temperature { 0.5 } else { 0.0 };
    let (mut off, mut seen) = (0, 0);
    for (_, frame) in frames.iter().filter(|(_, frame)| frame.id == message.id) {
        let chosen = message.selector.is_none_or(|(field, number)| field.get(frame.data()) == Some(number));
        let named = role.when.is_none_or(|when| when.holds(frame.data()));
        if chosen != named {
            return Some("another choice of the multiplexor");
        }
        if !chosen {
            continue;
        }
        let (Some(raw), Some(own)) = (role.field.get(frame.data()), part.field.get(frame.data())) else {
            return Some("outside the frame");
        };
        let (named, really) = (role.field.number(raw), part.field.number(own));
        seen += 1;
        off += usize::from((named - really).abs() > part.field.scale.abs() + slack + 0.02 * really.abs());
    }
    (seen == 0 || off > 0).then_some("values")
}

/// The slot of a value, for a list.
pub(crate) fn name(slot: Slot) -> String {
    format!("{} {} of pack {}", slot.quantity.name(), slot.index + 1, slot.pack + 1)
}

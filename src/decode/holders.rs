//! Two senders of one value: the better one is read, the other is not, and that is said.

use super::transport::Sender;
use crate::model::Slot;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// After so many values of others with none of its own in between, the one that was read is given up.
const PATIENCE: u8 = 10;
/// Slots whose sender is remembered, at most; more than a bank has.
const MOST: usize = 2048;

/// Who is read for a slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Holder {
    sender: Sender,
    /// Priority of the device in the high byte, rank of the message in the low one.
    rank: u16,
    /// Values of others since its own last.
    missed: u8,
    /// It says 'not available': the next who has a number takes over.
    empty: bool,
    /// The last other sender that was not read.
    refused: Option<(Sender, u16)>,
}

/// A value of a slot that several senders give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Twice {
    /// Pack, from 0.
    pub(super) pack: u8,
    /// Address that is read.
    pub(super) read: u8,
    /// Its priority.
    pub(super) priority: u8,
    /// Address that is not.
    pub(super) refused: u8,
    /// Its priority.
    pub(super) lower: u8,
}

/// Who is read for which slot.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Holders(BTreeMap<Slot, Holder>);

impl Holders {
    /// Whether this value of this sender is to be read.
    pub(super) fn may(&mut self, slot: Slot, is_number: bool, sender: Sender, rank: u16) -> bool {
        let Some(holder) = self.0.get_mut(&slot) else {
            if is_number && self.0.len() < MOST {
                self.0.insert(slot, Holder { sender, rank, missed: 0, empty: false, refused: None });
            }
            return true;
        };
        let same = holder.sender == sender && (holder.rank & 0xFF) == (rank & 0xFF);
        if same {
            *holder = Holder { rank, missed: 0, empty: !is_number, ..*holder };
            return true;
        }
        holder.missed = holder.missed.saturating_add(1);
        let other_sender = holder.sender != sender;
        if is_number && (rank > holder.rank || holder.empty || holder.missed > PATIENCE) {
            let refused = if other_sender && !holder.empty { Some((holder.sender, holder.rank)) } else { None };
            *holder = Holder { sender, rank, missed: 0, empty: false, refused };
            return true;
        }
        if other_sender && is_number {
            holder.refused = Some((sender, rank));
        }
        false
    }

    /// Nobody on this interface is read any longer: what was heard there was taken for something else.
    pub(super) fn forget(&mut self, channel: u8) {
        self.0.retain(|_, holder| holder.sender.channel != channel);
    }

    /// Where several senders give the same.
    pub(super) fn twice(&self) -> Vec<Twice> {
        let twice = self.0.iter().filter_map(|(slot, holder)| {
            let (refused, lower) = holder.refused?;
            Some(Twice {
                pack: slot.pack,
                read: holder.sender.address,
                priority: (holder.rank >> 8) as u8,
                refused: refused.address,
                lower: (lower >> 8) as u8,
            })
        });
        let mut twice: Vec<Twice> = twice.collect();
        twice.sort_unstable();
        twice.dedup();
        twice
    }

    /// Whether a state from elsewhere is no larger than it can be.
    pub(super) fn is_in_bounds(&self) -> bool {
        self.0.len() <= MOST
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Quantity;

    const VOLTS: Slot = Slot::of(0, Quantity::PackVoltage);
    const BMS: Sender = Sender { channel: 0, address: 0x46 };
    const METER: Sender = Sender { channel: 0, address: 0x50 };

    #[test]
    fn the_better_priority_is_read_and_the_other_named() {
        let mut holders = Holders::default();
        assert!(holders.may(VOLTS, true, METER, 40 << 8), "the only one so far");
        assert!(holders.may(VOLTS, true, BMS, 120 << 8));
        assert!(!holders.may(VOLTS, true, METER, 40 << 8));
        let [twice] = holders.twice()[..] else { panic!("{:?}", holders.twice()) };
        assert_eq!((twice.read, twice.priority, twice.refused, twice.lower), (0x46, 120, 0x50, 40));
    }

    #[test]
    fn one_that_falls_silent_is_given_up() {
        let mut holders = Holders::default();
        holders.may(VOLTS, true, BMS, 120 << 8);
        let refused = (0..20).take_while(|_| !holders.may(VOLTS, true, METER, 40 << 8)).count();
        assert_eq!(refused, usize::from(PATIENCE));
        assert!(holders.may(VOLTS, true, BMS, 120 << 8), "and taken up when it comes back");
    }

    #[test]
    fn one_that_has_no_number_holds_nothing() {
        let mut holders = Holders::default();
        holders.may(VOLTS, true, BMS, 120 << 8);
        assert!(!holders.may(VOLTS, false, METER, 40 << 8));
        assert!(holders.may(VOLTS, false, BMS, 120 << 8), "that it has none is news");
        assert!(holders.may(VOLTS, true, METER, 40 << 8));
        assert!(!holders.may(VOLTS, false, BMS, 120 << 8), "and then no longer");
    }

    #[test]
    fn a_finer_message_of_the_same_sender_is_preferred() {
        let mut holders = Holders::default();
        assert!(holders.may(VOLTS, true, BMS, 120 << 8));
        assert!(holders.may(VOLTS, true, BMS, 120 << 8 | 1));
        assert!(!holders.may(VOLTS, true, BMS, 120 << 8));
        assert!(holders.twice().is_empty());
    }
}

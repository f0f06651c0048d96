//! Frames of the open standards into readings.

use super::bus::Bus;
use super::holders::Holders;
use super::members::{Instances, Members, Where};
use super::standard::{Group, Join, Of, Standard};
use super::transport::{Broadcasts, FastPackets, Sender};
use crate::layout::Key;
use crate::model::{Dialect, Frame, Heard, Id, Quantity, Sent, Slot, Stamp, Value};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Groups of long messages of RV-C: announcement and packet.
const ANNOUNCEMENT: u32 = 0xEC00;
const PACKET: u32 = 0xEB00;
/// To everyone.
const EVERYONE: u32 = 0xFF;
/// Values of one message, at most.
const VALUES: usize = 16;

/// How buses are to be read.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Choice {
    /// What every interface speaks; none: find it.
    pub(super) dialect: Option<Dialect>,
    /// Currents are to be turned over, where a standard leaves their sign open.
    pub(super) reversed: bool,
    /// Packs in the bank file.
    pub(super) packs: Option<usize>,
    /// Which battery instance is which of them.
    pub(super) instances: Instances,
}

/// What is remembered of the standards' buses.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Reader {
    pub(super) buses: BTreeMap<u8, Bus>,
    pub(super) members: BTreeMap<u8, Members>,
    pub(super) holders: Holders,
    pub(super) fast: FastPackets,
    pub(super) broadcasts: Broadcasts,
}

/// A message that came whole.
struct Message<'a> {
    standard: &'static Standard,
    index: usize,
    data: &'a [u8],
    sender: Sender,
}

impl Reader {
    /// What an interface is taken to speak.
    pub(super) fn dialect(&self, channel: u8, choice: Choice) -> Option<Dialect> {
        choice.dialect.or_else(|| self.buses.get(&channel).and_then(Bus::found))
    }

    /// Looks at a frame that is not to be read, so that a standard on the bus can be named.
    pub(super) fn notice(&mut self, frame: &Frame) {
        if matches!(frame.id, Id::Extended(_)) {
            self.buses.entry(frame.channel).or_default().hear(frame.id, frame.data());
        }
    }

    /// Takes a frame that no other map knows. What it says is put into `said`.
    pub(super) fn take(&mut self, at: Stamp, frame: &Frame, choice: Choice, said: &mut Vec<(Slot, Value)>) -> Heard {
        let (mut heard, Id::Extended(id)) = (Heard::default(), frame.id) else { return Heard::default() };
        let bus = self.buses.entry(frame.channel).or_default();
        let before = bus.found();
        let found = bus.hear(frame.id, frame.data());
        if before != found {
            self.holders.forget(frame.channel);
            if choice.dialect.is_none() {
                self.members.remove(&frame.channel); // its numbers were taken for those of another standard
            }
        }
        let Some(standard) = choice.dialect.or(found).and_then(Standard::of) else { return heard };
        let sender = Sender { channel: frame.channel, address: id as u8 };
        let group = Key::group_of(id);
        let long = match (group, id >> 8 & 0xFF) {
            (ANNOUNCEMENT, EVERYONE) => {
                self.broadcasts.announce(at, sender, frame.data());
                None
            }
            (PACKET, EVERYONE) => self.broadcasts.packet(at, sender, frame.data()),
            _ => None,
        };
        if let Some((group, data)) = long {
            let index = standard.map.find(Id::Extended(group << 8 | id & 0xFF));
            let message = index.map(|index| Message { standard, index, data: &data, sender });
            return message.map_or(heard, |message| self.read(&message, choice, said));
        }
        let Some(index) = standard.map.find(frame.id) else { return heard };
        let fast = standard.group(index).is_some_and(|group| group.fast);
        if !fast {
            return self.read(&Message { standard, index, data: frame.data(), sender }, choice, said);
        }
        heard.known = true;
        match self.fast.take(at, sender, group, frame.data()) {
            Some(data) => self.read(&Message { standard, index, data: &data, sender }, choice, said),
            None => heard,
        }
    }

    /// Reads a whole message.
    fn read(&mut self, message: &Message, choice: Choice, said: &mut Vec<(Slot, Value)>) -> Heard {
        let mut heard = Heard { known: true, ..Heard::default() };
        let Some(group) = message.standard.group(message.index) else { return heard };
        if let Some(bus) = self.buses.get_mut(&message.sender.channel) {
            bus.come |= 1 << (message.index as u64 & 63);
        }
        let members = self.members.entry(message.sender.channel).or_default();
        let before = members.read();
        let place = members.place(group, message.data, choice);
        if before.is_some() && members.read() != before {
            self.holders.forget(message.sender.channel); // another bank's senders held these slots
        }
        let rank = rank(group, message.data);
        let values = message.standard.map.values_in(message.index, message.data).take(VALUES);
        let turns = choice.reversed && message.standard.sign_open;
        said.extend(values.filter_map(|(slot, value)| Some((place.slot(slot)?, turned(slot, value, turns)))));
        join(group.join, said);
        said.retain(|(slot, value)| {
            let is_number = matches!(value, Value::Present(_));
            slot.quantity.is_description() || self.holders.may(*slot, is_number, message.sender, rank)
        });
        heard.invalid = said.iter().filter(|(_, value)| matches!(value, Value::Invalid(_))).count() as u32;
        heard.sent = (!said.is_empty()).then_some(if group.asked { Sent::Asked } else { Sent::ByItself });
        heard
    }

    /// Whether a state from elsewhere is no larger than it can be.
    pub(super) fn is_in_bounds(&self) -> bool {
        self.holders.is_in_bounds()
            && self.fast.is_in_bounds()
            && self.broadcasts.is_in_bounds()
            && self.members.values().all(Members::is_in_bounds)
    }
}

impl Where {
    /// The slot that a value of a message goes to; none for what the whole bank has no place for.
    fn slot(self, slot: Slot) -> Option<Slot> {
        match (self, slot.quantity) {
            (Self::Pack { pack, cells }, Quantity::CellVoltage | Quantity::CellBalancing) => {
                Some(Slot { pack, index: slot.index.checked_add(cells)?, ..slot })
            }
            (Self::Pack { pack, cells }, Quantity::Temperature | Quantity::SensorRole | Quantity::SensorCell) => {
                let index = if slot.index > 0 { slot.index.checked_add(cells)? } else { 0 };
                Some(Slot { pack, index, ..slot })
            }
            (Self::Pack { pack, .. }, _) => Some(Slot { pack, ..slot }),
            (Self::Bank, Quantity::PackVoltage) => Some(Slot::of(0, Quantity::BankVoltage)),
            (Self::Bank, Quantity::Current) => Some(Slot::of(0, Quantity::BankCurrent)),
            (Self::Bank | Self::Nowhere, _) => None,
        }
    }
}

/// How good a message is for its values: the priority of its device, then the rank of the message.
fn rank(group: &Group, data: &[u8]) -> u16 {
    let priority = data.get(1).copied().filter(|priority| group.of == Of::Source && *priority <= 120).unwrap_or(0);
    u16::from(priority) << 8 | u16::from(group.rank)
}

/// The value with the sign of its current turned over, where the bank file says so and the standard does not.
fn turned(slot: Slot, value: Value, turns: bool) -> Value {
    match value {
        Value::Present(amps) if turns && slot.quantity == Quantity::Current => Value::Present(-amps),
        value => value,
    }
}

/// Makes one value of several fields of one quantity.
fn join(join: Option<Join>, said: &mut Vec<(Slot, Value)>) {
    let (Some(join), Some(&(first, _))) = (join, said.first()) else { return };
    let numbers = || said.iter().filter(|(slot, _)| *slot == first).filter_map(|(_, value)| number(*value));
    let count = said.iter().filter(|(slot, _)| *slot == first).count();
    let joined = match join {
        Join::Any => numbers().reduce(f64::max),
        Join::Product => Some(numbers().product()).filter(|_| numbers().count() == count),
    };
    let (low, high) = first.quantity.bounds();
    let value = joined.filter(|number| (low..=high).contains(number)).map_or(Value::Missing, Value::Present);
    said.retain(|(slot, _)| *slot != first);
    said.push((first, value));
}

fn number(value: Value) -> Option<f64> {
    match value {
        Value::Present(number) => Some(number),
        Value::Missing | Value::Invalid(_) => None,
    }
}

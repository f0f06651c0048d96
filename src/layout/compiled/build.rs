//! Collects messages and compiles them.

use super::{Channel, CompiledMap, Key, Message, Part, Place, Places, Quick, Spec, Target, When};
use crate::layout::field::{Field, Order};
use std::collections::{BTreeMap, BTreeSet};

/// What is wrong with a map.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MapError {
    /// The message comes twice.
    #[error("{0} is given twice")]
    Twice(Key),
    /// A field that cannot be.
    #[error(
        "{key}: a field of {len} bits from bit {start} does not fit into 64 bytes, or its form does not fit its length"
    )]
    Outside {
        /// Message.
        key: Key,
        /// Start bit.
        start: u16,
        /// Bits.
        len: u8,
    },
    /// More than a map holds.
    #[error("a map holds at most {most} messages and {most} fields a message")]
    TooMany {
        /// The limit.
        most: usize,
    },
}

/// Messages of a map, and fields of a message, at most.
const MOST: usize = 1 << 16;

/// A message of a map.
#[derive(Debug, Clone, PartialEq)]
pub struct MessageSpec<T> {
    /// Which frames carry it.
    pub key: Key,
    /// Its name, clean, for people; may be empty.
    pub name: String,
    /// Numbers in the data that say which pack, cell or sensor it is about.
    pub places: Places,
    /// Its fields.
    pub channels: Vec<Channel<T>>,
}

impl<T: Target> MessageSpec<T> {
    /// A message with fields that are always there.
    pub fn plain(key: Key, name: impl Into<String>, fields: impl IntoIterator<Item = (T, Field)>) -> Self {
        let channels = fields.into_iter().map(|(target, field)| Channel::new(target, field)).collect();
        Self { key, name: name.into(), places: Places::default(), channels }
    }
}

/// Collects messages and compiles them.
#[derive(Debug)]
pub struct MapBuilder<T> {
    messages: Vec<MessageSpec<T>>,
    known: BTreeSet<Key>,
}

impl<T> Default for MapBuilder<T> {
    fn default() -> Self {
        Self { messages: Vec::new(), known: BTreeSet::new() }
    }
}

impl<T: Target> MapBuilder<T> {
    /// Adds a message.
    ///
    /// # Errors
    /// [`MapError`] when the message was there already or a field does not fit into a frame.
    pub fn message(&mut self, message: MessageSpec<T>) -> Result<(), MapError> {
        let key = message.key;
        if self.messages.len() >= MOST || message.channels.len() >= MOST {
            return Err(MapError::TooMany { most: MOST });
        }
        let switches = message.channels.iter().flat_map(|channel| &channel.when).map(|when| &when.field);
        let places = [message.places.pack, message.places.index];
        let places = places.iter().flatten().map(|place: &Place| &place.field);
        let fields = message.channels.iter().map(|channel| &channel.field);
        if let Some(field) = fields.chain(switches).chain(places).find(|field| !field.is_possible()) {
            return Err(MapError::Outside { key, start: field.start, len: field.len });
        }
        if !self.known.insert(key) {
            return Err(MapError::Twice(key));
        }
        self.messages.push(message);
        Ok(())
    }

    /// The compiled map.
    #[must_use]
    pub fn compile(self) -> CompiledMap<T> {
        let size = (self.messages.len() * 4).next_power_of_two().max(16);
        let mut map = CompiledMap {
            table: vec![(0, 0); size],
            shift: 32 - size.trailing_zeros(),
            grouped: self.known.iter().any(|key| matches!(key, Key::Group(_))),
            messages: Vec::new(),
            specs: Vec::new(),
            parts: Vec::new(),
            channels: Vec::new(),
            quick: Vec::new(),
        };
        for message in self.messages {
            map.add(message);
        }
        map
    }
}

impl<T: Target> CompiledMap<T> {
    fn add(&mut self, spec: MessageSpec<T>) {
        let first_part = self.parts.len() as u32;
        for (when, same) in by_condition(spec.channels) {
            let bytes = same.iter().filter_map(|channel| channel.field.bytes()).max().unwrap_or(0) as u16;
            self.parts.push(Part { when, first: self.channels.len() as u32, count: same.len() as u32, bytes });
            self.quick.extend(same.iter().map(Quick::new));
            self.channels.extend(same);
        }
        let parts = (first_part, self.parts.len() as u32 - first_part);
        let moves = spec.places != Places::default();
        let always = self.parts.get(first_part as usize).filter(|part| part.when.is_empty() && !moves);
        let simple = always.filter(|_| parts.1 == 1).map(|part| (part.first, part.count as u16, part.bytes));
        let (first, count, bytes) = simple.unwrap_or_default();
        let simple = simple.is_some();
        self.messages.push(Message { first, count, bytes, simple });
        self.specs.push(Spec { key: spec.key, name: spec.name.into(), places: spec.places, parts });
        let (number, key) = (self.messages.len() as u32, spec.key.key());
        let mask = self.table.len() - 1;
        let mut at = (key.wrapping_mul(0x9E37_79B1) >> self.shift) as usize & mask;
        while self.table[at].1 != 0 {
            at = (at + 1) & mask;
        }
        self.table[at] = (key, number);
    }
}

/// What is always there first, then each set of conditions with its channels, in the order of their first.
fn by_condition<T>(channels: Vec<Channel<T>>) -> Vec<(Vec<When>, Vec<Channel<T>>)> {
    let mut order = BTreeMap::new();
    let mut parts: Vec<(Vec<When>, Vec<Channel<T>>)> = vec![(Vec::new(), Vec::new())];
    order.insert(Vec::new(), 0);
    for channel in channels {
        let bits = |field: &Field| (field.start, field.len, field.order == Order::Big);
        let key: Vec<_> = channel.when.iter().map(|when| (bits(&when.field), when.any_of.clone())).collect();
        let at = *order.entry(key).or_insert_with(|| {
            parts.push((channel.when.clone(), Vec::new()));
            parts.len() - 1
        });
        if let Some((_, same)) = parts.get_mut(at) {
            same.push(channel);
        }
    }
    parts.retain(|(_, same)| !same.is_empty());
    parts
}

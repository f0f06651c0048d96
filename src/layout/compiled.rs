//! The compiled map: from (id, bits) to (slot, number), flat, looked up in constant time, no allocation.

use super::Field;
use super::field::Order;
use crate::model::{Frame, FrameKind, Id, Slot, Value};

/// One field of a message, ready to be read, and where its value goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Channel {
    /// Where the value belongs.
    pub slot: Slot,
    /// The field.
    pub field: Field,
    /// Smallest and largest number that is real.
    bounds: (f64, f64),
    /// Shift of the field in the frame's first eight bytes, when it lies within them.
    shift: Option<u8>,
}

impl Channel {
    fn new(slot: Slot, field: Field) -> Self {
        let shift = match field.order {
            Order::Little if field.start + u16::from(field.len) <= 64 => Some(field.start as u8),
            Order::Big => big_shift(&field),
            Order::Little => None,
        };
        Self { slot, field, bounds: slot.quantity.bounds(), shift }
    }

    /// Raw bits of this field; `None` when the frame is too short for it.
    #[inline]
    fn raw(&self, frame: &Frame, word: u64, swapped: u64) -> Option<u64> {
        let Some(shift) = self.shift else { return self.field.get(frame.data()) };
        let word = if self.field.order == Order::Little { word } else { swapped };
        Some(word >> shift & self.field.mask())
    }

    /// The value, checked against the bounds of its quantity.
    #[inline]
    fn value(&self, raw: u64) -> Value {
        match self.field.value(raw) {
            Value::Present(number) if !(number >= self.bounds.0 && number <= self.bounds.1) => Value::Invalid(raw),
            value => value,
        }
    }
}

/// Shift of a big-endian field in the byte-swapped first eight bytes.
fn big_shift(field: &Field) -> Option<u8> {
    let from_top = field.start / 8 * 8 + (7 - field.start % 8);
    let end = from_top + u16::from(field.len);
    (end <= 64).then(|| (64 - end) as u8)
}

#[derive(Debug, Clone, Copy)]
struct Message {
    first: u32,
    count: u16,
    /// Bytes that a frame must have for every field to be there.
    bytes: u16,
}

/// A map from frames to values. Made by [`MapBuilder`].
#[derive(Debug, Clone)]
pub struct CompiledMap {
    /// Open addressing: (id key, message index + 1); 0 is an empty place.
    table: Vec<(u32, u32)>,
    shift: u32,
    messages: Vec<Message>,
    channels: Vec<Channel>,
}

impl CompiledMap {
    /// Index of the message with this id.
    #[must_use]
    #[inline]
    pub fn find(&self, id: Id) -> Option<usize> {
        let key = id.key();
        let mask = self.table.len() - 1;
        let mut at = (key.wrapping_mul(0x9E37_79B1) >> self.shift) as usize & mask;
        loop {
            let (found, message) = self.table[at];
            if message == 0 {
                return None;
            }
            if found == key {
                return Some(message as usize - 1);
            }
            at = (at + 1) & mask;
        }
    }

    /// Number of messages.
    #[must_use]
    pub fn len(&self) -> usize {
        self.messages.len()
    }

    /// Whether the map knows nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.messages.is_empty()
    }

    /// The fields of a message.
    #[must_use]
    pub fn channels(&self, message: usize) -> &[Channel] {
        self.messages.get(message).map_or(&[], |m| &self.channels[m.first as usize..][..usize::from(m.count)])
    }

    /// Reads every value of a message out of a frame. A field that the frame is too short for is invalid.
    #[inline]
    pub fn read(&self, message: usize, frame: &Frame, mut each: impl FnMut(Slot, Value)) {
        if !matches!(frame.kind, FrameKind::Data | FrameKind::Fd(_)) {
            return;
        }
        let word = frame.word();
        let swapped = word.swap_bytes();
        let whole = self.messages.get(message).is_some_and(|m| frame.len() >= usize::from(m.bytes));
        for channel in self.channels(message) {
            let fits = whole || channel.field.get(frame.data()).is_some();
            let value = match channel.raw(frame, word, swapped) {
                Some(raw) if fits => channel.value(raw),
                _ => Value::Invalid(0),
            };
            each(channel.slot, value);
        }
    }
}

/// What is wrong with a map.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MapError {
    /// The id comes twice.
    #[error("id {0} is given twice")]
    Twice(Id),
    /// A field that cannot be.
    #[error("id {id}: a field of {len} bits from bit {start} does not fit into 64 bytes")]
    Outside {
        /// Message.
        id: Id,
        /// Start bit.
        start: u16,
        /// Bits.
        len: u8,
    },
}

/// Collects messages and compiles them.
#[derive(Debug, Default)]
pub struct MapBuilder {
    messages: Vec<(Id, Vec<Channel>)>,
}

impl MapBuilder {
    /// Adds a message.
    ///
    /// # Errors
    /// [`MapError`] when the id was there already or a field does not fit into a frame.
    pub fn message(&mut self, id: Id, fields: impl IntoIterator<Item = (Slot, Field)>) -> Result<(), MapError> {
        if self.messages.iter().any(|(known, _)| *known == id) {
            return Err(MapError::Twice(id));
        }
        let channels: Vec<Channel> = fields.into_iter().map(|(slot, field)| Channel::new(slot, field)).collect();
        for Channel { field, .. } in &channels {
            if field.len == 0 || field.len > 64 || field.get(&[0; 64]).is_none() {
                return Err(MapError::Outside { id, start: field.start, len: field.len });
            }
        }
        self.messages.push((id, channels));
        Ok(())
    }

    /// The compiled map.
    #[must_use]
    pub fn compile(self) -> CompiledMap {
        let size = (self.messages.len() * 4).next_power_of_two().max(16);
        let shift = 32 - size.trailing_zeros();
        let mut map = CompiledMap { table: vec![(0, 0); size], shift, messages: Vec::new(), channels: Vec::new() };
        for (id, channels) in self.messages {
            let bytes = channels.iter().map(|c| bytes_needed(&c.field)).max().unwrap_or(0);
            let message = Message { first: map.channels.len() as u32, count: channels.len() as u16, bytes };
            map.messages.push(message);
            map.channels.extend(channels);
            let number = map.messages.len() as u32;
            let mut at = (id.key().wrapping_mul(0x9E37_79B1) >> shift) as usize & (size - 1);
            while map.table[at].1 != 0 {
                at = (at + 1) & (size - 1);
            }
            map.table[at] = (id.key(), number);
        }
        map
    }
}

fn bytes_needed(field: &Field) -> u16 {
    (1..=64).find(|&n| field.get(&[0; 64][..n]).is_some()).unwrap_or(64) as u16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Quantity;
    use proptest::prelude::*;

    fn map_of(id: Id, field: Field) -> CompiledMap {
        let mut builder = MapBuilder::default();
        builder.message(id, [(Slot::of(0, Quantity::SenderFrames), field)]).unwrap();
        builder.compile()
    }

    #[test]
    fn eleven_and_twenty_nine_bits_are_two_ids() {
        let map = map_of(Id::Extended(0x123), Field::own(0, 8, 1.0, 0.0));
        assert!(map.find(Id::Standard(0x123)).is_none());
        assert_eq!(map.find(Id::Extended(0x123)), Some(0));
    }

    #[test]
    fn a_short_frame_gives_invalid_not_zero() {
        let map = map_of(Id::Extended(1), Field::own(32, 16, 1.0, 0.0));
        let frame = Frame::new(Id::Extended(1), FrameKind::Data, &[1, 2, 3, 4, 5]).unwrap();
        map.read(0, &frame, |_, value| assert_eq!(value, Value::Invalid(0)));
    }

    proptest! {
        #[test]
        fn the_fast_way_reads_what_the_slow_way_reads(start in 0u16..64, len in 1u8..=32, big: bool, bytes: [u8; 8]) {
            let order = if big { Order::Big } else { Order::Little };
            let field = Field { start, len, order, signed: false, scale: 1.0, offset: 0.0, special: false };
            let frame = Frame::extended(7, bytes);
            let map = map_of(Id::Extended(7), field);
            map.read(0, &frame, |_, value| {
                let slow = field.get(&bytes).map_or(Value::Invalid(0), |raw| field.value(raw));
                assert_eq!(value, slow);
            });
        }
    }
}

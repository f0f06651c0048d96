//! The compiled map: from (id, bits) to (slot, number), flat, looked up in constant time, no allocation.

use super::Field;
use super::field::Order;
use crate::model::{Frame, FrameKind, Id, Slot, Value};

/// One field of a message, and where its value goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Channel {
    /// Where the value belongs.
    pub slot: Slot,
    /// The field.
    pub field: Field,
}

impl Channel {
    /// The value in a frame, checked against the bounds of its quantity; invalid when the frame is too short.
    fn value(&self, frame: &Frame) -> Value {
        let Some(raw) = self.field.get(frame.data()) else { return Value::Invalid(0) };
        let (low, high) = self.slot.quantity.bounds();
        match self.field.value(raw) {
            Value::Present(number) if !(number >= low && number <= high) => Value::Invalid(raw),
            value => value,
        }
    }
}

/// A channel that lies in the first eight bytes, unsigned, of a frame that is long enough: read with a shift.
/// Raw numbers outside `low` to `high` go the careful way, through [`Channel`].
#[derive(Debug, Clone, Copy)]
struct Quick {
    slot: Slot,
    shift: u8,
    big: bool,
    /// All ones mean 'not available'.
    special: bool,
    mask: u64,
    low: u64,
    high: u64,
    scale: f64,
    offset: f64,
}

impl Quick {
    fn new(channel: &Channel) -> Self {
        let field = &channel.field;
        let shift = match field.order {
            Order::Little if field.start + u16::from(field.len) <= 64 => Some(field.start as u8),
            Order::Little => None,
            Order::Big => big_shift(field),
        };
        let (low, high) = plain_counts(channel).filter(|_| shift.is_some()).unwrap_or((1, 0));
        Self {
            slot: channel.slot,
            shift: shift.unwrap_or(0),
            big: field.order == Order::Big,
            special: field.special && shift.is_some(),
            mask: field.mask(),
            low,
            high,
            scale: field.scale,
            offset: field.offset,
        }
    }
}

/// The raw counts that are ordinary numbers within the bounds of their quantity; none for a signed field.
fn plain_counts(channel: &Channel) -> Option<(u64, u64)> {
    let field = &channel.field;
    if field.signed || field.scale <= 0.0 || field.len > 62 {
        return None;
    }
    let (low, high) = channel.slot.quantity.bounds();
    let top = if field.special { field.mask().saturating_sub(2) } else { field.mask() };
    let count = |number: f64| (number - field.offset) / field.scale;
    let (low, high) = (count(low).ceil().max(0.0), count(high).floor().min(top as f64));
    (low <= high).then_some((low as u64, high as u64))
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
    /// The same channels, as they are read in ordinary frames.
    quick: Vec<Quick>,
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

    /// Every value of a message in a frame, with where it belongs. A field that the frame is too short for is invalid.
    #[inline]
    #[must_use]
    pub fn values<'a>(&'a self, message: usize, frame: &'a Frame) -> Values<'a> {
        let carries_data = matches!(frame.kind, FrameKind::Data | FrameKind::Fd(_));
        let found = self.messages.get(message).filter(|_| carries_data);
        let range = found.map_or(0..0, |m| m.first as usize..m.first as usize + usize::from(m.count));
        let word = frame.word();
        Values {
            quick: self.quick[range.clone()].iter(),
            channels: self.channels[range].iter(),
            frame,
            whole: found.is_some_and(|m| frame.len() >= usize::from(m.bytes)),
            words: [word, word.swap_bytes()],
        }
    }

    /// The same, each value handed to `each`.
    pub fn read(&self, message: usize, frame: &Frame, mut each: impl FnMut(Slot, Value)) {
        self.values(message, frame).for_each(|(slot, value)| each(slot, value));
    }
}

/// The values of one frame, one after another.
#[derive(Debug)]
pub struct Values<'a> {
    quick: std::slice::Iter<'a, Quick>,
    channels: std::slice::Iter<'a, Channel>,
    frame: &'a Frame,
    /// The frame is long enough for every field.
    whole: bool,
    /// The first eight bytes in either order.
    words: [u64; 2],
}

impl Iterator for Values<'_> {
    type Item = (Slot, Value);

    #[inline(always)]
    fn next(&mut self) -> Option<(Slot, Value)> {
        let (quick, channel) = (self.quick.next()?, self.channels.next()?);
        let raw = self.words[usize::from(quick.big)] >> quick.shift & quick.mask;
        let value = if self.whole && raw >= quick.low && raw <= quick.high {
            Value::Present(raw as i64 as f64 * quick.scale + quick.offset)
        } else if self.whole && quick.special && raw == quick.mask {
            Value::Missing
        } else {
            channel.value(self.frame)
        };
        Some((quick.slot, value))
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
        let channels: Vec<Channel> = fields.into_iter().map(|(slot, field)| Channel { slot, field }).collect();
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
        let mut map = CompiledMap {
            table: vec![(0, 0); size],
            shift,
            messages: Vec::new(),
            channels: Vec::new(),
            quick: Vec::new(),
        };
        for (id, channels) in self.messages {
            let bytes = channels.iter().map(|c| bytes_needed(&c.field)).max().unwrap_or(0);
            let message = Message { first: map.channels.len() as u32, count: channels.len() as u16, bytes };
            map.messages.push(message);
            map.quick.extend(channels.iter().map(Quick::new));
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
        assert!(map.values(0, &frame).all(|(_, value)| value == Value::Invalid(0)));
    }

    proptest! {
        #[test]
        fn the_fast_way_reads_what_the_slow_way_reads(
            start in 0u16..64, len in 1u8..=64, kind in 0u8..8, bytes: [u8; 8], blank: bool,
        ) {
            let order = if kind & 1 > 0 { Order::Big } else { Order::Little };
            let (signed, special) = (kind & 2 > 0, kind & 4 > 0);
            let field = Field { start, len, order, signed, scale: 0.5, offset: 7.0, special };
            let bytes = if blank { [0xFF; 8] } else { bytes };
            let frame = Frame::extended(7, bytes);
            let map = map_of(Id::Extended(7), field);
            let (low, high) = Quantity::SenderFrames.bounds();
            map.read(0, &frame, |_, value| {
                let slow = match field.get(&bytes).map(|raw| (raw, field.value(raw))) {
                    None => Value::Invalid(0),
                    Some((raw, Value::Present(number))) if !(low..=high).contains(&number) => Value::Invalid(raw),
                    Some((_, value)) => value,
                };
                assert_eq!(value, slow);
            });
        }
    }
}

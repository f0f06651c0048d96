//! The compiled map: from (id, bits) to (target, number), flat, looked up in constant time, no allocation.

mod build;
mod channel;

use super::Field;
use crate::model::{Frame, FrameKind, Id, Slot, Value};
use channel::Quick;
use std::fmt;

pub use build::{MapBuilder, MapError, MessageSpec};
pub use channel::{Channel, Codes, When};

/// What a value can belong to: a slot of the bank, or whatever else a map is made for.
pub trait Target: Copy + PartialEq {
    /// Smallest and largest number that is an ordinary one.
    fn bounds(self) -> (f64, f64);

    /// Whether the number can be; else it is invalid.
    fn takes(self, number: f64) -> bool {
        let (low, high) = self.bounds();
        number >= low && number <= high
    }

    /// The same of a later pack, cell or sensor.
    #[must_use]
    fn moved(self, pack: u8, index: u8) -> Self;
}

impl Target for Slot {
    #[inline]
    fn bounds(self) -> (f64, f64) {
        self.quantity.bounds()
    }

    #[inline]
    fn moved(self, pack: u8, index: u8) -> Self {
        Self { pack: self.pack.saturating_add(pack), index: self.index.saturating_add(index), ..self }
    }
}

/// Which frames carry a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Key {
    /// Those with this id.
    Exact(Id),
    /// Those with a 29-bit id of this parameter group: any priority, any source, any destination.
    Group(u32),
}

impl Key {
    /// The group of a 29-bit id (SAE J1939-21): without its destination where it names one.
    #[must_use]
    pub const fn group_of(id: u32) -> u32 {
        let group = id >> 8 & 0x3_FFFF;
        if group >> 8 & 0xFF < 240 { group & 0x3_FF00 } else { group }
    }

    /// Both kinds apart, and apart from 11-bit ids.
    const fn key(self) -> u32 {
        match self {
            Self::Exact(id) => id.key(),
            Self::Group(group) => 0x4000_0000 | group,
        }
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Exact(id) => write!(f, "id {id}"),
            Self::Group(group) => write!(f, "group {group:05X}"),
        }
    }
}

/// A number in the data that says which pack, cell or sensor a message is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Where the number stands.
    pub field: Field,
    /// The number of the first.
    pub first: u64,
    /// How many there are; what lies beyond them says nothing.
    pub count: u8,
}

impl Place {
    /// How far from the first; `None` when it is none of them.
    fn read(&self, data: &[u8]) -> Option<u8> {
        let from_first = self.field.get(data)?.checked_sub(self.first)?;
        u8::try_from(from_first).ok().filter(|step| *step < self.count)
    }
}

/// Numbers in the data that say what a message is about.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Places {
    /// Which pack.
    pub pack: Option<Place>,
    /// Which cell, sensor or source.
    pub index: Option<Place>,
}

/// A message as it is read: where its fields begin, if they are all always there.
#[derive(Debug, Clone, Copy)]
struct Message {
    first: u32,
    count: u16,
    /// Bytes that a frame must have for every field to be there.
    bytes: u16,
    /// Every field is in every frame, and the data names no pack or cell.
    simple: bool,
}

/// The rest of what is known of a message.
#[derive(Debug, Clone)]
struct Spec {
    key: Key,
    name: Box<str>,
    places: Places,
    /// First part and number of parts.
    parts: (u32, u32),
}

/// Fields of a message that are there on the same condition.
#[derive(Debug, Clone)]
struct Part {
    when: Vec<When>,
    first: u32,
    count: u32,
    bytes: u16,
}

/// A map from frames to values. Made by [`MapBuilder`].
#[derive(Debug, Clone)]
pub struct CompiledMap<T = Slot> {
    /// Open addressing: (id key, message index + 1); 0 is an empty place.
    table: Vec<(u32, u32)>,
    shift: u32,
    /// Some messages go by their group.
    grouped: bool,
    messages: Vec<Message>,
    specs: Vec<Spec>,
    parts: Vec<Part>,
    channels: Vec<Channel<T>>,
    /// The same channels, as they are read in ordinary frames.
    quick: Vec<Quick<T>>,
}

impl<T: Target> CompiledMap<T> {
    /// Index of the message that frames with this id carry.
    #[must_use]
    #[inline]
    pub fn find(&self, id: Id) -> Option<usize> {
        let found = self.look_up(id.key());
        if found.is_none() && self.grouped {
            return self.find_group(id);
        }
        found
    }

    #[inline(never)]
    fn find_group(&self, id: Id) -> Option<usize> {
        let Id::Extended(id) = id else { return None };
        self.look_up(Key::Group(Key::group_of(id)).key())
    }

    #[inline]
    fn look_up(&self, key: u32) -> Option<usize> {
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

    /// Name of a message; empty when it has none.
    #[must_use]
    pub fn name(&self, message: usize) -> &str {
        self.specs.get(message).map_or("", |spec| &spec.name)
    }

    /// Which frames carry a message.
    #[must_use]
    pub fn key(&self, message: usize) -> Option<Key> {
        self.specs.get(message).map(|spec| spec.key)
    }

    /// What in the data says which pack or cell a message is about.
    #[must_use]
    pub fn places(&self, message: usize) -> Places {
        self.specs.get(message).map_or_else(Places::default, |spec| spec.places)
    }

    /// The fields of a message.
    #[must_use]
    pub fn channels(&self, message: usize) -> &[Channel<T>] {
        let Some(Spec { parts: (first, count), .. }) = self.specs.get(message) else { return &[] };
        let parts = &self.parts[*first as usize..][..*count as usize];
        let (first, count) =
            (parts.first().map_or(0, |part| part.first), parts.iter().map(|part| part.count).sum::<u32>());
        &self.channels[first as usize..][..count as usize]
    }

    /// Every value of a message in a frame, with where it belongs. A field that the frame is too short for is invalid.
    #[inline]
    #[must_use]
    pub fn values<'a>(&'a self, message: usize, frame: &'a Frame) -> Values<'a, T> {
        let carries_data = matches!(frame.kind, FrameKind::Data | FrameKind::Fd(_));
        self.start(self.messages.get(message).filter(|_| carries_data), message, frame.data(), frame.word())
    }

    /// The same of data that several frames carried.
    #[must_use]
    pub fn values_in<'a>(&'a self, message: usize, data: &'a [u8]) -> Values<'a, T> {
        let mut word = [0; 8];
        word.iter_mut().zip(data).for_each(|(to, from)| *to = *from);
        self.start(self.messages.get(message), message, data, u64::from_le_bytes(word))
    }

    #[inline(always)]
    fn start<'a>(&'a self, found: Option<&Message>, message: usize, data: &'a [u8], word: u64) -> Values<'a, T> {
        let range = found.map_or(0..0, |m| m.first as usize..m.first as usize + usize::from(m.count));
        let parted = found.is_some_and(|m| !m.simple);
        Values {
            quick: self.quick[range.clone()].iter(),
            channels: &self.channels[range],
            data,
            whole: found.is_some_and(|m| data.len() >= usize::from(m.bytes)),
            words: [word, word.swap_bytes()],
            parted: if parted { self.parted(message, data) } else { None },
        }
    }

    /// What is read part by part; none when the data is about something that there is not.
    #[inline(never)]
    fn parted(&self, message: usize, data: &[u8]) -> Option<Parted<'_, T>> {
        let Spec { places, parts: (first, count), .. } = self.specs.get(message)?;
        let step = |place: &Option<Place>| place.as_ref().map_or(Some(0), |place| place.read(data));
        let moved = (step(&places.pack)?, step(&places.index)?);
        Some(Parted { map: self, parts: self.parts[*first as usize..][..*count as usize].iter(), moved })
    }

    /// The same, each value handed to `take`. Faster than the iterator: an ordinary number stays in a register,
    /// where the iterator's value goes through memory, in two halves that come back as one.
    #[inline(always)]
    pub fn read(&self, message: usize, frame: &Frame, mut take: impl FnMut(T, Value)) {
        let mut values = self.values(message, frame);
        if values.parted.is_some() || !values.whole {
            return each(values, &mut take);
        }
        while let Some(quick) = values.quick.next() {
            match quick.number(values.words[usize::from(quick.big)]) {
                Some(number) => take(quick.target, Value::Present(number)),
                None => one(&values, quick, &mut take),
            }
        }
    }
}

/// Hands over what is read part by part or may lie beyond the data. Out of the way of the ordinary frame.
#[inline(never)]
fn each<T: Target>(values: Values<'_, T>, take: &mut impl FnMut(T, Value)) {
    values.for_each(|(target, value)| take(target, value));
}

/// Hands over a value that is no ordinary number.
#[inline(never)]
fn one<T: Target>(values: &Values<'_, T>, quick: &Quick<T>, take: &mut impl FnMut(T, Value)) {
    let missing = quick.is_missing(values.words[usize::from(quick.big)]).then_some(Value::Missing);
    take(quick.target, missing.unwrap_or_else(|| values.carefully()));
}

/// The parts of a message that are still to come.
#[derive(Debug)]
struct Parted<'a, T> {
    map: &'a CompiledMap<T>,
    parts: std::slice::Iter<'a, Part>,
    /// Pack and index that the data names, from the first.
    moved: (u8, u8),
}

/// The values of one frame, one after another.
#[derive(Debug)]
pub struct Values<'a, T = Slot> {
    quick: std::slice::Iter<'a, Quick<T>>,
    channels: &'a [Channel<T>],
    data: &'a [u8],
    /// The data is long enough for every field.
    whole: bool,
    /// The first eight bytes in either order.
    words: [u64; 2],
    parted: Option<Parted<'a, T>>,
}

impl<'a, T: Target> Values<'a, T> {
    /// Goes on to the next part whose conditions hold.
    #[inline(never)]
    fn next_of_parts(&mut self) -> Option<&'a Quick<T>> {
        let parted = self.parted.as_mut()?;
        let part = parted.parts.by_ref().find(|part| part.when.iter().all(|when| when.holds(self.data)))?;
        let range = part.first as usize..(part.first + part.count) as usize;
        self.quick = parted.map.quick[range.clone()].iter();
        self.channels = &parted.map.channels[range];
        self.whole = self.data.len() >= usize::from(part.bytes);
        self.quick.next()
    }

    /// The value of the field that was just gone past, by its channel.
    #[inline(never)]
    fn carefully(&self) -> Value {
        let at = self.channels.len() - self.quick.len() - 1;
        self.channels[at].value(self.data)
    }
}

impl<T: Target> Iterator for Values<'_, T> {
    type Item = (T, Value);

    #[inline(always)]
    fn next(&mut self) -> Option<(T, Value)> {
        let quick = match self.quick.next() {
            Some(quick) => quick,
            None if self.parted.is_none() => return None,
            None => self.next_of_parts()?,
        };
        let word = self.words[usize::from(quick.big)];
        let quickly = quick.number(word).map(Value::Present).filter(|_| self.whole);
        let value = quickly.unwrap_or_else(|| self.carefully());
        match &self.parted {
            None => Some((quick.target, value)),
            Some(Parted { moved: (pack, index), .. }) => Some((quick.target.moved(*pack, *index), value)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::field::{Blank, Form, Order};
    use crate::model::Quantity;
    use proptest::prelude::*;

    fn map_of(id: Id, field: Field) -> CompiledMap {
        let mut builder = MapBuilder::default();
        let fields = [(Slot::of(0, Quantity::SenderFrames), field)];
        builder.message(MessageSpec::plain(Key::Exact(id), "", fields)).unwrap();
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

    fn cell(index: u8) -> Slot {
        Slot::at(0, Quantity::CellVoltage, index)
    }

    /// Byte 0 is the switch: 1 carries cell 1, 2 to 4 carry cell 2, both in bytes 1 and 2; byte 3 is always a count.
    fn switched() -> CompiledMap {
        let field = Field { scale: 0.001, ..Field::plain(8, 16) };
        let when = |low, high| vec![When { field: Field::plain(0, 8), any_of: vec![(low, high)] }];
        let channels = vec![
            Channel { when: when(1, 1), ..Channel::new(cell(0), field) },
            Channel { when: when(2, 4), ..Channel::new(cell(1), field) },
            Channel::new(Slot::of(0, Quantity::SenderFrames), Field::plain(24, 8)),
        ];
        let mut builder = MapBuilder::default();
        let key = Key::Exact(Id::Standard(0x100));
        builder.message(MessageSpec { key, name: "switched".into(), places: Places::default(), channels }).unwrap();
        builder.compile()
    }

    #[test]
    fn a_switch_chooses_which_fields_are_there() {
        let map = switched();
        let seen = |switch: u8| -> Vec<(Slot, Value)> { map.values_in(0, &[switch, 0x10, 0x0D, 9]).collect() };
        let count = (Slot::of(0, Quantity::SenderFrames), Value::Present(9.0));
        assert_eq!(seen(1), [count, (cell(0), Value::Present(3.344))]);
        assert_eq!(seen(3), [count, (cell(1), Value::Present(3.344))]);
        assert_eq!(seen(7), [count]);
        assert_eq!((map.name(0), map.channels(0).len()), ("switched", 3));
    }

    #[test]
    fn numbers_in_the_data_name_pack_and_cell_and_a_group_has_any_sender() {
        // Laid out as a cell's details are in RV-C: battery, module, cell, states, mV.
        let place = |start, count| Some(Place { field: Field::plain(start, 8), first: 1, count });
        let places = Places { pack: place(0, 16), index: place(16, 32) };
        let volts = Channel::new(cell(0), Field { scale: 0.001, ..Field::plain(32, 16) });
        let mut builder = MapBuilder::default();
        let key = Key::Group(0x1_FDDD);
        builder.message(MessageSpec { key, name: String::new(), places, channels: vec![volts] }).unwrap();
        let map = builder.compile();
        let message = map.find(Id::Extended(0x1DFD_DD46)).expect("by its group");
        assert_eq!(map.find(Id::Extended(0x19FD_DD80)), Some(message));
        let frame = |battery| [battery, 1, 3, 0xD5, 0x11, 0x0D, 65, 0xFF];
        let read = |battery| map.values_in(message, &frame(battery)).collect::<Vec<_>>();
        assert_eq!(read(2), [(Slot::at(1, Quantity::CellVoltage, 2), Value::Present(3.345))]);
        assert_eq!((read(0), read(40)), (vec![], vec![]));
    }

    #[test]
    fn states_are_names_and_no_counts() {
        let codes: Codes = Some([(1, 1.0), (5, 0.0)].as_slice().into());
        let path = Channel { codes, ..Channel::new(Slot::of(0, Quantity::ChargePath), Field::plain(0, 3)) };
        let mut builder = MapBuilder::default();
        let key = Key::Exact(Id::Standard(1));
        builder
            .message(MessageSpec { key, name: String::new(), places: Places::default(), channels: vec![path] })
            .unwrap();
        let map = builder.compile();
        let read = |byte| map.values_in(0, &[byte]).map(|(_, value)| value).next();
        assert_eq!(
            [1, 5, 2].map(read),
            [Some(Value::Present(1.0)), Some(Value::Present(0.0)), Some(Value::Invalid(2))]
        );
    }

    proptest! {
        #[test]
        fn the_fast_way_reads_what_the_slow_way_reads(
            start in 0u16..64, len in 2u8..=64, kind in 0u8..12, bytes: [u8; 8], full: bool,
        ) {
            let order = if kind & 1 > 0 { Order::Big } else { Order::Little };
            let form = if kind & 2 > 0 { Form::Signed } else { Form::Unsigned };
            let blank = [Blank::None, Blank::Two, Blank::Three][usize::from(kind / 4)];
            let field = Field { order, form, scale: 0.5, offset: 7.0, blank, ..Field::plain(start, len) };
            prop_assume!(field.is_possible());
            let bytes = if full { [0xFF; 8] } else { bytes };
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

//! One field of a message and where its value goes.

use super::{Field, Target};
use crate::layout::field::{Blank, Form, Order};
use crate::model::Value;
use std::sync::Arc;

/// States: which raw number stands for which value; any other raw number is invalid.
pub type Codes = Option<Arc<[(u64, f64)]>>;

/// What must stand in the frame for a field to be there: multiplexing. Several make extended multiplexing.
#[derive(Debug, Clone, PartialEq)]
pub struct When {
    /// The switch.
    pub field: Field,
    /// Raw numbers of the switch, ranges with both ends.
    pub any_of: Vec<(u64, u64)>,
}

impl When {
    /// Whether the data fulfils it; not when the switch lies beyond the data.
    #[must_use]
    pub fn holds(&self, data: &[u8]) -> bool {
        let raw = self.field.get(data);
        raw.is_some_and(|raw| self.any_of.iter().any(|(low, high)| (*low..=*high).contains(&raw)))
    }

    /// Whether no frame fulfils both: the same switch, and no number in both. Ranges stand in rising order.
    #[must_use]
    pub fn excludes(&self, other: &Self) -> bool {
        let (mut a, mut b) = (self.any_of.iter().peekable(), other.any_of.iter().peekable());
        while let (Some((low, high)), Some((other_low, other_high))) = (a.peek(), b.peek()) {
            if high < other_low {
                a.next();
            } else if other_high < low {
                b.next();
            } else {
                return false;
            }
        }
        self.field == other.field
    }
}

/// One field of a message, and where its value goes.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel<T> {
    /// Where the value belongs.
    pub target: T,
    /// The field.
    pub field: Field,
    /// States, where the raw number is a name and no count.
    pub codes: Codes,
    /// All of these must hold.
    pub when: Vec<When>,
}

impl<T: Target> Channel<T> {
    /// A channel that is there in every frame of its message.
    #[must_use]
    pub const fn new(target: T, field: Field) -> Self {
        Self { target, field, codes: None, when: Vec::new() }
    }

    /// The value in a frame's data, checked against the bounds of its target; invalid when the data is too short.
    pub(super) fn value(&self, data: &[u8]) -> Value {
        let Some(raw) = self.field.get(data) else { return Value::Invalid(0) };
        if let Some(codes) = &self.codes {
            let state = codes.iter().find(|(code, _)| *code == raw);
            return match (state, self.field.value(raw)) {
                (Some((_, number)), _) => Value::Present(*number),
                (None, Value::Missing) => Value::Missing,
                (None, _) => Value::Invalid(raw),
            };
        }
        match self.field.value(raw) {
            Value::Present(number) if !self.target.takes(number) => Value::Invalid(raw),
            value => value,
        }
    }
}

/// A channel that lies in the first eight bytes of a frame that is long enough: read with a shift.
/// Counts outside `low` to `high` go the careful way, through [`Channel`].
#[derive(Debug, Clone, Copy)]
pub(super) struct Quick<T> {
    pub(super) target: T,
    shift: u8,
    /// Bits above the field: the sign is spread over them.
    unused: u8,
    pub(super) big: bool,
    special: bool,
    mask: u64,
    /// The code for 'not available'.
    missing: u64,
    low: i64,
    high: i64,
    scale: f64,
    offset: f64,
}

impl<T: Target> Quick<T> {
    pub(super) fn new(channel: &Channel<T>) -> Self {
        let field = &channel.field;
        let end = field.start + u16::from(field.len);
        let shift = match field.order {
            Order::Little => (end <= 64).then_some(field.start as u8),
            Order::Big => big_shift(field),
        };
        let shift = shift.filter(|_| channel.codes.is_none());
        let (low, high) = plain_counts(channel).filter(|_| shift.is_some()).unwrap_or((1, 0));
        Self {
            target: channel.target,
            shift: shift.unwrap_or(0),
            unused: if field.form == Form::Signed { 64 - field.len.clamp(1, 64) } else { 0 },
            big: field.order == Order::Big,
            special: field.blank != Blank::None && field.form != Form::Float && shift.is_some(),
            mask: field.mask(),
            missing: field.top(),
            low,
            high,
            scale: field.scale,
            offset: field.offset,
        }
    }

    /// The value when it is an ordinary number; `word` holds the first eight bytes in the field's order.
    #[inline(always)]
    pub(super) fn number(&self, word: u64) -> Option<f64> {
        let raw = word >> self.shift & self.mask;
        let count = (raw << self.unused) as i64 >> self.unused;
        (count >= self.low && count <= self.high).then_some(count as f64 * self.scale + self.offset)
    }

    /// Whether the field says 'not available'.
    pub(super) fn is_missing(&self, word: u64) -> bool {
        self.special && word >> self.shift & self.mask == self.missing
    }
}

/// The counts that are ordinary numbers within the bounds of their target; none where that cannot be said.
fn plain_counts<T: Target>(channel: &Channel<T>) -> Option<(i64, i64)> {
    let field = &channel.field;
    let sane = field.scale.is_finite() && field.scale != 0.0 && field.offset.is_finite();
    if field.form == Form::Float || field.len > 53 || !sane {
        return None;
    }
    let count = |number: f64| (number - field.offset) / field.scale;
    let (a, b) = channel.target.bounds();
    let (a, b) = (count(a), count(b));
    let (least, most) = field.counts();
    let (low, high) = (a.min(b).ceil().max(least), a.max(b).floor().min(most));
    (low <= high).then_some((low as i64, high as i64))
}

/// Shift of a big-endian field in the byte-swapped first eight bytes.
fn big_shift(field: &Field) -> Option<u8> {
    let from_top = field.start / 8 * 8 + (7 - field.start % 8);
    let end = from_top + u16::from(field.len);
    (end <= 64).then(|| (64 - end) as u8)
}

//! A bit field: where it stands, how its number is read, what its special codes mean.

use crate::model::Value;

/// Which end of a field comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// The start bit is the least significant (DBC `@1`).
    Little,
    /// The start bit is the most significant, counted in sawtooth order (DBC `@0`).
    Big,
}

/// How the bits of a field make a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Form {
    /// A whole number from 0 up.
    #[default]
    Unsigned,
    /// Two's complement.
    Signed,
    /// IEEE 754, 32 or 64 bits.
    Float,
}

/// Which codes at the top of a field's range are no numbers. For a signed field the top is the largest positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Blank {
    /// Every code is a number.
    #[default]
    None,
    /// The largest means 'not available', one less 'error': our own format, IEC 61162-3, two-bit states of RV-C.
    Two,
    /// The largest means 'not available', the two below it 'out of range' and 'reserved': bytes and words of RV-C.
    Three,
}

impl Blank {
    /// How many codes are no numbers.
    const fn codes(self) -> u64 {
        match self {
            Self::None => 0,
            Self::Two => 2,
            Self::Three => 3,
        }
    }
}

/// Bits of the longest frame, a word for every eight bytes.
pub type Bits = [u64; 8];

/// A bit field of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Field {
    /// Start bit: byte × 8 + bit.
    pub start: u16,
    /// Number of bits, 1 to 64.
    pub len: u8,
    /// Byte order.
    pub order: Order,
    /// How the bits make a number.
    pub form: Form,
    /// Number per count.
    pub scale: f64,
    /// Number at count 0.
    pub offset: f64,
    /// Codes that are no numbers.
    pub blank: Blank,
}

impl Field {
    /// An unsigned little-endian field that counts from 0; every code is a number.
    #[must_use]
    pub const fn plain(start: u16, len: u8) -> Self {
        Self { blank: Blank::None, ..Self::own(start, len, 1.0, 0.0) }
    }

    /// An unsigned little-endian field with the special codes of our own format.
    #[must_use]
    pub const fn own(start: u16, len: u8, scale: f64, offset: f64) -> Self {
        Self { start, len, order: Order::Little, form: Form::Unsigned, scale, offset, blank: Blank::Two }
    }

    /// The field's bits, all set.
    #[must_use]
    pub const fn mask(&self) -> u64 {
        if self.len >= 64 { u64::MAX } else { (1 << self.len) - 1 }
    }

    /// The largest code: 'not available' where the field has such a code.
    #[must_use]
    pub const fn top(&self) -> u64 {
        match self.form {
            Form::Signed => self.mask() >> 1,
            _ => self.mask(),
        }
    }

    /// Whether the form fits the length, and a frame of 64 bytes holds the field.
    #[must_use]
    pub fn is_possible(&self) -> bool {
        let float = self.form != Form::Float || self.len == 32 || self.len == 64;
        let some_number = self.blank.codes() <= self.top();
        float && some_number && (1..=64).contains(&self.len) && self.bytes().is_some_and(|bytes| bytes <= 64)
    }

    /// Bytes that a frame must have for the field to be whole; `None` beyond any frame.
    #[must_use]
    pub fn bytes(&self) -> Option<usize> {
        let (first, count, _) = self.span()?;
        Some(first + count)
    }

    /// Whether it takes a bit that another field of the same frame takes too.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        self.bits().iter().zip(other.bits()).any(|(own, other)| own & other != 0)
    }

    /// The bits that it takes, counted from the most significant of byte 0; those beyond any frame are left out.
    #[must_use]
    pub fn bits(&self) -> Bits {
        let mut bits = [0; 8];
        let turned = |place: u16| place / 8 * 8 + (7 - place % 8);
        let from = if self.order == Order::Little { self.start } else { turned(self.start) };
        for place in from..from.saturating_add(u16::from(self.len)) {
            let bit = if self.order == Order::Big { place } else { turned(place) };
            if let Some(word) = bits.get_mut(usize::from(bit / 64)) {
                *word |= 1 << (bit % 64);
            }
        }
        bits
    }

    /// First byte, number of bytes, and how far the raw bits stand from the low end of those bytes.
    #[inline]
    fn span(&self) -> Option<(usize, usize, u16)> {
        let (first, bit, len) = (usize::from(self.start / 8), self.start % 8, u16::from(self.len));
        let before = if self.order == Order::Little { bit } else { 7 - bit };
        let count = (before + len).div_ceil(8);
        if len == 0 || len > 64 || self.start >= 512 {
            return None;
        }
        let shift = if self.order == Order::Little { before } else { count * 8 - before - len };
        Some((first, usize::from(count), shift))
    }

    /// Raw bits; `None` when the field reaches beyond the data.
    #[must_use]
    pub fn get(&self, data: &[u8]) -> Option<u64> {
        let (first, count, shift) = self.span()?;
        let bytes = data.get(first..first + count)?;
        let join = |word: u128, byte: &u8| word << 8 | u128::from(*byte);
        let word = match self.order {
            Order::Little => bytes.iter().rev().fold(0, join),
            Order::Big => bytes.iter().fold(0, join),
        };
        Some((word >> shift) as u64 & self.mask())
    }

    /// Writes raw bits; returns whether the field lies within the data.
    pub fn put(&self, data: &mut [u8], raw: u64) -> bool {
        let Some((first, count, shift)) = self.span() else { return false };
        let Some(bytes) = data.get_mut(first..first + count) else { return false };
        let (mask, raw) = (u128::from(self.mask()) << shift, u128::from(raw & self.mask()) << shift);
        for (place, byte) in bytes.iter_mut().enumerate() {
            let up = 8 * if self.order == Order::Little { place } else { count - 1 - place };
            *byte = *byte & !((mask >> up) as u8) | (raw >> up) as u8;
        }
        true
    }

    /// The count that raw bits stand for, before scaling; a float has none. Counts beyond 63 bits wrap.
    #[must_use]
    pub fn count(&self, raw: u64) -> Option<i64> {
        let unused = 64 - u32::from(self.len.clamp(1, 64));
        match self.form {
            Form::Unsigned => Some(raw as i64),
            Form::Signed => Some((raw << unused) as i64 >> unused),
            Form::Float => None,
        }
    }

    /// The number that raw bits stand for.
    #[must_use]
    #[inline]
    pub fn value(&self, raw: u64) -> Value {
        let below = self.top().wrapping_sub(raw);
        if below < self.blank.codes() && self.form != Form::Float {
            return if below == 0 { Value::Missing } else { Value::Invalid(raw) };
        }
        Value::Present(self.number(raw))
    }

    /// The number without regard to special codes.
    #[must_use]
    #[inline]
    pub fn number(&self, raw: u64) -> f64 {
        let unused = 64 - u32::from(self.len.clamp(1, 64));
        let count = match self.form {
            Form::Unsigned => raw as f64,
            Form::Signed => ((raw << unused) as i64 >> unused) as f64,
            Form::Float if self.len == 32 => f64::from(f32::from_bits(raw as u32)),
            Form::Float => f64::from_bits(raw),
        };
        count * self.scale + self.offset
    }

    /// Raw bits for a value, rounded to the nearest count. A number that the field cannot hold becomes the
    /// 'error' code, or the nearest end of the range where there is no such code.
    #[must_use]
    pub fn raw(&self, value: Value) -> u64 {
        let blank = self.blank != Blank::None;
        let Value::Present(number) = value else {
            return match value {
                Value::Missing if blank => self.top(),
                Value::Invalid(_) if blank => self.top() - 1,
                _ => 0,
            };
        };
        let count = (number - self.offset) / self.scale;
        match (self.form, self.len) {
            (Form::Float, 32) => return u64::from((count as f32).to_bits()),
            (Form::Float, _) => return count.to_bits(),
            _ => {}
        }
        let (count, (low, high)) = (count.round(), self.counts());
        if count.is_nan() || (blank && !(low..=high).contains(&count)) {
            return if blank { self.top() - 1 } else { 0 };
        }
        let count = count.clamp(low, high);
        if count < 0.0 { count as i64 as u64 & self.mask() } else { count as u64 }
    }

    /// How many codes of an unsigned field are numbers.
    #[must_use]
    pub fn plain_counts(&self) -> u64 {
        self.top().saturating_sub(self.blank.codes()).saturating_add(1)
    }

    /// Smallest and largest count that is a number.
    pub(super) fn counts(&self) -> (f64, f64) {
        let high = self.top().saturating_sub(self.blank.codes()) as f64;
        if self.form == Form::Signed { (-((self.mask() >> 1) as f64) - 1.0, high) } else { (0.0, high) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn big_endian_starts_at_its_most_significant_bit() {
        // The sawtooth numbering of DBC `@0`: a 12-bit field from bit 3 of byte 0 down into byte 1.
        let field = Field { order: Order::Big, ..Field::plain(3, 12) };
        assert_eq!(field.get(&[0x0A, 0xBC]), Some(0xABC));
        assert_eq!(field.get(&[0x0A]), None);
    }

    #[test]
    fn special_codes_are_no_numbers() {
        let field = Field::own(0, 16, 0.0001, 0.0);
        assert_eq!(field.value(0xFFFF), Value::Missing);
        assert_eq!(field.value(0xFFFE), Value::Invalid(0xFFFE));
        assert_eq!(field.raw(Value::Present(9.0)), 0xFFFE);
    }

    #[test]
    fn a_signed_field_has_its_special_codes_at_the_largest_positive() {
        // IEC 61162-3, a current in 0.1 A: 7FFF not available, 7FFE error, FFFF is -0.1 A.
        let field = Field { form: Form::Signed, scale: 0.1, blank: Blank::Two, ..Field::plain(0, 16) };
        assert_eq!(field.value(0x7FFF), Value::Missing);
        assert_eq!(field.value(0x7FFE), Value::Invalid(0x7FFE));
        assert_eq!(field.value(0xFFFF), Value::Present(-0.1));
        assert_eq!(field.raw(Value::Missing), 0x7FFF);
    }

    #[test]
    fn three_codes_of_a_byte_are_no_numbers_and_a_float_is_read_as_it_stands() {
        let byte = Field { blank: Blank::Three, ..Field::plain(0, 8) };
        assert_eq!(
            [252, 253, 254, 255].map(|raw| matches!(byte.value(raw), Value::Present(_))),
            [true, false, false, false]
        );
        let float = Field { form: Form::Float, ..Field::plain(0, 32) };
        assert_eq!(float.value(u64::from(3.25f32.to_bits())), Value::Present(3.25));
        assert!(!Field { len: 31, ..float }.is_possible());
        assert!(!Field::plain(510, 3).is_possible());
    }

    proptest! {
        #[test]
        fn what_is_put_is_got(start in 0u16..64, len in 1u8..=64, big: bool, raw: u64, fill: u8) {
            let order = if big { Order::Big } else { Order::Little };
            let field = Field { order, ..Field::plain(start, len) };
            let mut data = [fill; 64];
            prop_assert!(field.put(&mut data, raw & field.mask()));
            prop_assert_eq!(field.get(&data), Some(raw & field.mask()));
            let changed: u32 = data.iter().map(|byte| (byte ^ fill).count_ones()).sum();
            prop_assert!(changed <= u32::from(len));
        }

        #[test]
        fn a_number_survives_to_half_a_count(count in 0u32..65_000, scale in 0.0001f64..10.0, offset in -500.0f64..500.0) {
            let field = Field::own(0, 16, scale, offset);
            let number = f64::from(count) * scale + offset;
            let Value::Present(back) = field.value(field.raw(Value::Present(number))) else { panic!("no number") };
            prop_assert!((back - number).abs() <= scale * 0.500_001);
        }
    }
}

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

/// A bit field of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Field {
    /// Start bit: byte × 8 + bit.
    pub start: u16,
    /// Number of bits, 1 to 64.
    pub len: u8,
    /// Byte order.
    pub order: Order,
    /// Two's complement.
    pub signed: bool,
    /// Number per count.
    pub scale: f64,
    /// Number at count 0.
    pub offset: f64,
    /// Whether all ones mean 'not available' and one less 'error'.
    pub special: bool,
}

impl Field {
    /// An unsigned little-endian field with the special codes of our own format.
    #[must_use]
    pub const fn own(start: u16, len: u8, scale: f64, offset: f64) -> Self {
        Self { start, len, order: Order::Little, signed: false, scale, offset, special: true }
    }

    /// Largest raw number.
    #[must_use]
    pub const fn mask(&self) -> u64 {
        if self.len >= 64 { u64::MAX } else { (1 << self.len) - 1 }
    }

    /// Raw bits; `None` when the field reaches beyond the data.
    #[must_use]
    pub fn get(&self, data: &[u8]) -> Option<u64> {
        let mut raw = 0;
        for step in 0..u16::from(self.len) {
            let (byte, bit) = self.place(step)?;
            let set = u64::from(data.get(byte)? >> bit & 1);
            raw |= match self.order {
                Order::Little => set << step,
                Order::Big => set << (u16::from(self.len) - 1 - step),
            };
        }
        Some(raw)
    }

    /// Writes raw bits; returns whether the field lies within the data.
    pub fn put(&self, data: &mut [u8], raw: u64) -> bool {
        for step in 0..u16::from(self.len) {
            let shift = match self.order {
                Order::Little => step,
                Order::Big => u16::from(self.len) - 1 - step,
            };
            let Some((byte, bit)) = self.place(step) else { return false };
            let Some(cell) = data.get_mut(byte) else { return false };
            *cell = *cell & !(1 << bit) | ((raw >> shift & 1) as u8) << bit;
        }
        true
    }

    /// Byte and bit of the field's `step`th bit, from its start bit on.
    fn place(&self, step: u16) -> Option<(usize, u16)> {
        match self.order {
            Order::Little => {
                let at = self.start.checked_add(step)?;
                Some((usize::from(at / 8), at % 8))
            }
            Order::Big => {
                let first_byte = self.start / 8;
                let from_top = 7 - self.start % 8 + step;
                Some((usize::from(first_byte + from_top / 8), 7 - from_top % 8))
            }
        }
    }

    /// The number that raw bits stand for.
    #[must_use]
    #[inline]
    pub fn value(&self, raw: u64) -> Value {
        if self.special && raw >= self.mask() - 1 {
            return if raw == self.mask() { Value::Missing } else { Value::Invalid(raw) };
        }
        Value::Present(self.number(raw))
    }

    /// The number without regard to special codes.
    #[must_use]
    #[inline]
    pub fn number(&self, raw: u64) -> f64 {
        let count = if self.signed {
            let unused = 64 - u32::from(self.len);
            ((raw << unused) as i64 >> unused) as f64
        } else {
            raw as f64
        };
        count * self.scale + self.offset
    }

    /// Raw bits for a value, rounded to the nearest count. A number that the field cannot hold becomes the
    /// error code (or, without special codes, the nearest end); 'not available' without special codes is 0.
    #[must_use]
    pub fn raw(&self, value: Value) -> u64 {
        let top = self.mask();
        match value {
            Value::Missing if self.special => top,
            Value::Invalid(_) if self.special => top - 1,
            Value::Missing | Value::Invalid(_) => 0,
            Value::Present(number) => {
                let count = ((number - self.offset) / self.scale).round();
                let (low, high) = self.count_bounds();
                if count.is_nan() || (self.special && !(low..=high).contains(&count)) {
                    return if self.special { top - 1 } else { 0 };
                }
                let count = count.clamp(low, high);
                if count < 0.0 { count as i64 as u64 & top } else { count as u64 }
            }
        }
    }

    fn count_bounds(&self) -> (f64, f64) {
        let top = self.mask();
        if self.signed {
            let half = (top / 2) as f64;
            (-half - 1.0, half)
        } else if self.special {
            (0.0, top.saturating_sub(2) as f64)
        } else {
            (0.0, top as f64)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn big_endian_starts_at_its_most_significant_bit() {
        // The sawtooth numbering of DBC `@0`: a 12-bit field from bit 3 of byte 0 down into byte 1.
        let field =
            Field { start: 3, len: 12, order: Order::Big, signed: false, scale: 1.0, offset: 0.0, special: false };
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

    proptest! {
        #[test]
        fn what_is_put_is_got(start in 0u16..64, len in 1u8..=64, big: bool, raw: u64, fill: u8) {
            let order = if big { Order::Big } else { Order::Little };
            let field = Field { start, len, order, signed: false, scale: 1.0, offset: 0.0, special: false };
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

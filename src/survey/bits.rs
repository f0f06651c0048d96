//! Bits of a frame in a row, in either byte order, and numbers out of them.
//!
//! In an Intel frame bit `8 × byte + bit` counts upwards. A Motorola frame is the same row with its bytes in reverse:
//! a field is a run of bits with the least significant first in both.

use crate::layout::{Blank, Field, Form, Order};

/// A run of bits: a field whose number has no unit yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Run {
    pub(super) big: bool,
    /// Least significant bit in the row.
    pub(super) low: u16,
    pub(super) len: u8,
    pub(super) signed: bool,
}

impl Run {
    /// The bits as they stand; 0 beyond the data. Up to 32 bits.
    #[inline]
    pub(super) fn raw(&self, data: &[u8]) -> u64 {
        let (first, shift) = (usize::from(self.low / 8), self.low % 8);
        let count = usize::from((shift + u16::from(self.len)).div_ceil(8));
        let mut raw = 0;
        for step in 0..count {
            let at = first + step;
            let byte = if self.big { data.len().checked_sub(1 + at).and_then(|at| data.get(at)) } else { data.get(at) };
            raw |= u64::from(byte.copied().unwrap_or(0)) << (8 * step);
        }
        raw >> shift & ((1 << self.len) - 1)
    }

    /// The whole number that the bits make.
    #[inline]
    pub(super) fn number(&self, data: &[u8]) -> f64 {
        let raw = self.raw(data);
        let unused = 64 - u32::from(self.len);
        if self.signed { ((raw << unused) as i64 >> unused) as f64 } else { raw as f64 }
    }

    /// As a field of a frame of so many bytes.
    pub(super) fn field(&self, bytes: usize, scale: f64, offset: f64) -> Field {
        let form = if self.signed { Form::Signed } else { Form::Unsigned };
        let (start, order) = if self.big {
            let top = usize::from(self.low) + usize::from(self.len) - 1;
            let byte = bytes.saturating_sub(1 + top / 8);
            ((byte * 8 + top % 8) as u16, Order::Big)
        } else {
            (self.low, Order::Little)
        };
        Field { start, len: self.len, order, form, scale, offset, blank: Blank::None }
    }

    /// First bit after it.
    pub(super) fn end(&self) -> u16 {
        self.low + u16::from(self.len)
    }

    /// Whether it lies within one byte, where both orders are the same.
    pub(super) fn is_in_byte(&self) -> bool {
        self.low / 8 == (self.end() - 1) / 8
    }

    /// Whether it can be read in this order.
    pub(super) fn is_in_order(&self, big: bool) -> bool {
        self.big == big || self.is_in_byte()
    }

    /// Where its first bit stands from the front of a frame of so many bytes.
    pub(super) fn front(&self, bytes: usize) -> u16 {
        if self.big { (bytes as u16 * 8).saturating_sub(self.end()) } else { self.low }
    }

    /// Bits of the frame that it takes, as a mask.
    pub(super) fn mask(&self, bytes: usize) -> [u8; 64] {
        let mut mask = [0; 64];
        for bit in self.low..self.end() {
            let place = place(self.big, bit, bytes);
            if let Some(byte) = mask.get_mut(usize::from(place / 8)) {
                *byte |= 1 << (place % 8);
            }
        }
        mask
    }
}

/// Where a bit of the row stands in the frame: byte × 8 + bit.
pub(super) fn place(big: bool, bit: u16, bytes: usize) -> u16 {
    if big { (bytes as u16).saturating_sub(1 + bit / 8) * 8 + bit % 8 } else { bit }
}

/// Whether two masks share a bit.
pub(super) fn overlap(a: &[u8; 64], b: &[u8; 64]) -> bool {
    a.iter().zip(b).any(|(a, b)| a & b != 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_run_reads_what_its_field_reads(data in prop::collection::vec(any::<u8>(), 1..=64), low in 0u16..512, len in 1u8..=32, big: bool, signed: bool) {
            let bits = data.len() as u16 * 8;
            let low = low % bits;
            let run = Run { big, low, len: len.min((bits - low).min(32) as u8), signed };
            let field = run.field(data.len(), 1.0, 0.0);
            prop_assert_eq!(field.get(&data), Some(run.raw(&data)));
            prop_assert_eq!(field.number(run.raw(&data)), run.number(&data));
            let mask = run.mask(data.len());
            prop_assert_eq!(mask.iter().map(|byte| byte.count_ones()).sum::<u32>(), u32::from(run.len));
        }
    }
}

//! Numbers that a coarse meter writes into a fine scale: they differ by multiples of the same step. When the step is no
//! power of two, no part of such a number and nothing with a neighbour in it has one, so it shows where it begins. In
//! which order its bytes stand it may leave open: 256 × 256 is 1 more than a multiple of 3, 5 and 17.

use super::bits::{Run, place};
use super::starts::{Start, begins};
use super::view::View;

/// Frames that are looked at, at most.
const FRAMES: usize = 600;
/// Lowest bits that may stand still.
const STILL: u16 = 4;
/// Lengths that are tried.
const SHORTEST: u8 = 6;
const LONGEST: u8 = 32;
/// How unlikely it is by chance that so many numbers have a common step, as a natural logarithm (judgement).
const BY_CHANCE: f64 = 14.0;

/// A number that moves by a step: where it begins, and the bits that move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Coarse {
    pub(super) start: Start,
    /// First bit above those that move.
    end: u16,
}

impl Coarse {
    /// Whether a bit of the frame (byte × 8 + bit) is one of its own that move, or stands still below them.
    fn holds(&self, spot: u16, bytes: usize) -> bool {
        (self.start.low..self.end).any(|bit| place(self.start.big, bit, bytes) == spot)
    }
}

/// Every such number in a view.
pub(super) fn coarse(view: &View) -> Vec<Coarse> {
    let mut found = Vec::new();
    for big in [false, true] {
        for low in (0..view.bits()).step_by(4) {
            found.extend(at(view, big, low));
        }
    }
    found
}

/// What is left of the starts that the bits show when these numbers are known: none within one of them, and none
/// that goes on into one.
pub(super) fn beside(view: &View, starts: Vec<Start>) -> Vec<Start> {
    let bytes = view.bytes();
    let is_outside = |start: &Start| {
        let spot = place(start.big, start.low, bytes);
        !view.coarse.iter().any(|coarse| coarse.holds(spot, bytes))
    };
    let ends = |mut start: Start| {
        for coarse in view.coarse.iter().map(|coarse| coarse.start) {
            if coarse.big == start.big && coarse.low > start.low {
                (start.limit, start.reach) = (start.limit.min(coarse.low), start.reach.min(coarse.low));
            }
        }
        start
    };
    starts.into_iter().filter(is_outside).map(ends).collect()
}

/// The number that begins at this bit, if one that moves by a step does.
fn at(view: &View, big: bool, low: u16) -> Option<Coarse> {
    let lowest = (low..(low + STILL).min(view.bits())).find(|bit| view.changes(big, *bit) > 0)?;
    if (low..lowest).any(|still| view.first(big, still)) {
        return None;
    }
    let longest = u16::from(LONGEST).min(view.bits() - low) as u8;
    let raws = view.sample(&Run { big, low, len: longest, signed: false }, FRAMES);
    let is_one = |len: u8| [false, true].into_iter().any(|signed| has_step(&raws, len, signed));
    let mut len = (SHORTEST..=longest).find(|len| is_one(*len))?;
    let moves = |len: u8| view.changes(big, low + u16::from(len)) > 0;
    while len < longest && moves(len) && !begins(view, big, low + u16::from(len)) && is_one(len + 1) {
        len += 1;
    }
    let end = low + u16::from(len);
    let next = (end..view.bits()).find(|bit| view.changes(big, *bit) > 0).unwrap_or(view.bits());
    let edge = next / 8 * 8;
    let limit = if edge >= end { edge } else { next };
    Some(Coarse { start: Start { big, low, limit, reach: limit, shows: true }, end })
}

/// Whether the differences of the numbers that these bits make have a common divisor that is no power of two, and are
/// too many for chance.
fn has_step(raws: &[u64], len: u8, signed: bool) -> bool {
    let mask = (1_u64 << len) - 1;
    let unused = 64 - u32::from(len);
    let number = |raw: &u64| {
        let raw = raw & mask;
        if signed { (raw << unused) as i64 >> unused } else { raw as i64 }
    };
    // what is all ones, or all ones less one, says in many formats that there is no number
    let is_told = |number: &i64| signed || (*number as u64) < mask - 1;
    let mut numbers = raws.iter().map(number).filter(is_told);
    let Some(first) = numbers.next() else { return false };
    let mut step = 0;
    for number in numbers {
        step = divisor(step, number.abs_diff(first));
        if step.is_power_of_two() {
            return false;
        }
    }
    if step == 0 {
        return false;
    }
    let mut seen: Vec<i64> = raws.iter().map(number).filter(is_told).collect();
    seen.sort_unstable();
    seen.dedup();
    let odd = step >> step.trailing_zeros();
    (seen.len() - 1) as f64 * (odd as f64).ln() > BY_CHANCE
}

/// The greatest common divisor.
fn divisor(mut a: u64, mut b: u64) -> u64 {
    while b > 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use crate::model::{Frame, FrameKind, Id, Stamp};
    use crate::survey::keep::Keep;
    use crate::survey::view::{Row, views};

    /// Where numbers that move by a step begin, and what they reach up to, in messages with these numbers in Intel order.
    fn begin(numbers: impl Fn(u64) -> u64) -> Vec<(u16, u16)> {
        let mut keep = Keep::default();
        for second in 0..400 {
            let stamp = Stamp::from_secs(1_772_323_200).plus_secs(second as f64);
            // a mixed number, so that no two go alike
            let mixed = |salt: u64| (second ^ salt).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 33;
            let data = numbers((mixed(7) % 90) | ((mixed(1 << 20) % 90) << 32)).to_le_bytes();
            keep.push(stamp, &Frame::new(Id::Standard(0x100), FrameKind::Data, &data).expect("a frame"));
        }
        let views = views(&keep, Row::of(keep.seconds()));
        let starts = views[0].coarse.iter().map(|coarse| coarse.start).filter(|start| !start.big);
        starts.map(|start| (start.low, start.limit)).collect()
    }

    #[test]
    fn two_numbers_in_steps_of_ten_and_five_begin_where_they_do() {
        let both = |drawn: u64| (33_000 + 10 * (drawn & 0xFF)) | (6_600 + 5 * (drawn >> 32)) << 32;
        assert_eq!(begin(both), [(0, 32), (32, 64)]);
    }

    #[test]
    fn an_offset_and_numbers_below_nought_are_no_hindrance() {
        let far = |drawn: u64| 2_000_000 + 50 * (drawn & 0xFF);
        assert_eq!(begin(far), [(0, 64)]);
        let signed = |drawn: u64| (50 * (drawn & 0xFF)).wrapping_sub(2_000) & 0xFFFF;
        assert_eq!(begin(signed), [(0, 64)]);
    }

    #[test]
    fn numbers_that_move_by_one_or_by_a_power_of_two_show_nothing() {
        assert_eq!(begin(|drawn| 3_300 + (drawn & 0xFF)), []);
        assert_eq!(begin(|drawn| 3_300 + 16 * (drawn & 0xFF)), []);
    }
}

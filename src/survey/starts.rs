//! Where fields begin: in a number that moves, a bit never changes more often than the bit below it, so a bit that
//! does begins something new.

use super::bits::Run;
use super::coarse;
use super::view::View;

/// Lowest bits that may stand still at the foot of a number that moves by several counts at a time, and one more.
const STILL: u16 = 4;

/// A place where a field may begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Start {
    pub(super) big: bool,
    /// Least significant bit.
    pub(super) low: u16,
    /// First bit that belongs to something else.
    pub(super) limit: u16,
    /// First bit after the start's own byte, at a byte's edge, that belongs to something else: a number that moves by
    /// two counts at a time looks as if its second bit began something.
    pub(super) reach: u16,
    /// It shows in the bits; otherwise only a byte or a half of one begins here.
    pub(super) shows: bool,
}

/// Every start in a view, those of numbers that move by a step last. A field within one byte is the same in both orders:
/// it is tried as Intel only.
pub(super) fn starts(view: &View) -> Vec<Start> {
    let mut starts = Vec::new();
    for big in [false, true] {
        let bits = view.bits();
        let (mut limit, mut reach) = (bits, bits);
        for low in (0..bits).rev() {
            let changes = view.changes(big, low);
            if changes == 0 {
                continue;
            }
            let shows = begins(view, big, low);
            if shows || low % 4 == 0 {
                starts.push(Start { big, low, limit, reach, shows });
            }
            if shows {
                limit = low;
            }
            if shows && low.is_multiple_of(8) {
                reach = low;
            }
        }
    }
    let mut starts = coarse::beside(view, starts);
    starts.extend(view.coarse.iter().map(|coarse| coarse.start));
    starts
}

/// Starts at a byte's edge of numbers that move by several counts at a time, as when a coarse meter writes into a fine
/// scale: their lowest bits stand still, and some above them change more often than those below. They reach up to the
/// next edge at which something begins.
pub(super) fn stepped(view: &View) -> Vec<Start> {
    let mut starts = Vec::new();
    for big in [false, true] {
        let mut limit = view.bits();
        for low in (0..view.bits()).step_by(8).rev() {
            let lowest = (low..(low + STILL).min(limit)).find(|bit| view.changes(big, *bit) > 0);
            let Some(lowest) = lowest.filter(|bit| *bit == low || !(low..*bit).any(|still| view.first(big, still)))
            else {
                continue;
            };
            let own = (lowest + 1..limit.min(lowest + STILL)).any(|bit| begins(view, big, bit));
            if lowest > low && own {
                starts.push(Start { big, low, limit, reach: limit, shows: true });
            }
            if begins(view, big, lowest) {
                limit = low;
            }
        }
    }
    coarse::beside(view, starts)
}

/// Whether a bit changes more often than the bit below it.
pub(super) fn begins(view: &View, big: bool, low: u16) -> bool {
    let Some(below) = low.checked_sub(1) else { return true };
    let (own, below) = (f64::from(view.changes(big, low)), f64::from(view.changes(big, below)));
    below == 0.0 || own - below > 3.0 * (own + below).sqrt() + 1.0
}

impl Start {
    /// Whether the bit below changes much like the lowest one and is in the same byte: then it belongs to the field.
    pub(super) fn is_cut(&self, view: &View) -> bool {
        let below = self.low.checked_sub(1).map_or(0, |below| view.changes(self.big, below));
        !self.low.is_multiple_of(8) && below * 3 > self.changes(view)
    }

    /// Changes of its lowest bit that moves.
    pub(super) fn changes(&self, view: &View) -> u32 {
        (self.low..self.limit).map(|bit| view.changes(self.big, bit)).find(|changes| *changes > 0).unwrap_or(0)
    }

    /// A start at a byte's edge with everything up to what begins at a later byte's edge.
    pub(super) fn whole(self) -> Self {
        if self.low.is_multiple_of(8) { Self { limit: self.reach, ..self } } else { self }
    }

    /// The run of so many bits with a sign from here. What seems to begin above may be its sign, which changes more
    /// often than the bits of a large number: then all bits above are the same.
    pub(super) fn signed(&self, view: &View, len: u8) -> Option<Run> {
        let run = Run { big: self.big, low: self.low, len, signed: true };
        if run.end() > view.bits() || self.big && run.is_in_byte() {
            return None;
        }
        let over = run.end().saturating_sub(self.limit) as u8;
        let sign = Run { low: self.limit, len: over.max(1), signed: false, ..run };
        let all = (1 << sign.len) - 1;
        let same = |&at: &u32| matches!(sign.raw(view.data(at)), raw if raw == 0 || raw == all);
        (over == 0 || view.frames.iter().step_by(4).all(same)).then_some(run)
    }

    /// The run of so many bits from here; none when something else begins before its end, or when it lies within a
    /// byte and was tried in the other order.
    pub(super) fn run(&self, len: u8, signed: bool) -> Option<Run> {
        let run = Run { big: self.big, low: self.low, len, signed };
        (run.end() <= self.limit && !(self.big && run.is_in_byte())).then_some(run)
    }
}

/// A run that begins at a byte with as many more bits at its top as are always copies of its sign (0 when it has
/// none), up to the next byte, if all of them are and none of them tells a choice.
pub(super) fn grown(view: &View, run: Run, limit: u16) -> Run {
    let end = run.end().next_multiple_of(8).min(limit);
    let len = (end - run.low).min(32) as u8;
    let longer = Run { len, ..run };
    let same = |&at: &u32| run.number(view.data(at)) == longer.number(view.data(at));
    let is_longer = run.low.is_multiple_of(8) && len > run.len && view.is_own(&longer);
    if is_longer && view.frames.iter().all(same) { longer } else { run }
}

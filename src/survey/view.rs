//! A message as the search sees it: its frames (of one choice of a multiplexor), how often each bit changes, and
//! which frame stands at each point of one common row of moments.

use super::bits::{Run, overlap, place};
use super::coarse::{self, Coarse};
use super::keep::{Keep, Kept, Key};
use super::mux::{self, Mux};

/// Points of the common row of moments at most.
const MOST_POINTS: usize = 4000;
/// Frames whose bits are compared at most.
const MOST_PAIRS: usize = 20_000;
/// Messages with fewer frames are left alone.
const LEAST_FRAMES: usize = 24;
/// Views at most.
const MOST_VIEWS: usize = 1500;

/// Which frames of a message count: those in which a run of bits has this number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Choice {
    pub(super) run: Run,
    pub(super) number: u64,
}

/// A message as the search sees it.
#[derive(Debug, Clone)]
pub(super) struct View<'a> {
    pub(super) key: Key,
    pub(super) choice: Option<Choice>,
    kept: &'a Kept,
    /// Which of the message's frames count.
    pub(super) frames: Vec<u32>,
    /// For each point of the row, the frame that stands there.
    points: Vec<Option<u32>>,
    /// How often each bit of the frame changed from one frame to the next.
    changes: Vec<u32>,
    /// Pairs of frames that were compared.
    pub(super) pairs: u32,
    /// Bits that differ between the choices of the multiplexor; only those make a view of a choice worth looking at,
    /// and none of those a view of the whole.
    split: Vec<bool>,
    /// Numbers that move by a step.
    pub(super) coarse: Vec<Coarse>,
}

/// The common row of moments.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// Points.
    pub(super) len: usize,
    /// Seconds from one to the next.
    pub(super) step: f64,
}

impl Row {
    pub(super) fn of(seconds: f64) -> Self {
        let step = (seconds / MOST_POINTS as f64).max(1.0);
        Self { len: (seconds / step) as usize + 1, step }
    }
}

/// Every view of a bus.
pub(super) fn views(keep: &Keep, row: Row) -> Vec<View<'_>> {
    let enough = keep.messages.iter().filter(|(_, kept)| kept.times.len() >= LEAST_FRAMES);
    let wholes: Vec<View> = enough.map(|(key, kept)| View::new(*key, kept, None, all(kept), row)).collect();
    let mut found: Vec<Option<Mux>> = wholes.iter().map(mux::find).collect();
    // what chooses in one message may choose in its neighbours, where the choices happen to be more alike
    for at in 0..wholes.len() {
        if found.get(at).is_some_and(Option::is_none)
            && let Some(view) = wholes.get(at)
        {
            let near = wholes.iter().zip(&found).filter(|(other, _)| other.key.is_near(&view.key));
            let adopted = near.filter_map(|(_, mux)| mux.as_ref()).find_map(|mux| mux::adopt(view, mux));
            if let Some(place) = found.get_mut(at) {
                *place = adopted;
            }
        }
    }
    let mut views = Vec::new();
    for (whole, mux) in wholes.into_iter().zip(found) {
        if views.len() >= MOST_VIEWS {
            break;
        }
        let Some(mux) = mux else {
            views.push(whole);
            continue;
        };
        for number in &mux.numbers {
            let choice = Choice { run: mux.run, number: *number };
            let frames = whole.frames.iter().copied().filter(|&at| choice.run.raw(whole.data(at)) == *number).collect();
            let mut view = View::new(whole.key, whole.kept, Some(choice), frames, row);
            view.split.clone_from(&mux.split);
            views.push(view);
        }
        views.push(View { split: mux.split, ..whole });
    }
    views
}

fn all(kept: &Kept) -> Vec<u32> {
    (0..kept.times.len() as u32).collect()
}

impl<'a> View<'a> {
    fn new(key: Key, kept: &'a Kept, choice: Option<Choice>, frames: Vec<u32>, row: Row) -> Self {
        let (points, changes, split, coarse) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let mut view = Self { key, choice, kept, frames, points, changes, pairs: 0, split, coarse };
        view.points = view.stand(row);
        view.count_changes();
        view.coarse = coarse::coarse(&view);
        view
    }

    /// Data of a frame.
    #[inline]
    pub(super) fn data(&self, at: u32) -> &'a [u8] {
        let bytes = self.bytes();
        self.kept.data.get(at as usize * bytes..(at as usize + 1) * bytes).unwrap_or(&[])
    }

    /// Whether no frame can belong to both: a bank file tells messages by id and choice, and not by length.
    pub(super) fn is_apart_from(&self, other: &Self) -> bool {
        let is_other_id = (self.key.channel, self.key.id) != (other.key.channel, other.key.id);
        let other_choice = |one: Choice, other: Choice| one.run == other.run && one.number != other.number;
        is_other_id || self.choice.zip(other.choice).is_some_and(|(one, other)| other_choice(one, other))
    }

    pub(super) fn bytes(&self) -> usize {
        usize::from(self.key.bytes)
    }

    pub(super) fn bits(&self) -> u16 {
        u16::from(self.key.bytes) * 8
    }

    /// Changes of a bit of the row of bits.
    pub(super) fn changes(&self, big: bool, bit: u16) -> u32 {
        self.changes.get(usize::from(place(big, bit, self.bytes()))).copied().unwrap_or(0)
    }

    /// A bit of the row of bits in the first frame.
    pub(super) fn first(&self, big: bool, bit: u16) -> bool {
        let run = Run { big, low: bit, len: 1, signed: false };
        self.frames.first().is_some_and(|&at| run.raw(self.data(at)) == 1)
    }

    /// Usual seconds between two frames.
    pub(super) fn period(&self) -> f64 {
        let first = self.frames.first().map_or(0, |&at| self.time(at));
        let last = self.frames.last().map_or(0, |&at| self.time(at));
        f64::from(last - first) * 1e-3 / self.frames.len().max(2) as f64
    }

    /// Whether a run may be looked at here: not with bits that belong to the choices in a view of the whole; with at
    /// least one of them in a view of a choice, and with none of those that choose.
    pub(super) fn is_own(&self, run: &Run) -> bool {
        if self.split.is_empty() {
            return true;
        }
        let bytes = self.bytes();
        let meets = |choice: &Choice| overlap(&choice.run.mask(bytes), &run.mask(bytes));
        let split = (run.low..run.end())
            .any(|bit| self.split.get(usize::from(place(run.big, bit, bytes))).copied().unwrap_or(false));
        split == self.choice.is_some() && !self.choice.as_ref().is_some_and(meets)
    }

    /// The run's number at each point of the row; NaN where none is fresh.
    pub(super) fn series(&self, run: &Run) -> Vec<f32> {
        self.points.iter().map(|at| at.map_or(f32::NAN, |at| run.number(self.data(at)) as f32)).collect()
    }

    /// The run's raw bits in up to `most` frames, evenly spread.
    pub(super) fn sample(&self, run: &Run, most: usize) -> Vec<u64> {
        let step = self.frames.len().div_ceil(most).max(1);
        self.frames.iter().step_by(step).map(|&at| run.raw(self.data(at))).collect()
    }

    fn time(&self, at: u32) -> u32 {
        self.kept.times.get(at as usize).copied().unwrap_or(0)
    }

    fn stand(&self, row: Row) -> Vec<Option<u32>> {
        let fresh = (3.0 * self.period()).max(2.0 * row.step) * 1e3;
        let mut next = 0;
        let mut points = Vec::with_capacity(row.len);
        let mut now: Option<u32> = None;
        for point in 0..row.len {
            let moment = (point as f64 + 0.5) * row.step * 1e3;
            while let Some(&at) = self.frames.get(next).filter(|&&at| f64::from(self.time(at)) <= moment) {
                now = Some(at);
                next += 1;
            }
            points.push(now.filter(|&at| moment - f64::from(self.time(at)) <= fresh));
        }
        points
    }

    fn count_changes(&mut self) {
        let mut changes = vec![0; self.bytes() * 8];
        let mut pairs = 0;
        // an odd step: values that are sent twice each must not be compared with themselves alone
        let skip = (self.frames.len() / MOST_PAIRS) | 1;
        for pair in self.frames.windows(2).step_by(skip) {
            let [a, b] = [self.data(pair[0]), self.data(pair[1])];
            pairs += 1;
            for (byte, (a, b)) in a.iter().zip(b).enumerate() {
                let mut differ = a ^ b;
                while differ != 0 {
                    let bit = differ.trailing_zeros() as usize;
                    changes[byte * 8 + bit] += 1;
                    differ &= differ - 1;
                }
            }
        }
        (self.changes, self.pairs) = (changes, pairs);
    }
}

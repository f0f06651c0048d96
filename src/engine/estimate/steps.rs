//! Steps of the current: two quiet sets of readings, a change, two quiet sets again.
//!
//! A set is complete once every cell and the current have been read anew. Which of them is read first is not known, so
//! a step is taken from the outer two of its four sets: whatever the order, those lie wholly before and after it.

use crate::engine::median::median_of;
use crate::engine::view::View;
use crate::model::limits::{LimitId, Limits};
use crate::model::{MAX_CELLS, Stamp};
use serde::{Deserialize, Serialize};

/// Sets that are kept: two before, one in which the change may lie, two after.
const KEPT: usize = 5;
/// A current is quiet while it moves by no more than this share of the step.
const QUIET_SHARE: f64 = 0.1;
/// Or this share of the capacity, C.
const QUIET_RATE: f64 = 0.01;
/// A change that no current explains is looked for with sets at most this far apart, s.
const BYPASS_SPACING: f64 = 10.0;
/// Before and after it the voltage moves by no more than this share of it.
const STEADY: f64 = 0.25;
/// And every cell takes part to within this share.
const ALIKE: f64 = 0.4;
/// Resolution that is assumed until it is described or seen, and the coarsest, V.
const COARSE: f64 = 0.01;
/// Changes that must have been seen before the smallest of them is taken for the resolution.
const GRAIN_CHANGES: u32 = 50;
/// Room for the jitter of readings in the longest spacing.
const JITTER: f64 = 1.1;

/// One set of readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Set {
    at: Stamp,
    /// Lowest, highest and last current of the set, A.
    low: f64,
    high: f64,
    amps: f64,
    volts: [f64; MAX_CELLS],
    bus: Option<f64>,
}

/// A step of the current and what the voltages made of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Change of current, A.
    pub amps: f64,
    /// Longest time between two sets, s.
    pub spacing: f64,
    /// Cells that are read.
    pub cells: usize,
    /// Voltages before, V.
    pub before: [f64; MAX_CELLS],
    /// Voltages after, V.
    pub after: [f64; MAX_CELLS],
    /// Change of the voltage beyond the cells: bus less the sum of the cells, V.
    pub outside: Option<f64>,
}

impl Step {
    /// Change of a cell's voltage, V.
    #[must_use]
    pub fn volts(&self, cell: usize) -> f64 {
        self.after[cell] - self.before[cell]
    }
}

/// Looks for steps, set by set.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Steps {
    sets: Vec<Set>,
    /// Cells that were read since the last set, a bit each; and whether the current was.
    heard: u32,
    current: bool,
    /// Lowest and highest current since the last set, A.
    span: Option<(f64, f64)>,
    /// Readings of the current when last looked at.
    count: u32,
    /// Which cells the sets hold, a bit each.
    cells: u32,
    /// Smallest change of the first cell's reading ever seen, V, and out of how many.
    grain: (f64, u32),
    last: Option<f64>,
}

impl Steps {
    /// Moves on by one tick; returns the step that this tick completes.
    pub fn tick(&mut self, view: &View, limits: &Limits) -> Option<Step> {
        let (Some(current), Some(capacity)) = (view.current, view.capacity) else {
            self.forget();
            return None;
        };
        let (mut present, mut heard) = (0_u32, 0_u32);
        for cell in &view.cells {
            present |= 1 << cell.cell;
            heard |= u32::from(cell.fresh > 0) << cell.cell;
        }
        if present != self.cells || view.switches.charge_path == Some(false) || !view.sees_all_cells() {
            self.forget();
            self.cells = present;
            return None;
        }
        self.heard |= heard;
        self.current |= current.count != self.count;
        self.count = current.count;
        let (low, high) = self.span.unwrap_or((f64::MAX, f64::MIN));
        self.span = Some((low.min(current.recent.low), high.max(current.recent.high)));
        if self.heard != present || !self.current {
            return None;
        }
        self.keep(view, current.amps);
        self.step(capacity, limits)
    }

    /// Resolution of the cells' readings, V: as described, unless they are seen to move in larger steps; until enough
    /// of them were seen, coarse.
    #[must_use]
    pub fn grain(&self, described: Option<f64>) -> f64 {
        match self.grain {
            (seen, count) if count >= GRAIN_CHANGES => seen.min(COARSE).max(described.unwrap_or(0.0)),
            _ => described.unwrap_or(COARSE),
        }
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.sets.len() <= KEPT
    }

    fn forget(&mut self) {
        self.sets.clear();
        (self.heard, self.current, self.span) = (0, false, None);
    }

    fn keep(&mut self, view: &View, amps: f64) {
        let mut set = match self.sets.len() {
            KEPT => self.sets.remove(0),
            _ => Set { at: view.now, low: 0.0, high: 0.0, amps, volts: [0.0; MAX_CELLS], bus: None },
        };
        let (low, high) = self.span.unwrap_or((amps, amps));
        (set.at, set.low, set.high, set.amps, set.bus) = (view.now, low, high, amps, view.bus_voltage);
        for (place, cell) in set.volts.iter_mut().zip(&view.cells) {
            *place = cell.volts;
        }
        self.sets.push(set);
        (self.heard, self.current, self.span) = (0, false, None);
        self.learn_grain(view);
    }

    fn learn_grain(&mut self, view: &View) {
        let Some(first) = view.cells.first().map(|cell| cell.volts) else { return };
        let change = self.last.map_or(0.0, |last| (first - last).abs());
        if change > 1e-5 {
            let (least, count) = self.grain;
            self.grain = (if count == 0 { change } else { least.min(change) }, count.saturating_add(1));
        }
        self.last = Some(first);
    }

    fn step(&self, capacity: f64, limits: &Limits) -> Option<Step> {
        let four = self.sets.last_chunk::<4>().and_then(|[b2, b1, a1, a2]| found([b2, b1, a1, a2], None, capacity));
        let chosen = four.or_else(|| {
            let [b2, b1, between, a1, a2] = self.sets.last_chunk::<5>()?;
            found([b2, b1, a1, a2], Some(between), capacity)
        });
        let (before, after, tolerance) = chosen?;
        let amps = level(after) - level(before);
        if amps.abs() < limits.get(LimitId::StepRate) * capacity || tolerance > 0.5 * amps.abs() {
            return None;
        }
        let count = self.cells.count_ones() as usize;
        let calm = if before.amps.abs() < after.amps.abs() { before } else { after };
        let calm = calm.volts.get(..count)?;
        let flat = limits.get(LimitId::StepVoltsLow)..=limits.get(LimitId::StepVoltsHigh);
        let spacing = self.spacing();
        if count < 2 || !calm.iter().all(|v| flat.contains(v)) || spacing > limits.get(LimitId::StepSpacing) * JITTER {
            return None;
        }
        let outside = |set: &Set| Some(set.bus? - set.volts.get(..count)?.iter().sum::<f64>());
        let beyond = outside(after).zip(outside(before)).map(|(after, before)| after - before);
        Some(Step { amps, spacing, cells: count, before: before.volts, after: after.volts, outside: beyond })
    }

    /// Change of the median voltage within the last four sets that no change of the current explains, V: all cells alike,
    /// but that one with a poor connection may move more; steady before and after.
    #[must_use]
    pub fn unexplained(&self, view: &View) -> Option<f64> {
        let [b2, b1, a1, a2] = self.sets.last_chunk::<4>()?;
        let capacity = view.capacity?;
        let count = self.cells.count_ones() as usize;
        let low = [b2, b1, a1, a2].iter().map(|set| set.low).fold(f64::MAX, f64::min);
        let high = [b2, b1, a1, a2].iter().map(|set| set.high).fold(f64::MIN, f64::max);
        if a2.at != view.now || count < 2 || high - low > QUIET_RATE * capacity || self.spacing() > BYPASS_SPACING {
            return None;
        }
        let mean = |set: &Set| set.volts.iter().take(count).sum::<f64>() / count as f64;
        let change = mean(a1) - mean(b1);
        if (mean(b1) - mean(b2)).abs().max((mean(a2) - mean(a1)).abs()) > STEADY * change.abs() {
            return None;
        }
        let moves = b1.volts.iter().zip(&a1.volts).take(count).map(|(before, after)| after - before);
        let change = median_of::<MAX_CELLS>(moves.clone())?;
        let mut odd = moves.filter(|moved| (moved - change).abs() > ALIKE * change.abs());
        let alike = odd.next().is_none_or(|moved| moved / change > 1.0 && count > 2) && odd.next().is_none();
        alike.then_some(change)
    }

    /// Whether the current moved between the last two sets, or within them.
    #[must_use]
    pub fn moved(&self, view: &View) -> bool {
        let (Some([one, two]), Some(capacity)) = (self.sets.last_chunk::<2>(), view.capacity) else { return true };
        one.high.max(two.high) - one.low.min(two.low) > QUIET_RATE * capacity
    }

    fn spacing(&self) -> f64 {
        self.sets.windows(2).map(|pair| pair[1].at.since(pair[0].at)).fold(0.0, f64::max)
    }
}

fn level(set: &Set) -> f64 {
    0.5 * (set.low + set.high)
}

/// The outer two of four sets that are a step: the inner pairs are quiet, and a set between lies at neither level.
fn found<'a>([b2, b1, a1, a2]: [&'a Set; 4], between: Option<&Set>, capacity: f64) -> Option<(&'a Set, &'a Set, f64)> {
    let change = (level(a2) - level(b2)).abs();
    let tolerance = (QUIET_SHARE * change).max(QUIET_RATE * capacity);
    let quiet = |one: &Set, two: &Set| one.high.max(two.high) - one.low.min(two.low) <= tolerance;
    let apart = between.is_none_or(|set| !quiet(set, a1));
    (quiet(b2, b1) && quiet(a1, a2) && apart).then_some((b2, a2, tolerance))
}

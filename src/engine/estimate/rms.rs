//! The current over the last minute as a root mean square, charge and discharge apart: what fuses and cables feel.

use crate::engine::pack::Pack;
use crate::engine::view::{CurrentNow, View};
use crate::model::Estimate;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// Slices of the stretch.
const SLICES: usize = 12;
/// Part of the stretch that must be covered by valid currents.
const COVERED: f64 = 0.95;
/// Readings closer than this are joined by a line, s; wider apart the smaller of the two counts, since what was
/// between them nobody knows.
const JOINED_SECS: f64 = 5.0;

/// A slice of the stretch.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Slice {
    /// Sum of squares while charging, A²s.
    charge: f64,
    /// Sum of squares while drawing, A²s.
    draw: f64,
    /// Seconds covered.
    secs: f64,
}

/// The root mean square of the current over the last minute.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Rms {
    slices: [Slice; SLICES],
    /// Number of the slice that is being filled, counted from the beginning of time.
    number: i64,
    /// The two readings before, A, and how many readings had come.
    raw: [Option<f64>; 2],
    count: u32,
    /// Median of three readings at the tick before, A.
    last: Option<f64>,
    /// Sums of all slices.
    all: Slice,
}

impl Rms {
    /// Moves on by one tick; `into_cells` says whether positive current is charge.
    pub fn tick(&mut self, view: &View, into_cells: bool, limits: &Limits) {
        let amps = self.smooth(view.current).map(|amps| if into_cells { amps } else { amps.min(0.0) });
        let slice_secs = limits.get(LimitId::OverCurrentSeconds) / SLICES as f64;
        match (self.last, amps) {
            (Some(last), Some(amps)) => self.spread(view, squares(last, amps, view.secs()), slice_secs),
            _ => self.roll((view.now.since(Stamp::default()) / slice_secs) as i64),
        }
        self.last = amps;
        self.all = Slice::default();
        for slice in &self.slices {
            self.all.charge += slice.charge;
            self.all.draw += slice.draw;
            self.all.secs += slice.secs;
        }
    }

    /// Median of the last three readings, so that one wrong reading is none.
    fn smooth(&mut self, current: Option<CurrentNow>) -> Option<f64> {
        let Some(current) = current else {
            self.raw = [None; 2];
            return None;
        };
        if current.count == self.count && self.last.is_some() {
            return self.last;
        }
        let [before, last] = self.raw;
        self.raw = [last, Some(current.amps)];
        self.count = current.count;
        let (a, b) = before.zip(last)?;
        Some(a.min(b).max(a.max(b).min(current.amps)))
    }

    /// Puts mean squares over the time since the tick before into the slices that they cover.
    fn spread(&mut self, view: &View, (charge, draw): (f64, f64), slice_secs: f64) {
        let end = view.now.since(Stamp::default()) / slice_secs;
        let mut from = end - (view.secs() / slice_secs).min(SLICES as f64);
        while from < end - 1e-9 {
            let number = (from + 1e-9).floor();
            let to = (number + 1.0).min(end);
            self.roll(number as i64);
            let part = (to - from) * slice_secs;
            let add = Slice { charge: charge * part, draw: draw * part, secs: part };
            let slice = &mut self.slices[(number as i64).rem_euclid(SLICES as i64) as usize];
            slice.charge += add.charge;
            slice.draw += add.draw;
            slice.secs += add.secs;
            from = to;
        }
    }

    /// Empties the slices between the one that is being filled and `number`.
    fn roll(&mut self, number: i64) {
        if number <= self.number {
            return;
        }
        let steps = number.saturating_sub(self.number).min(SLICES as i64);
        for step in 0..steps {
            let slice = &mut self.slices[(number - step).rem_euclid(SLICES as i64) as usize];
            *slice = Slice::default();
        }
        self.number = number;
    }

    /// Charge current and discharge current, A, both positive; none while the stretch is not covered.
    #[must_use]
    pub fn amps(&self, limits: &Limits) -> Option<(f64, f64)> {
        let whole = limits.get(LimitId::OverCurrentSeconds);
        let shortest = (whole - whole / SLICES as f64) * COVERED;
        (self.all.secs >= shortest)
            .then(|| ((self.all.charge / self.all.secs).sqrt(), (self.all.draw / self.all.secs).sqrt()))
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack, limits: &Limits) -> Vec<Estimate> {
        let subject = pack.subject();
        let why = "no valid current over the last minute";
        let amps = self.amps(limits);
        let row = |name, amps: Option<f64>| {
            amps.map_or_else(|| Estimate::unknown(name, subject, why), |a| Estimate::known(name, subject, a))
        };
        vec![row("rms_charge_60s_a", amps.map(|a| a.0)), row("rms_discharge_60s_a", amps.map(|a| a.1))]
    }
}

/// Mean squares of charge and of discharge between two readings.
fn squares(before: f64, now: f64, secs: f64) -> (f64, f64) {
    let side = |a: f64, b: f64| match secs <= JOINED_SECS {
        true => (a * a + a * b + b * b) / 3.0,
        false => a.min(b).powi(2),
    };
    (side(before.max(0.0), now.max(0.0)), side((-before).max(0.0), (-now).max(0.0)))
}

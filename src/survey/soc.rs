//! States of charge: a slow field that goes with the current's integral; and what it tells of the current.

use super::amps::Amps;
use super::bits::Run;
use super::fit::{self, Line};
use super::starts::{Start, grown, starts};
use super::twins::Twins;
use super::view::{Row, View};
use super::volts::Taken;

/// How well it goes with the integral at least, beyond a straight line in time.
const ALIKE: f64 = 0.97;
/// Counts by which it must have moved.
const LEAST_COUNTS: f64 = 4.0;
/// What a longer run must go better by than a shorter one.
const CLOSER: f64 = 0.0005;
/// Of any field so much stays unexplained: finer differences say nothing.
pub(super) const LEAST_OFF: f64 = 0.002;
/// Places that are looked at closer.
const MOST_SETS: usize = 6;
/// One point in so many is looked at.
const STRIDE: usize = 4;

/// A field that may be a state of charge.
#[derive(Debug, Clone)]
pub(super) struct Soc {
    pub(super) view: usize,
    pub(super) run: Run,
    pub(super) counts: Vec<f32>,
    /// Counts per count of current and hour.
    pub(super) slope: f64,
    /// Count of the current at which it stands still.
    pub(super) zero: f64,
    pub(super) together: f64,
    /// First bit that belongs to something else.
    limit: u16,
    /// How much what is left open counts.
    weight: f64,
}

impl Soc {
    /// The lengths that the field can have, with what each adds to the counts: bits above that are always 1 may be its
    /// own or not.
    pub(super) fn lengths(&self, view: &View) -> Vec<(u8, f64)> {
        let mut lengths = vec![(self.run.len, 0.0)];
        let mut more = 0.0;
        for bit in self.run.end()..self.limit.min(self.run.low + 17) {
            if view.changes(self.run.big, bit) > 0 {
                break;
            }
            if view.first(self.run.big, bit) {
                more += f64::from(1_u32 << (bit - self.run.low));
                lengths.push(((bit + 1 - self.run.low) as u8, more));
            }
        }
        lengths
    }

    /// The same with another of its lengths, and with every bit above in its last byte that changes, however seldom.
    pub(super) fn with(&mut self, view: &View, len: u8) {
        self.run.len = len;
        let is_own = |end: u16| end < self.limit && !end.is_multiple_of(8) && view.changes(self.run.big, end) > 0;
        while is_own(self.run.end()) {
            self.run.len += 1;
        }
        self.run = grown(view, self.run, self.limit);
        self.counts = view.series(&self.run);
    }
}

/// Counts of current times hours, charging upwards, at each point; where none is known nothing is added.
fn integral(amps: &Amps, row: Row) -> Vec<f32> {
    let mut sum = 0.0;
    let hours = row.step / 3600.0 * amps.slope.signum();
    let add = |count: &f32| {
        if !count.is_nan() {
            sum += f64::from(*count) * hours;
        }
        sum as f32
    };
    amps.counts.iter().map(add).collect()
}

/// What remains of a row when its straight line in time is taken away, and that line.
fn bent(values: &[f32], hours: &[f32]) -> (Vec<f32>, Line) {
    let line = fit::line(hours.iter().zip(values).map(|(x, y)| (f64::from(*x), f64::from(*y))));
    let bent = hours.iter().zip(values).map(|(x, y)| (f64::from(*y) - line.slope * f64::from(*x) - line.level) as f32);
    (bent.collect(), line)
}

/// Fields that may be the states of charge, one for each current: the likeliest first.
pub(super) fn find(views: &[View], amps: &[Amps], row: Row, taken: &Taken, twins: &Twins) -> Vec<Vec<Soc>> {
    let thin = |row: Vec<f32>| -> Vec<f32> { row.into_iter().step_by(STRIDE).collect() };
    let hours: Vec<f32> = (0..row.len).step_by(STRIDE).map(|at| (at as f64 * row.step / 3600.0) as f32).collect();
    let integrals: Vec<(Vec<f32>, Line, f64)> = amps
        .iter()
        .map(|amps| {
            let (bent, line) = bent(&thin(integral(amps, row)), &hours);
            (bent, line, amps.slope.signum())
        })
        .collect();
    let Some(first) = integrals.first() else { return Vec::new() };
    let mut all: Vec<Soc> = Vec::new();
    for (at, view) in views.iter().enumerate() {
        for start in starts(view).into_iter().map(Start::whole) {
            for len in 6..=17 {
                let Some(run) = start.run(len, false).filter(|run| view.is_own(run)) else { continue };
                let sample = view.sample(&run, 160);
                if sample.iter().all(|raw| raw >> (len - 1) == 0) || taken.holds(views, at, &run) {
                    continue;
                }
                let (low, high) =
                    (sample.iter().min().copied().unwrap_or(0), sample.iter().max().copied().unwrap_or(0));
                if ((high - low) as f64) < LEAST_COUNTS {
                    continue;
                }
                let weight = if start.shows { 1.0 } else { 1.5 } * if start.is_cut(view) { 2.0 } else { 1.0 };
                let counts = thin(view.series(&run));
                let Some(mut soc) = judge(&counts, &hours, first) else { continue };
                soc.view = at;
                soc.run = run;
                soc.limit = start.limit;
                soc.weight = weight;
                soc.counts = view.series(&soc.run);
                all.push(soc);
            }
        }
    }
    let mut sets = one_each(views, &all, twins);
    for own in &mut sets {
        for (soc, integral) in own.iter_mut().zip(&integrals) {
            if let Some(again) = judge(&thin(soc.counts.clone()), &hours, integral) {
                (soc.slope, soc.zero, soc.together) = (again.slope, again.zero, again.together);
            }
        }
    }
    sets
}

fn judge(counts: &[f32], hours: &[f32], (integral, in_time, sign): &(Vec<f32>, Line, f64)) -> Option<Soc> {
    let (bent, line) = bent(counts, hours);
    let pairs = integral.iter().zip(&bent).map(|(x, y)| (f64::from(*x), f64::from(*y)));
    let fit = fit::line(pairs);
    if fit.together < ALIKE || fit.slope <= 0.0 {
        return None;
    }
    // counts an hour at a current of 0: what the line in time says beyond what the integral's own line explains
    let rest = line.slope - fit.slope * in_time.slope;
    let zero = -rest / fit.slope * sign;
    let run = Run { big: false, low: 0, len: 1, signed: false };
    Some(Soc {
        view: 0,
        run,
        counts: Vec::new(),
        slope: fit.slope,
        zero,
        together: fit.together,
        limit: 0,
        weight: 1.0,
    })
}

/// How much a state of charge leaves open, on average of the packs.
pub(super) fn off(own: &[Soc]) -> f64 {
    own.iter().map(|soc| (1.0 - soc.together + LEAST_OFF) * soc.weight).sum::<f64>() / own.len().max(1) as f64
}

/// One field for each pack at one place of their messages; a few places that leave the least open.
fn one_each(views: &[View], all: &[Soc], twins: &Twins) -> Vec<Vec<Soc>> {
    let place = |soc: &Soc| (soc.view, soc.run.big, soc.run.low);
    let mut seen = Vec::new();
    let mut sets: Vec<Vec<Soc>> = Vec::new();
    for head in all {
        if seen.contains(&place(head)) {
            continue;
        }
        seen.push(place(head));
        let Some(places) = views.get(head.view).and_then(|view| twins.views(view)) else { continue };
        let at = |view: usize| {
            let here = (view, head.run.big, head.run.low);
            let mut own: Vec<&Soc> = all.iter().filter(|other| place(other) == here).collect();
            own.sort_by_key(|soc| soc.run.len);
            // the shortest length that is as good as any: what is always 1 above it may belong to something else
            own.dedup_by(|longer, soc| longer.together < soc.together + CLOSER);
            own.pop().cloned()
        };
        sets.extend(places.into_iter().map(at).collect::<Option<Vec<Soc>>>());
    }
    sets.sort_by(|a, b| off(a).total_cmp(&off(b)));
    sets.truncate(MOST_SETS);
    sets
}

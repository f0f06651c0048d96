//! Temperatures: slow fields beside the bank's other values that rise with the heat its current makes, whatever the
//! air does over the day. The sensors of a bank are written alike and are judged together.

use super::amps::{Amps, VOLTS_PER_C};
use super::bits::{Run, overlap};
use super::fit::{self, Line};
use super::packs::order;
use super::scale::{Usual, WARM};
use super::starts::{Start, grown, starts};
use super::view::{Row, View};
use super::volts::Taken;

/// What a cell takes to warm by a kelvin, J per K and Ah: about 11 kg of four cells of 100 Ah at 1 kJ/kg/K.
const JOULE_KELVIN_AH: f64 = 27.5;
/// In so many hours most of the heat has gone again (judgement): small packs in a draught, large ones in a box.
const HOURS_LOST: [f64; 3] = [2.0, 4.0, 8.0];
/// How well the fields of a place go with the heat at least, on average and each.
const ALIKE: f64 = 0.5;
const ALIKE_EACH: f64 = 0.3;
/// The same of one that moved by many counts.
const ALIKE_FINE: f64 = 0.65;
const FINE: f64 = 12.0;
/// Where a bank's temperatures lie against the air, K: middle, and how far from it they usually are.
const ABOVE_AIR: (f64, f64) = (3.0, 4.0);
/// The same without a word about the air, °C.
const ANYWHERE: (f64, f64) = (18.0, 12.0);
/// How much more a cell warms than by the drop within seconds alone: the slow part of its resistance heats too
/// (judgement).
const RISE: f64 = 1.6;
/// How far the rise may be from the one that is reckoned, as a logarithm.
const RISE_ERROR: f64 = 0.5;
/// How sure a way to write them must be to be named.
const SURE: f64 = 0.75;
/// How far two sensors of a bank usually are apart at most, K, and by how much one may rise more than another.
const APART: f64 = 6.0;
const RISE_APART: f64 = 2.5;
/// How far the ids of a bank's messages lie apart at most.
const NEAR_ID: u32 = 64;
/// One point in so many is looked at.
const STRIDE: usize = 4;

/// A field that is a temperature.
#[derive(Debug, Clone)]
pub(super) struct Warm {
    pub(super) view: usize,
    pub(super) run: Run,
    pub(super) usual: Usual,
    pub(super) together: f64,
    pub(super) sure: f64,
}

/// The heat of a current.
pub(super) struct Heat {
    /// Kelvin by which it would warm a cell at each point, or something proportional to it; for each time in which
    /// it goes again, with the share that remains from one point to the next.
    kelvin: Vec<(Vec<f32>, f64)>,
    /// The kelvins are kelvins.
    is_absolute: bool,
}

impl Heat {
    /// `per_capacity`: a count of current as a share of the capacity.
    pub(super) fn new(amps: &Amps, zero: f64, per_capacity: Option<f64>, row: Row) -> Self {
        let share = per_capacity.unwrap_or(1.0);
        let volts_per_c = per_capacity.map_or(VOLTS_PER_C, |share| amps.slope.abs() / share);
        let warmed = |hours: f64| {
            let keep = (-row.step / 3600.0 / hours).exp();
            let mut kelvin = 0.0;
            let warm = |count: &f32| {
                let rate = if count.is_nan() { 0.0 } else { (f64::from(*count) - zero) * share };
                kelvin = kelvin * keep + rate * rate * volts_per_c / JOULE_KELVIN_AH * row.step;
                kelvin as f32
            };
            (amps.counts.iter().map(warm).collect(), keep)
        };
        Self { kelvin: HOURS_LOST.into_iter().map(warmed).collect(), is_absolute: per_capacity.is_some() }
    }

    fn line(&self, counts: &[f32]) -> Line {
        let lines = self.kelvin.iter().map(|(kelvin, still)| fit::beside_time(kelvin, counts, *still, STRIDE));
        lines.max_by(|a, b| a.together.total_cmp(&b.together)).unwrap_or_default()
    }
}

/// Where to look for temperatures.
pub(super) struct Where<'a> {
    pub(super) taken: &'a Taken,
    /// Keys of the bank's other messages.
    pub(super) ids: &'a [u32],
    pub(super) by_choice: bool,
    /// How warm it is around the bank, °C.
    pub(super) celsius: Option<f64>,
}

/// A run of bits that moves slowly.
#[derive(Debug, Clone)]
struct Slow {
    view: usize,
    run: Run,
    /// Counts: nearly the least, in the middle, nearly the most.
    counts: (f64, f64, f64),
    /// Counts from one point to the next, hardly ever more.
    jump: f64,
    /// Counts over kelvin of heat.
    line: Line,
    weight: f64,
}

/// Runs at one place of every pack's messages.
struct Group {
    members: Vec<Slow>,
    together: f64,
    /// It goes so well with the heat that others may be measured by it.
    leads: bool,
}

/// The temperatures, sensor by sensor, each for every pack.
pub(super) fn find(views: &[View], heats: &[Heat], place: &Where) -> Vec<Vec<Warm>> {
    let Some(heat) = heats.first() else { return Vec::new() };
    let mut all: Vec<Slow> = Vec::new();
    for (at, view) in views.iter().enumerate() {
        let id = view.key.id.key();
        if !place.ids.iter().any(|own| own.abs_diff(id) <= NEAR_ID) {
            continue;
        }
        for start in starts(view).into_iter().map(Start::whole) {
            all.extend(runs(view, at, &start, heat, |run| view.is_own(run) && !place.taken.holds(views, at, run)));
        }
    }
    let groups = groups(views, &all, heats.len(), place.by_choice);
    let sensors = sensors(views, groups, heat.is_absolute, place.celsius);
    sorted(views, sensors, place.by_choice)
}

/// Every slow run from a start.
fn runs(view: &View, at: usize, start: &Start, heat: &Heat, is_free: impl Fn(&Run) -> bool) -> Vec<Slow> {
    let mut all = Vec::new();
    let whole = (start.limit - start.low).min(16) as u8;
    let weight = match (start.shows, start.is_cut(view)) {
        (true, false) => 1.0,
        (true, true) => 0.7,
        (false, false) => 0.9,
        (false, true) => 0.15,
    };
    for len in 3..=whole {
        for signed in [false, true] {
            let Some(run) = start.run(len, signed).filter(&is_free) else { continue };
            let top = view.changes(run.big, run.end() - 1) > 0 || view.first(run.big, run.end() - 1);
            if !top || signed && len < 7 {
                continue; // the same as a shorter one
            }
            let changing = run.end() < start.limit && view.changes(run.big, run.end()) > 0;
            let ones = (run.end()..start.limit.min(run.end() + 8)).any(|bit| view.first(run.big, bit));
            let weight = weight
                * if changing {
                    0.05
                } else if ones {
                    0.12
                } else {
                    1.0
                };
            let counts = view.series(&run);
            let Some(slow) = slow(&counts) else { continue };
            let line = heat.line(&counts);
            if line.together < ALIKE_EACH {
                continue;
            }
            let run = grown(view, run, start.limit);
            all.push(Slow { view: at, run, line, weight, ..slow });
        }
    }
    all
}

/// What a row of counts is, if it moves, and slowly.
fn slow(counts: &[f32]) -> Option<Slow> {
    let mut sorted: Vec<f32> = counts.iter().copied().filter(|count| !count.is_nan()).collect();
    let (low, middle, high) =
        (fit::share(&mut sorted, 0.005), fit::share(&mut sorted, 0.5), fit::share(&mut sorted, 0.995));
    let mut jumps: Vec<f32> =
        counts.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|jump| !jump.is_nan()).collect();
    let jump = fit::share(&mut jumps, 0.99);
    let run = Run { big: false, low: 0, len: 1, signed: false };
    let is_slow = high > low && jump <= 1.0_f64.max(0.3 * (high - low));
    is_slow.then(|| Slow { view: 0, run, counts: (low, middle, high), jump, line: Line::default(), weight: 1.0 })
}

impl Slow {
    /// How well it is a temperature when it is written this way.
    fn fits(&self, usual: &Usual, is_absolute: bool, celsius: Option<f64>) -> f64 {
        let at = |count: f64| count * usual.scale + usual.offset;
        let (low, middle, high) = (at(self.counts.0), at(self.counts.1), at(self.counts.2));
        let usually = low > -35.0 && high < 75.0 && high - low < 30.0;
        if !usually || self.jump * usual.scale > (1.2 * usual.scale).max(0.6) {
            return 0.0;
        }
        let rise = if is_absolute { bell((self.line.slope * usual.scale / RISE).ln(), RISE_ERROR) } else { 1.0 };
        let place = match celsius {
            Some(air) => bell((middle - air - ABOVE_AIR.0) / ABOVE_AIR.1, 1.0),
            None => bell((middle - ANYWHERE.0) / ANYWHERE.1, 1.0),
        };
        usual.weight * rise * place * self.weight
    }

    fn is_fine(&self) -> bool {
        self.counts.2 - self.counts.0 > FINE
    }
}

fn bell(off: f64, error: f64) -> f64 {
    (-0.5 * (off / error).powi(2)).exp()
}

/// The places at which every pack has a slow run.
fn groups(views: &[View], all: &[Slow], packs: usize, by_choice: bool) -> Vec<Group> {
    let shape = |slow: &Slow| {
        let view = views.get(slow.view);
        (slow.run.big, slow.run.low, slow.run.signed, view.map(|view| (view.key.bytes, view.choice.is_some())))
    };
    let mut groups = Vec::new();
    for head in all {
        let mut members: Vec<Slow> = all.iter().filter(|other| shape(other) == shape(head)).cloned().collect();
        // of each pack's runs the one that is as long, or nearly
        members.sort_by_key(|slow| (order(views, by_choice, slow.view, 0), slow.run.len.abs_diff(head.run.len)));
        members.dedup_by_key(|slow| slow.view);
        let Some(number) = members.iter().position(|slow| slow.view == head.view) else { continue };
        // several messages of one pack may have the same shape: those as far apart as the packs are
        let each = members.len() / packs.max(1);
        if members.len() != each * packs || each == 0 {
            continue;
        }
        let members: Vec<Slow> = members.into_iter().skip(number % each).step_by(each).collect();
        let count = members.len().max(1) as f64;
        let together = members.iter().map(|slow| slow.line.together).sum::<f64>() / count;
        let least = if members.iter().all(Slow::is_fine) { ALIKE_FINE } else { ALIKE };
        groups.push(Group { leads: together >= least, members, together });
    }
    groups
}

impl Group {
    fn fits(&self, usual: &Usual, is_absolute: bool, celsius: Option<f64>) -> f64 {
        let fits = |slow: &Slow| slow.fits(usual, is_absolute, celsius);
        let least = self.members.iter().map(fits).fold(f64::INFINITY, f64::min);
        let count = self.members.len().max(1) as f64;
        if least <= 0.0 { 0.0 } else { self.members.iter().map(fits).sum::<f64>() / count }
    }

    /// Middle, °C, and rise.
    fn level(&self, usual: &Usual) -> (f64, f64) {
        let count = self.members.len().max(1) as f64;
        let middle = self.members.iter().map(|slow| slow.counts.1).sum::<f64>() / count;
        let slope = self.members.iter().map(|slow| slow.line.slope).sum::<f64>() / count;
        (middle * usual.scale + usual.offset, slope * usual.scale)
    }

    fn shares_bits(&self, views: &[View], other: &Self) -> bool {
        let mask = |slow: &Slow| slow.run.mask(views.get(slow.view).map_or(0, View::bytes));
        self.members.iter().any(|a| other.members.iter().any(|b| a.view == b.view && overlap(&mask(a), &mask(b))))
    }
}

/// The groups that are the bank's sensors: alike to the one for which most speaks.
fn sensors(views: &[View], groups: Vec<Group>, is_absolute: bool, celsius: Option<f64>) -> Vec<Vec<Warm>> {
    let mut best: Option<(f64, Usual, Vec<usize>)> = None;
    let fits: Vec<Vec<f64>> =
        groups.iter().map(|group| WARM.iter().map(|usual| group.fits(usual, is_absolute, celsius)).collect()).collect();
    let good = |at: usize, way: usize| {
        let fits = fits.get(at).and_then(|fits| fits.get(way)).copied().unwrap_or(0.0);
        groups.get(at).map_or(0.0, |group| group.together * fits)
    };
    let mut of_ways = vec![0.0_f64; WARM.len()];
    for (way, usual) in WARM.iter().enumerate() {
        for (anchor, group) in groups.iter().enumerate() {
            if !group.leads || good(anchor, way) < 1e-3 {
                continue;
            }
            let (middle, rise) = group.level(usual);
            let mut order: Vec<usize> = (0..groups.len()).filter(|at| good(*at, way) >= 1e-3).collect();
            order.sort_by(|a, b| good(*b, way).total_cmp(&good(*a, way)));
            let mut kept = vec![anchor];
            for at in order {
                let Some(other) = groups.get(at) else { continue };
                let (other_middle, other_rise) = other.level(usual);
                let alike = (other_middle - middle).abs() <= APART
                    && (other_rise / rise).ln().abs() <= RISE_APART.ln()
                    && !kept.iter().filter_map(|kept| groups.get(*kept)).any(|kept| kept.shares_bits(views, other));
                if alike {
                    kept.push(at);
                }
            }
            let sum = kept.iter().map(|at| good(*at, way)).sum::<f64>();
            if let Some(most) = of_ways.get_mut(way) {
                *most = most.max(sum);
            }
            if best.as_ref().is_none_or(|(most, ..)| sum > *most) {
                best = Some((sum, *usual, kept));
            }
        }
    }
    let Some((sum, usual, kept)) = best else { return Vec::new() };
    // offsets so near to each other say the same
    let near = |other: &Usual| other.scale == usual.scale && (other.offset - usual.offset).abs() < 0.5;
    let others: f64 = WARM.iter().zip(&of_ways).filter(|(other, _)| !near(other)).map(|(_, sum)| sum).sum();
    let sure = sum / (sum + others);
    if sure < SURE {
        return Vec::new();
    }
    let named = |slow: &Slow| Warm { view: slow.view, run: slow.run, usual, together: slow.line.together, sure };
    kept.into_iter().filter_map(|at| groups.get(at)).map(|group| group.members.iter().map(named).collect()).collect()
}

/// In the order of their messages and bits.
fn sorted(views: &[View], mut sensors: Vec<Vec<Warm>>, by_choice: bool) -> Vec<Vec<Warm>> {
    let front = |group: &Vec<Warm>| {
        group.first().map(|warm| {
            let bytes = views.get(warm.view).map_or(0, View::bytes);
            order(views, by_choice, warm.view, warm.run.front(bytes))
        })
    };
    sensors.sort_by_key(front);
    sensors
}

//! Temperatures: slow fields beside the bank's other values that rise with the heat its current makes.

use super::amps::{Amps, VOLTS_PER_C};
use super::bits::{Run, overlap};
use super::fit;
use super::packs::order;
use super::scale::{Usual, WARM};
use super::starts::{Start, grown, starts};
use super::view::{Row, View};
use super::volts::Taken;

/// What a cell takes to warm by a kelvin, J per K and Ah: about 11 kg of four cells of 100 Ah at 1 kJ/kg/K.
const JOULE_KELVIN_AH: f64 = 27.5;
/// In so many hours most of the heat has gone again (judgement).
const HOURS_LOST: f64 = 3.5;
/// How well a temperature goes with the heat at least.
const ALIKE: f64 = 0.75;
/// Where a bank's temperatures lie against the air, K: middle, and how far from it they usually are.
const ABOVE_AIR: (f64, f64) = (3.0, 4.0);
/// The same without a word about the air, °C.
const ANYWHERE: (f64, f64) = (18.0, 12.0);
/// How far the rise may be from the one that is reckoned, as a logarithm.
const RISE_ERROR: f64 = 0.6;
/// How sure a scale must be to be named.
const SURE: f64 = 0.85;
/// How far the ids of a bank's messages lie apart at most.
const NEAR_ID: u32 = 64;

/// A field that may be a temperature.
#[derive(Debug, Clone)]
pub(super) struct Warm {
    pub(super) view: usize,
    pub(super) run: Run,
    pub(super) usual: Usual,
    pub(super) together: f64,
    pub(super) sure: f64,
    weight: f64,
}

/// The heat of a current.
pub(super) struct Heat {
    /// Kelvin by which it would warm a cell at each point, or something proportional to it.
    kelvin: Vec<f32>,
    /// The kelvins are kelvins.
    is_absolute: bool,
}

impl Heat {
    /// `per_capacity`: a count of current as a share of the capacity.
    pub(super) fn new(amps: &Amps, zero: f64, per_capacity: Option<f64>, row: Row) -> Self {
        let share = per_capacity.unwrap_or(1.0);
        let volts_per_c = per_capacity.map_or(VOLTS_PER_C, |share| amps.slope.abs() / share);
        let keep = (-row.step / 3600.0 / HOURS_LOST).exp();
        let mut kelvin = 0.0;
        let warm = |count: &f32| {
            let rate = if count.is_nan() { 0.0 } else { (f64::from(*count) - zero) * share };
            kelvin = kelvin * keep + rate * rate * volts_per_c / JOULE_KELVIN_AH * row.step;
            kelvin as f32
        };
        Self { kelvin: amps.counts.iter().map(warm).collect(), is_absolute: per_capacity.is_some() }
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

/// The temperatures, sensor by sensor, each for every pack.
pub(super) fn find(views: &[View], heats: &[Heat], place: &Where) -> Vec<Vec<Warm>> {
    let Some(heat) = heats.first() else { return Vec::new() };
    let mut all: Vec<Warm> = Vec::new();
    for (at, view) in views.iter().enumerate() {
        let id = view.key.id.key();
        if !place.ids.iter().any(|own| own.abs_diff(id) <= NEAR_ID) {
            continue;
        }
        for start in starts(view) {
            all.extend(best(view, at, &start, (heat, place.celsius), |run| {
                view.is_own(run) && !place.taken.holds(views, at, run)
            }));
        }
    }
    sensors(views, &all, heats.len(), place.by_choice)
}

fn best(
    view: &View,
    at: usize,
    start: &Start,
    (heat, celsius): (&Heat, Option<f64>),
    is_free: impl Fn(&Run) -> bool,
) -> Option<Warm> {
    let whole = (start.limit - start.low).min(16) as u8;
    let mut found: Vec<(f64, Warm)> = Vec::new();
    for len in 4..=whole {
        for signed in [false, true] {
            let Some(run) = start.run(len, signed).filter(&is_free) else { continue };
            let top = view.changes(run.big, run.end() - 1) > 0 || view.first(run.big, run.end() - 1);
            if !top || signed && len < 7 {
                continue; // the same as a shorter one
            }
            let counts = view.series(&run);
            for usual in WARM {
                let Some((score, together)) = judge(&counts, usual, heat, celsius) else { continue };
                let changing = run.end() < start.limit && view.changes(run.big, run.end()) > 0;
                let ones = (run.end()..start.limit.min(run.end() + 8)).any(|bit| view.first(run.big, bit));
                let score = score
                    * if changing {
                        0.05
                    } else if ones {
                        0.3
                    } else {
                        1.0
                    };
                let run = grown(view, run, start.limit);
                let weight = if start.shows { 1.0 } else { 0.9 } * if start.is_cut(view) { 0.8 } else { 1.0 };
                found.push((score, Warm { view: at, run, usual: *usual, together, sure: 0.0, weight }));
            }
        }
    }
    let all: f64 = found.iter().map(|(score, _)| score).sum();
    let (score, mut warm) = found.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    warm.sure = score / all;
    (warm.sure >= SURE).then_some(warm)
}

fn judge(counts: &[f32], usual: &Usual, heat: &Heat, celsius: Option<f64>) -> Option<(f64, f64)> {
    let numbers = fit::scaled(counts, usual.scale, usual.offset);
    let mut sorted: Vec<f32> = numbers.iter().copied().filter(|number| !number.is_nan()).collect();
    let (low, middle, high) =
        (fit::share(&mut sorted, 0.005), fit::share(&mut sorted, 0.5), fit::share(&mut sorted, 0.995));
    if !(low > -35.0 && high < 75.0 && high > low && high - low < 30.0) {
        return None;
    }
    let mut jumps: Vec<f32> =
        numbers.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|jump| !jump.is_nan()).collect();
    if fit::share(&mut jumps, 0.99) > (1.2 * usual.scale).max(0.6) {
        return None;
    }
    let pairs = heat.kelvin.iter().zip(&numbers).map(|(x, y)| (f64::from(*x), f64::from(*y)));
    let line = fit::line(pairs);
    if line.together < ALIKE {
        return None;
    }
    let rise = if heat.is_absolute { bell(line.slope.ln(), RISE_ERROR) } else { 1.0 };
    let place = match celsius {
        Some(air) => bell((middle - air - ABOVE_AIR.0) / ABOVE_AIR.1, 1.0),
        None => bell((middle - ANYWHERE.0) / ANYWHERE.1, 1.0),
    };
    let score = usual.weight * rise * place;
    (score > 1e-3).then_some((score, line.together))
}

fn bell(off: f64, error: f64) -> f64 {
    (-0.5 * (off / error).powi(2)).exp()
}

/// Fields at one place of every pack's messages, no two on the same bits.
fn sensors(views: &[View], all: &[Warm], packs: usize, by_choice: bool) -> Vec<Vec<Warm>> {
    let shape = |warm: &Warm| {
        let view = views.get(warm.view);
        (warm.run.big, warm.run.low, view.map(|view| (view.key.bytes, view.choice.is_some())))
    };
    let mut groups: Vec<(f64, Vec<Warm>)> = Vec::new();
    for head in all {
        let mut own: Vec<Warm> =
            all.iter().filter(|other| shape(other) == shape(head) && other.usual == head.usual).cloned().collect();
        own.sort_by_key(|warm| order(views, by_choice, warm.view, 0));
        if own.len() != packs {
            continue;
        }
        let score = own.iter().map(|warm| warm.together * warm.weight * warm.sure).sum::<f64>() / packs as f64;
        groups.push((score, own));
    }
    groups.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<Vec<Warm>> = Vec::new();
    for (_, group) in groups {
        let shares = |other: &Vec<Warm>| {
            other.iter().any(|a| {
                group.iter().any(|b| {
                    let bytes = views.get(a.view).map_or(0, View::bytes);
                    a.view == b.view && overlap(&a.run.mask(bytes), &b.run.mask(bytes))
                })
            })
        };
        if !kept.iter().any(shares) {
            kept.push(group);
        }
    }
    let front = |group: &Vec<Warm>| {
        group.first().map(|warm| {
            let bytes = views.get(warm.view).map_or(0, View::bytes);
            order(views, by_choice, warm.view, warm.run.front(bytes))
        })
    };
    kept.sort_by_key(front);
    kept
}

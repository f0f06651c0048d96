//! Temperatures: slow fields beside the bank's other values that rise with the heat its current makes, whatever the
//! air does over the day. What speaks for a field is counted in logarithms (nats).

use super::bits::Run;
use super::fit;
use super::heat::{Heat, Warms};
use super::keep::Key;
use super::scale::{Usual, WARM};
use super::starts::{Start, grown, starts};
use super::twins::Twins;
use super::view::View;
use super::volts::Taken;

/// How far the middle of a bank's temperatures usually is from the air and the heat that is reckoned, K.
const LEVEL_ERROR: f64 = 2.0;
/// Where they lie against the air when the heat cannot be reckoned, K: middle, and how far from it.
const ABOVE_AIR: (f64, f64) = (2.0, 3.0);
/// The same without a word about the air, °C.
const ANYWHERE: (f64, f64) = (18.0, 10.0);
/// By how much a sensor warms for each kelvin that is reckoned (judgement).
pub(super) const RISE: f64 = 1.15;
/// So many numbers of a slow field are not each other's echo (judgement, from fields that are no temperatures).
const NUMBERS: f64 = 20.0;
/// What neither the heat nor the day explains of a temperature, K, beside what is lost in rounding, counts.
const REST: f64 = 0.25;
const ROUNDED: f64 = 0.3;
/// What speaks for a field by its place: a message of the bank, one beside it, one further off; one for each pack.
const OWN: f64 = 2.0;
const BESIDE: f64 = 1.0;
const FAR: f64 = -1.5;
pub(super) const EACH: f64 = 1.5;
/// The same for another order of the bytes than that of another value in the message, or in another of the bank's.
const OTHER_ORDER_HERE: f64 = -4.0;
const OTHER_ORDER: f64 = -1.5;
/// How far the ids of messages beside each other are apart at most, and those of one bank.
const BESIDE_ID: u32 = 3;
const NEAR_ID: u32 = 64;
/// How much is left of a run above which bits change, or are always ones in its last byte, or in the next.
const CHANGING_ABOVE: f64 = 0.05;
const ONES_IN_BYTE: f64 = 0.03;
const ONES_ABOVE: f64 = 0.12;
/// Less than this is not looked at further.
const LEAST: f64 = -3.0;
/// The most that the heat of one field can say.
const MOST_HEAT: f64 = 25.0;
/// What is left unexplained at least, as a share.
const UNEXPLAINED: f64 = 1e-3;
/// By how many times more than it may be off a rise is far off (judgement).
pub(super) const FAR_RISE: f64 = 1.15;

/// A field that is a temperature.
#[derive(Debug, Clone)]
pub(super) struct Warm {
    pub(super) view: usize,
    pub(super) run: Run,
    pub(super) usual: Usual,
    pub(super) together: f64,
    pub(super) sure: f64,
    /// Times as much as the heat is reckoned to warm it that it does; `None` when that is not known.
    pub(super) rise: Option<f64>,
}

/// A message of the bank's other values, with the order of one that takes more than a byte.
#[derive(Debug, Clone, Copy)]
pub(super) struct Own {
    pub(super) key: Key,
    pub(super) big: Option<bool>,
}

impl Own {
    pub(super) fn of(view: &View, run: &Run) -> Self {
        Self { key: view.key, big: (!run.is_in_byte()).then_some(run.big) }
    }
}

/// Where to look for temperatures.
pub(super) struct Where<'a> {
    pub(super) taken: &'a Taken,
    /// The bank's other values.
    pub(super) own: &'a [Own],
    pub(super) by_choice: bool,
    pub(super) twins: &'a Twins,
    /// How warm it is around the bank, °C.
    pub(super) celsius: Option<f64>,
}

/// A run of bits that moves slowly.
#[derive(Debug, Clone)]
pub(super) struct Slow {
    pub(super) view: usize,
    pub(super) run: Run,
    /// Counts: nearly the least, in the middle, nearly the most.
    pub(super) counts: (f64, f64, f64),
    /// Counts from one point to the next, hardly ever more.
    jump: f64,
    /// How it goes with the heat.
    pub(super) warms: Warms,
    /// What speaks for these bits.
    weight: f64,
}

/// Every slow run of the bank's messages and those near them.
pub(super) fn find(views: &[View], heat: &Heat, place: &Where) -> Vec<Slow> {
    let mut all: Vec<Slow> = Vec::new();
    for (at, view) in views.iter().enumerate() {
        let Some(near) = nearness(&view.key, place.own) else { continue };
        for start in starts(view).into_iter().map(Start::whole) {
            let is_free = |run: &Run| view.is_own(run) && !place.taken.holds(views, at, run);
            let mut found = runs(view, at, &start, heat, is_free);
            found.iter_mut().for_each(|slow| slow.weight += near + order(&slow.run, &view.key, place.own));
            found.retain(|slow| WARM.iter().any(|usual| slow.speaks(usual, heat, place.celsius).0 > LEAST));
            all.extend(found);
        }
    }
    all
}

/// What a message's place says; `None` when it is too far off.
fn nearness(key: &Key, own: &[Own]) -> Option<f64> {
    let apart = |other: &Key| key.id.key().abs_diff(other.id.key());
    let near = own.iter().map(|own| own.key).filter(|other| other.channel == key.channel);
    match near.map(|other| (apart(&other), other != *key)).min()? {
        (_, false) => Some(OWN),
        (apart, _) if apart <= BESIDE_ID => Some(BESIDE),
        (apart, _) if apart <= NEAR_ID => Some(FAR),
        _ => None,
    }
}

/// What the order of its bytes says: a message has one, and a bank mostly.
fn order(run: &Run, key: &Key, own: &[Own]) -> f64 {
    if run.is_in_byte() {
        return 0.0;
    }
    let orders = |here: bool| own.iter().filter(move |own| !here || own.key == *key).filter_map(|own| own.big);
    if orders(true).any(|big| big != run.big) {
        OTHER_ORDER_HERE
    } else if orders(false).any(|big| big != run.big) {
        OTHER_ORDER
    } else {
        0.0
    }
}

/// Every slow run from a start.
fn runs(view: &View, at: usize, start: &Start, heat: &Heat, is_free: impl Fn(&Run) -> bool) -> Vec<Slow> {
    let mut all = Vec::new();
    let whole = (start.limit - start.low).min(16) as u8;
    let cut: f64 = match (start.shows, start.is_cut(view)) {
        (true, false) => 1.0,
        (true, true) => 0.5,
        (false, false) => 0.9,
        (false, true) => 0.1,
    };
    for len in 3..=whole {
        for signed in [false, true] {
            let run = if signed { start.signed(view, len) } else { start.run(len, false) };
            let Some(run) = run.filter(&is_free) else { continue };
            let top = view.changes(run.big, run.end() - 1) > 0 || view.first(run.big, run.end() - 1);
            if !top || signed && len < 7 {
                continue; // the same as a shorter one
            }
            let changing = run.end() < start.limit && view.changes(run.big, run.end()) > 0;
            let is_one = |bit: &u16| view.first(run.big, *bit);
            let above = if changing {
                CHANGING_ABOVE
            } else if (run.end()..run.end().next_multiple_of(8).min(start.limit)).any(|bit| is_one(&bit)) {
                ONES_IN_BYTE
            } else if (run.end()..start.limit.min(run.end() + 8)).any(|bit| is_one(&bit)) {
                ONES_ABOVE
            } else {
                1.0
            };
            let counts = view.series(&run);
            let Some(slow) = slow(&counts) else { continue };
            let warms = heat.warms(&counts);
            if warms.is_charge {
                continue;
            }
            let run = grown(view, run, start.limit);
            all.push(Slow { view: at, run, warms, weight: (cut * above).ln(), ..slow });
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
    let counts = (low, middle, high);
    is_slow.then(|| Slow { view: 0, run, counts, jump, warms: Warms::default(), weight: 0.0 })
}

impl Slow {
    /// The same bits in another message; `None` when they do not move slowly there.
    pub(super) fn read(&self, at: usize, view: &View, heat: &Heat) -> Option<Self> {
        let counts = view.series(&self.run);
        let slow = slow(&counts)?;
        Some(Self { view: at, run: self.run, warms: heat.warms(&counts), weight: self.weight, ..slow })
    }

    /// What speaks for it as a temperature when it is written this way, in all, and what of it is the heat's.
    pub(super) fn speaks(&self, usual: &Usual, heat: &Heat, celsius: Option<f64>) -> (f64, f64) {
        let at = |count: f64| count * usual.scale + usual.offset;
        let (low, middle, high) = (at(self.counts.0), at(self.counts.1), at(self.counts.2));
        let usually = low > -35.0 && high < 75.0 && high - low < 30.0;
        if !usually || self.jump * usual.scale > (1.2 * usual.scale).max(0.6) {
            return (f64::NEG_INFINITY, 0.0);
        }
        let (usually, error) = match celsius {
            Some(air) if heat.is_absolute => (air + RISE * self.warms.middle, LEVEL_ERROR),
            Some(air) => (air + ABOVE_AIR.0, ABOVE_AIR.1),
            None => ANYWHERE,
        };
        let off = (middle - usually) / error;
        let warm = self.heat(usual, heat);
        let rest = self.warms.line.rest * usual.scale / REST.hypot(ROUNDED * usual.scale);
        (usual.weight.ln() + self.weight + skirted(off) + skirted(rest) + warm, warm)
    }

    /// How much better it is explained with the heat than without it, less what it would lose by rising as much as is
    /// reckoned.
    fn heat(&self, usual: &Usual, heat: &Heat) -> f64 {
        let line = &self.warms.line;
        if line.slope == 0.0 {
            return 0.0;
        }
        let alike = line.together * line.together;
        let says = |explained: f64| -0.5 * NUMBERS * (1.0 - explained).max(UNEXPLAINED).ln();
        if !heat.is_absolute {
            return says(alike.copysign(line.together)).min(MOST_HEAT);
        }
        let reckoned = RISE / usual.scale / line.slope;
        // as a share of what it really rose: the nearest that may be
        let rise = if reckoned > 0.0 {
            1.0_f64.clamp(reckoned / heat.error, reckoned * heat.error)
        } else {
            reckoned / heat.error
        };
        let lost = says(alike) - says(alike * rise * (2.0 - rise));
        says(alike).min(MOST_HEAT) - lost
    }

    /// By how many times as much as the heat is reckoned to warm it that it rises, as a logarithm, and how well this can
    /// be told; `None` when it does not rise with it.
    pub(super) fn rise(&self, usual: &Usual) -> Option<(f64, f64)> {
        let line = &self.warms.line;
        let alike = line.together * line.together;
        let rise = line.slope * usual.scale / RISE;
        (rise > 0.0).then(|| (rise.ln(), ((1.0 - alike) / alike / NUMBERS).sqrt()))
    }
}

/// What is left of something that is so many of its errors off: a bell with wide skirts.
fn skirted(off: f64) -> f64 {
    -2.0 * (1.0 + off * off / 3.0).ln()
}

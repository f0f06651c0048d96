//! The order in which the cells of a pack reach a knee: the charge that has passed when each comes to a voltage on
//! the steep part, going up at the top or down at the bottom.

use super::polar::Drive;
use crate::curve::{HYSTERESIS_PLETT, OCV_PLETT_MID, OCV_SUNIL};
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// A sweep counts from where every cell was at least so far from the mark, V.
const CLEAR: f64 = 0.015;
/// A second mark before the first, for how steep the knee is, V.
const FOOT: f64 = 0.03;
/// On the plateau, where the marks are crossed when the current adds more than was taken off, so many volts are more of
/// the capacity than this; published curves have 0.03 at most at a knee. Judgement.
const FLAT: f64 = 0.07;
/// What was counted between two arrivals is off by this share: the current sensor's gain.
const COUNTED: f64 = 0.01;
/// At the bottom by this: cells do not come to the mark with the same charge left in them; judgement.
const COUNTED_LOW: f64 = 0.08;
/// What a cell's reading may be off, V; judgement.
const READING: f64 = 0.002;
/// How far the surface of the particles runs ahead of their inside, as a share of the capacity, for a steady 1C at
/// 25 °C, and the error of that; judgement between nothing and what a long taper shows.
const AHEAD: f64 = 0.08;
/// In the cold the inside lags by more than that: a cell that has not come is judged before the end of the charge only up
/// to this resistance, as a multiple of that at 25 °C; judgement.
const TELLS_WARM: f64 = 1.4;
/// Near empty the corrected voltage of a cell tells how much is left, below this, V, ...
const TELLS_BELOW: f64 = 3.285;
/// ... but for this, V, and this share of what the current added, at a quarter of a volt for 1C and 25 °C; judgement.
const TELLS_OFF: f64 = 0.012;
const LOAD_OFF: f64 = 0.25;
/// Published curves are unlike there, and so is what the current adds to a cell near empty: between 3.0 and 3.1 V cells
/// differ by this share in how much charge that is (Plett, Naumann, Sunil & Pattipati; docs/sources.md).
const CURVE_OFF: f64 = 0.4;
/// The voltage of a cell that has not come to the upper mark tells only once the current adds less than this, V: on the
/// flat foot of the knee ten millivolts are a tenth of the capacity. And all of it is left open.
const DIED_AWAY: f64 = 0.010;
/// Below the foot it tells no more than this share of the capacity: there the published curves are flat.
const FOOT_AT: f64 = 0.02;
/// A cell that was near empty does not stand so far above the lower mark again while it is drawn, V: what came back was
/// a load on a poor connection.
const BACK: f64 = 0.12;
/// The sweep ends when the current has fallen below this, as a multiple of the capacity, ...
const ENDS: f64 = 0.01;
/// ... and below this share of that at the first crossing.
const FALLS_TO: f64 = 0.25;

/// One end of the charge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Charging into the upper knee.
    Top,
    /// Drawing into the lower one.
    Bottom,
}

/// What one tick brings to a sweep. Charge, rate and distance count in the direction of the sweep.
#[derive(Debug, Clone, Copy)]
pub struct Sweep<'a> {
    /// Engine time.
    pub now: Stamp,
    /// Charge passed so far, Ah.
    pub passed: f64,
    /// What the current adds, as it flows.
    pub drive: Drive,
    /// Rated capacity, Ah.
    pub capacity: f64,
    /// What the current sensor may be off at zero, A.
    pub offset: f64,
    /// By cell: how far its corrected voltage is beyond the mark, V, and the error of that by its resistance; none where
    /// nothing came.
    pub beyond: &'a [Option<(f64, f64)>],
    /// What the resolution of a cell's voltage leaves open, V.
    pub grain: f64,
    /// What balancing may draw meanwhile from a cell that has come, A.
    pub bleed: f64,
    /// Which end it goes to.
    pub end: End,
    /// The voltage of the mark, V.
    pub mark: f64,
    /// Warm enough.
    pub warm: bool,
}

/// A cell on its way.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Runner {
    /// Its last reading: distance beyond the mark, charge passed.
    seen: Option<(f64, f64)>,
    /// Where it was first seen beyond the foot: distance beyond the mark, charge.
    foot: Option<(f64, f64)>,
    /// Charge at the mark, the error of that by the reading's time, and the slow current then.
    mark: Option<(f64, f64, f64)>,
    /// A second reading confirmed it.
    sure: bool,
    /// Error of its corrected voltage by its resistance, V.
    off: f64,
    /// It came when the current had changed too far: the charge then is the least that it can be.
    late: bool,
}

/// Watches one end.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct KneeWatch {
    runners: Vec<Runner>,
    /// Every cell was clear of the mark.
    armed: bool,
    /// The rate at the first crossing, and when.
    first: Option<(f64, Stamp)>,
    /// The current has left that of the first crossing too far: from here on there are only bounds.
    late: bool,
    /// Charge passed when the first cell came, at the tick at which that is sure.
    began: Option<f64>,
    /// When a cell came that was not at the knee, at the tick at which that is seen.
    taken_back: Option<Stamp>,
    /// Since when the current has been next to nothing, while no reading after that has come.
    over: Option<Stamp>,
    /// Charge passed, and the slow current then, where they tell most of a cell that had not come: while a current
    /// falls, more passes and less of it is certain.
    most: Option<(f64, f64)>,
}

/// When one cell came to the mark.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Arrival {
    /// Charge after the first cell's, Ah; of a cell that had not come, the least that it can be.
    pub after: f64,
    /// Half width of that, Ah.
    pub off: f64,
    /// It came.
    pub came: bool,
}

impl KneeWatch {
    /// Whether the state is no larger than a pack can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.runners.len() <= crate::model::MAX_CELLS
    }

    /// Charge passed when the first cell came to the mark, at the tick at which two of its readings were beyond it.
    #[must_use]
    pub fn began(&self) -> Option<f64> {
        self.began
    }

    /// When a cell came that was not at the knee, at the tick at which that is seen.
    #[must_use]
    pub fn taken_back(&self) -> Option<Stamp> {
        self.taken_back
    }

    /// A cell has come, and how the others do is not told yet.
    #[must_use]
    pub fn is_under_way(&self) -> bool {
        self.first.is_some()
    }

    fn first_mark(&self) -> Option<f64> {
        let sure = self.runners.iter().filter(|runner| runner.sure);
        sure.filter_map(|runner| runner.mark.map(|(passed, ..)| passed)).min_by(f64::total_cmp)
    }

    /// Nothing counts any more: a gap in the data.
    pub fn lose(&mut self) {
        if self.armed || !self.runners.is_empty() {
            *self = Self { runners: std::mem::take(&mut self.runners), ..Self::default() };
            self.runners.clear();
        }
    }

    /// Moves on by one tick; when a sweep has ended with at least one cell at the mark, how they came.
    pub fn tick(&mut self, sweep: &Sweep, limits: &Limits) -> Option<Vec<Arrival>> {
        (self.began, self.taken_back) = (None, None);
        if let Some((_, at)) = self.first.filter(|_| self.is_back(sweep)) {
            self.lose();
            self.taken_back = Some(at);
            return None;
        }
        if self.is_over(sweep) {
            return self.end(sweep);
        }
        self.over = None;
        self.late |= self.is_late(sweep, limits);
        self.note_most(sweep);
        self.runners.resize(sweep.beyond.len(), Runner::default());
        let most = self.highest(sweep);
        if self.first.is_none() && most < -CLEAR {
            self.armed = true;
        }
        if !self.armed || sweep.drive.rate <= 0.0 || most < -CLEAR - FOOT {
            self.follow(sweep, self.armed && most >= -CLEAR - FOOT);
            return None;
        }
        let mut begins = false;
        for (runner, beyond) in self.runners.iter_mut().zip(sweep.beyond) {
            if let Some((beyond, off)) = beyond {
                let was = runner.mark;
                runner.off = *off;
                runner.read(*beyond, sweep);
                if was.is_none() || runner.mark.is_none() {
                    runner.late = self.late && runner.mark.is_some();
                }
                begins |= runner.sure;
            }
        }
        if begins && self.first.is_none() {
            if !(sweep.warm && sweep.drive.rate <= limits.get(LimitId::KneeMostRate)) {
                self.lose();
                return None;
            }
            self.first = Some((sweep.drive.rate, sweep.now));
            self.began = self.first_mark();
        }
        if self.runners.iter().all(|runner| runner.sure) {
            let (ended, began) = (self.arrivals(sweep), self.began);
            self.lose();
            self.began = began;
            return ended;
        }
        None
    }

    /// Ends the sweep: at the bottom once a reading without the current has shown that the first cell was really there.
    fn end(&mut self, sweep: &Sweep) -> Option<Vec<Arrival>> {
        let since = *self.over.get_or_insert(sweep.now);
        let seen = self.runners.iter().zip(sweep.beyond).any(|(runner, beyond)| runner.sure && beyond.is_some());
        if sweep.end == End::Bottom && !(seen && sweep.now > since) {
            return None;
        }
        let ended = self.arrivals(sweep);
        self.lose();
        ended
    }

    /// A cell that had come to the lower mark stands far above it again.
    fn is_back(&self, sweep: &Sweep) -> bool {
        let above = |beyond: &Option<(f64, f64)>| beyond.is_some_and(|(beyond, _)| beyond < -BACK);
        sweep.end == End::Bottom
            && self.runners.iter().zip(sweep.beyond).any(|(runner, beyond)| runner.sure && above(beyond))
    }

    /// How far the furthest cell is, by its last reading; beyond everything while one was never read.
    fn highest(&self, sweep: &Sweep) -> f64 {
        let read = sweep.beyond.iter().map(|read| read.map(|(beyond, _)| beyond));
        let last = self.runners.iter().map(|runner| runner.seen.map(|(beyond, _)| beyond));
        read.zip(last).map(|(read, last)| read.or(last).unwrap_or(f64::MAX)).fold(f64::MIN, f64::max)
    }

    /// While nothing counts only the last readings are kept, and what was passed on the way up.
    fn follow(&mut self, sweep: &Sweep, keep: bool) {
        for (runner, beyond) in self.runners.iter_mut().zip(sweep.beyond) {
            let seen = beyond.map(|(beyond, _)| (beyond, sweep.passed)).or(runner.seen);
            *runner = Runner { seen, foot: runner.foot.filter(|_| keep), ..Runner::default() };
        }
    }

    /// Keeps the moment that tells most of a cell that has not come.
    fn note_most(&mut self, sweep: &Sweep) {
        let warm = sweep.drive.ratio <= TELLS_WARM;
        let Some(slow_first) = self.earliest().map(|(_, _, slow)| slow).filter(|_| warm && self.first.is_some()) else {
            return;
        };
        let tells = |(passed, slow): (f64, f64)| passed - 2.0 * sweep.lag(slow_first - slow).abs();
        let now = (sweep.passed, sweep.drive.slow);
        if self.most.is_none_or(|most| tells(now) > tells(most)) {
            self.most = Some(now);
        }
    }

    /// The mark of the cell that came first.
    fn earliest(&self) -> Option<(f64, f64, f64)> {
        self.runners.iter().filter(|r| r.sure).filter_map(|r| r.mark).min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The current has left that of the first crossing too far for a comparison.
    fn is_late(&self, sweep: &Sweep, limits: &Limits) -> bool {
        self.first.is_some_and(|(first, _)| (sweep.drive.rate - first).abs() > limits.get(LimitId::KneeSameRate))
    }

    /// The current is next to nothing, or has turned.
    fn is_over(&self, sweep: &Sweep) -> bool {
        self.first.is_some_and(|(first, _)| !sweep.warm || sweep.drive.rate < ENDS.min(first * FALLS_TO))
    }

    /// The sweep as it stands.
    fn arrivals(&self, sweep: &Sweep) -> Option<Vec<Arrival>> {
        let (_, since) = self.first?;
        let (from, _, slow_first) = self.earliest()?;
        if self.steepest() * FOOT > FLAT * sweep.capacity {
            return None;
        }
        let offset = sweep.now.since(since) / 3600.0 * (sweep.offset + sweep.bleed);
        let lag = |slow: f64| sweep.lag(slow_first - slow);
        let counted = if sweep.end == End::Top { COUNTED } else { COUNTED_LOW };
        let arrival = |runner: &Runner| {
            let steep = runner.steepness().unwrap_or_else(|| self.steepest());
            let volts = error_volts(sweep, runner.off);
            // what one reading alone has shown beyond the mark may have come there already
            let (passed, scan, slow) = runner.mark.unwrap_or_else(|| {
                let now = (sweep.passed, sweep.drive.slow);
                let (passed, slow) = self.most.filter(|_| sweep.end == End::Top).unwrap_or(now);
                (passed, 0.0, slow)
            });
            let raw = passed - from;
            let parts = [scan, volts * steep, lag(slow), counted * raw, offset];
            let off = parts.iter().map(|part| part * part).sum::<f64>().sqrt();
            if let Some(arrival) = self.by_voltage(runner, sweep, raw) {
                return arrival;
            }
            let came = runner.sure && !runner.late && runner.mark.is_some();
            let after = raw - lag(slow);
            match self.at_least(runner, sweep).filter(|least| !runner.sure && *least > after - off) {
                Some(after) => Arrival { after, off: 0.0, came },
                None => Arrival { after, off, came },
            }
        };
        Some(self.runners.iter().map(arrival).collect())
    }

    /// A cell that has not come to the lower mark when the discharge ends: how much later it would come, by its voltage
    /// where that tells.
    fn by_voltage(&self, runner: &Runner, sweep: &Sweep, passed: f64) -> Option<Arrival> {
        let mark = sweep.mark;
        if sweep.end == End::Top || runner.mark.is_some() {
            return None;
        }
        let volts = mark - runner.seen?.0;
        let load = 0.25 * sweep.drive.ratio * self.first?.0;
        let lag = sweep.lag(self.earliest()?.2 - sweep.drive.slow);
        let off = TELLS_OFF.hypot(LOAD_OFF * load).hypot(runner.off);
        let later = |volts: f64| (drawn_curve(volts) - drawn_curve(mark)).max(0.0) * sweep.capacity;
        let (low, high) = (later(volts - off), later(volts + off));
        let came = volts + off < TELLS_BELOW;
        let after = if came { later(volts) } else { low };
        let half = if came { ((high - low) / 2.0).max(after - low) } else { 0.0 }.hypot(CURVE_OFF * after);
        // At another current than the first cell's nothing is measured beside it: all of it is as unsure as the curve.
        let unsure = if self.late { CURVE_OFF } else { COUNTED_LOW };
        Some(Arrival { after: passed + after, off: half.hypot(unsure * passed).hypot(lag), came })
    }

    /// A cell that has not come to the upper mark when the current has died away: how much less it holds at least than
    /// the first, by the voltages of both and the published curve that makes least of them.
    fn at_least(&self, runner: &Runner, sweep: &Sweep) -> Option<f64> {
        if sweep.end == End::Bottom || sweep.drive.volts > DIED_AWAY {
            return None;
        }
        let came = self.runners.iter().filter(|runner| runner.sure);
        let first = came.filter_map(|runner| runner.seen).map(|(beyond, _)| beyond).max_by(f64::total_cmp)?;
        let off = error_volts(sweep, runner.off).hypot(sweep.drive.volts);
        let (first, own) = (sweep.mark + first - off, sweep.mark + runner.seen?.0 + off);
        let one = charged_curve(first) - charged_curve(own);
        let other = OCV_SUNIL.inverse(first) - OCV_SUNIL.inverse(own);
        let least = one.min(other).min(FOOT_AT);
        Some(least * sweep.capacity - 2.0 * sweep.lag(sweep.drive.slow.max(0.0)))
    }

    /// Flattest knee of those that came, Ah per volt.
    fn steepest(&self) -> f64 {
        self.runners.iter().filter_map(Runner::steepness).fold(0.0, f64::max)
    }
}

impl Sweep<'_> {
    /// Charge by which the inside of the particles lags less when the slow current is so much smaller, Ah.
    fn lag(&self, slower: f64) -> f64 {
        AHEAD * self.drive.ratio * slower * self.capacity
    }
}

/// What a corrected voltage may be off against its siblings', V.
fn error_volts(sweep: &Sweep, own: f64) -> f64 {
    [own, READING, sweep.grain / 2.0].iter().map(|part| part * part).sum::<f64>().sqrt()
}

/// State of charge by the voltage of a cell that was charged.
fn charged_curve(volts: f64) -> f64 {
    OCV_PLETT_MID.inverse(volts - HYSTERESIS_PLETT.at(OCV_PLETT_MID.inverse(volts)) / 2.0)
}

/// State of charge by the voltage of a cell that is drawn, near empty.
fn drawn_curve(volts: f64) -> f64 {
    let middle = OCV_PLETT_MID.inverse(volts);
    OCV_PLETT_MID.inverse(volts + HYSTERESIS_PLETT.at(middle) / 2.0)
}

impl Runner {
    fn read(&mut self, beyond: f64, sweep: &Sweep) {
        let passed = sweep.passed;
        let at = |mark: f64| match self.seen {
            Some((before, charge)) if before < mark && beyond > before => {
                let part = (mark - before) / (beyond - before);
                (charge + (passed - charge) * part, (passed - charge) / 2.0)
            }
            _ => (passed, 0.0),
        };
        if self.foot.is_none() && beyond >= -FOOT {
            let before = self.seen.is_some_and(|(before, _)| before < -FOOT);
            self.foot = Some(if before { (-FOOT, at(-FOOT).0) } else { (beyond, passed) });
        }
        match self.mark {
            None if beyond >= 0.0 => {
                let (charge, scan) = at(0.0);
                self.mark = Some((charge, scan, sweep.drive.slow));
            }
            Some(_) if !self.sure && beyond >= 0.0 => self.sure = true,
            Some(_) if !self.sure => self.mark = None,
            _ => {}
        }
        self.seen = Some((beyond, passed));
    }

    /// Charge per volt between foot and mark, Ah/V.
    fn steepness(&self) -> Option<f64> {
        let (from, charge) = self.foot?;
        (from < -FOOT / 3.0).then_some(((self.mark?.0 - charge) / -from).max(0.0))
    }
}

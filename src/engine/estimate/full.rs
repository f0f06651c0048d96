//! When a charge has come to its end: the moment at which the state of charge is known.

use super::taper::Taper;
use crate::curve::{Scale, Table};
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// State of charge by the voltage held, at the end of a taper to C/25.
static BY_VOLTAGE: Table = Table {
    name: "state of charge by voltage held (V per cell) at the end of a taper",
    source: "computed for this program from the open-circuit table of an open LFP test set (esctoolbox-python, Plett)",
    scale: Scale::Linear,
    points: &[(3.40, 0.95), (3.45, 0.97), (3.50, 0.98), (3.60, 1.0)],
};
/// The mean and the current are smoothed over about this long, s.
const SMOOTH_SECS: f64 = 10.0;
/// A float below the voltage of an anchor says less and less: at the lowest float it proves only this.
const FLOAT_PROVES: f64 = 0.85;
/// A tail below C/50, or hours at a full charge, prove at least this.
const LONG_PROVES: f64 = 0.98;
/// So far above the median a cell has run ahead, V.
const RUN_AHEAD: f64 = 0.1;
/// A charge has stopped when it lost so much of its current at once.
const STOPPED: f64 = 0.25;

/// What a full charge says of the state of charge, as fractions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Full {
    /// At least.
    pub low: f64,
    /// Most likely.
    pub best: f64,
    /// At most.
    pub high: f64,
    /// The current was seen to decay: fresh evidence, not only a voltage that stands.
    pub tapered: bool,
    /// Full enough for 'last full'.
    pub last_full: bool,
}

/// Watches for the end of a charge.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct FullWatch {
    mean: f64,
    rate: f64,
    /// The voltage held, V: the highest of this charge.
    top: f64,
    /// A stretch over which the voltage stood: since when, lowest, highest.
    stood: Option<(Stamp, f64, f64)>,
    /// Since when it has floated.
    float: Option<Stamp>,
    /// Since when it has been full.
    full: Option<Stamp>,
    /// The cell that ran ahead at the tick before, while charging at this rate.
    ahead: Option<(u8, f64)>,
    /// The cell that ended the latest charge.
    ended_by: Option<u8>,
}

impl FullWatch {
    /// Moves on by one tick; what the charge says when it is at its end.
    pub fn tick(&mut self, view: &View, taper: &Taper, limits: &Limits) -> Option<Full> {
        self.watch_end(view, limits);
        let open = view.switches.charge_path == Some(false);
        let (Some(mean), Some(rate), false) = (view.mean, view.rate(), open) else {
            *self = Self { ended_by: self.ended_by, ..Self::default() };
            return None;
        };
        self.smooth(mean, rate, view.secs());
        self.stand(view.now, limits);
        let lowest = view.lowest().map_or(mean, |cell| cell.volts);
        self.watch_float(view, lowest, limits);
        let cells = view.mean_from_pack || lowest >= limits.get(LimitId::AnchorCellMin);
        let held = self.mean >= limits.get(LimitId::AnchorMean) && cells;
        let within = self.mean >= self.top - limits.get(LimitId::AnchorWithin) * 1e-3;
        let tapered = held && within && rate > 0.0 && taper.is_done(view.now, limits);
        let stood = held && !view.mean_from_pack && self.has_stood(view.now, limits);
        if tapered || stood {
            self.full = self.full.or(Some(view.now));
            self.ended_by = None;
            return Some(self.full(view.now, tapered, taper, limits));
        }
        if self.mean < BY_VOLTAGE.points[0].0 {
            self.full = None;
        }
        self.floated(view.now, limits)
    }

    fn smooth(&mut self, mean: f64, rate: f64, secs: f64) {
        if self.top == 0.0 {
            (self.mean, self.rate) = (mean, rate);
        }
        let part = secs / (secs + SMOOTH_SECS);
        self.mean += (mean - self.mean) * part;
        self.rate += (rate - self.rate) * part;
    }

    /// Keeps the voltage held and the stretch over which it stands.
    fn stand(&mut self, now: Stamp, limits: &Limits) {
        self.top = if self.mean < limits.get(LimitId::AnchorCellMin) { self.mean } else { self.top.max(self.mean) };
        let small = self.rate > 0.0 && self.rate < limits.get(LimitId::AnchorTail);
        let (since, low, high) = self.stood.filter(|_| small).unwrap_or((now, self.mean, self.mean));
        let (low, high) = (low.min(self.mean), high.max(self.mean));
        let stands = high - low <= limits.get(LimitId::AnchorWithin) * 1e-3;
        self.stood = Some(if stands { (since, low, high) } else { (now, self.mean, self.mean) }).filter(|_| small);
        if self.has_stood(now, limits) {
            self.top = high;
        }
    }

    fn has_stood(&self, now: Stamp, limits: &Limits) -> bool {
        self.stood.is_some_and(|(since, ..)| now.since(since) >= limits.get(LimitId::AnchorHoldMinutes) * 60.0)
    }

    fn full(&self, now: Stamp, tapered: bool, taper: &Taper, limits: &Limits) -> Full {
        let half = limits.get(LimitId::AnchorBand) / 100.0;
        let at = BY_VOLTAGE.at(self.mean);
        let long = self.full.is_some_and(|since| now.since(since) >= limits.get(LimitId::AnchorFloatHours) * 3600.0);
        let proved = taper.is_trickle(now, limits) || long;
        let (low, high) = if proved { ((at - half).max(LONG_PROVES), 1.0) } else { (at - half, (at + half).min(1.0)) };
        let best = if proved { at.max((1.0 + LONG_PROVES) / 2.0) } else { at };
        Full { low, best, high, tapered, last_full: self.mean >= limits.get(LimitId::AnchorLastFull) }
    }

    fn watch_float(&mut self, view: &View, lowest: f64, limits: &Limits) {
        let trickles = self.rate > 0.0 && self.rate < limits.get(LimitId::AnchorTrickle);
        let floats = trickles && !view.mean_from_pack && lowest >= limits.get(LimitId::AnchorFloat);
        self.float = if floats { self.float.or(Some(view.now)) } else { None };
    }

    /// A float for hours. On the plateau's upper end it proves less: there the voltage hardly rises with the charge.
    fn floated(&self, now: Stamp, limits: &Limits) -> Option<Full> {
        let since = self.float?;
        if now.since(since) < limits.get(LimitId::AnchorFloatHours) * 3600.0 {
            return None;
        }
        let half = limits.get(LimitId::AnchorFloatBand) / 100.0;
        let best = BY_VOLTAGE.points[0].1;
        let (float, anchor) = (limits.get(LimitId::AnchorFloat), limits.get(LimitId::AnchorMean));
        let part = ((self.mean - float) / (anchor - float).max(1e-6)).clamp(0.0, 1.0);
        let low = FLOAT_PROVES + (best - half - FLOAT_PROVES) * part;
        Some(Full { low, best, high: best + half, tapered: false, last_full: false })
    }

    /// Notes the cell that ran ahead when the charge stops at once.
    fn watch_end(&mut self, view: &View, limits: &Limits) {
        let Some(rate) = view.rate() else { return self.ahead = None };
        if let Some((cell, before)) = self.ahead
            && rate < before * STOPPED
        {
            self.ended_by = Some(cell);
        }
        let highest = view.highest().zip(view.median);
        let ahead = highest
            .filter(|(cell, median)| cell.volts >= limits.get(LimitId::HighCellAt) && cell.volts - median >= RUN_AHEAD);
        self.ahead =
            ahead.map(|(cell, _)| (cell.cell, rate)).filter(|(_, rate)| *rate > limits.get(LimitId::AnchorTrickle));
    }

    /// The cell that ended the latest charge before it was full; as full as it will get.
    #[must_use]
    pub fn ended_by(&self) -> Option<u8> {
        self.ended_by
    }
}

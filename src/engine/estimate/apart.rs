//! How far the cells of a pack stand apart, in ampere-hours: at the top, at the bottom, and from week to week.

use super::balance::Balancing;
use super::charge::Charge;
use super::knee::{End, KneeWatch, Sweep};
use super::polar::{Drive, Polar};
use super::stress::Around;
use super::visit::{Span, Visit};
use crate::engine::gauge::Gauge;
use crate::engine::view::View;
use crate::model::limits::{L, Limits};
use crate::model::{MAX_CELLS, Stamp};
use serde::{Deserialize, Serialize};

/// Tops that are kept for comparison over time.
const TOPS: usize = 8;
/// Days between two tops that are kept.
const TOP_EVERY: f64 = 2.5;
/// Older tops say nothing of the present, days.
const TOP_OLDEST: f64 = 45.0;
/// A gap in the data longer than this ends a sweep, s.
const GAP: f64 = 200.0;

/// What a cell lost against its siblings between two tops.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// Days between the two.
    pub days: f64,
    /// What it fell behind in that time, Ah.
    pub lost: Span,
    /// How far behind the median it stands now, Ah.
    pub behind: Span,
}

/// What balancing did to a cell between two tops.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Bled {
    /// Hours in which it was bled and the lowest cell was not.
    pub hours: f64,
    /// By how much it came nearer to the last cell, Ah.
    pub fell: f64,
    /// Half width of that, Ah.
    pub off: f64,
}

/// How far apart the cells stand.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Apart {
    polar: Polar,
    top_watch: KneeWatch,
    bottom_watch: KneeWatch,
    blind: f64,
    /// The latest visit of the upper knee.
    pub top: Option<Visit>,
    /// The latest visit of the lower knee.
    pub bottom: Option<Visit>,
    tops: Vec<Visit>,
    /// By cell, as of the latest top.
    pub drift: Vec<Option<Drift>>,
    /// By cell, as of the latest top.
    pub bled: Vec<Option<Bled>>,
    /// Balancing at work.
    pub balancing: Balancing,
    /// Where the first cell came to the lower mark, at the tick at which that is sure: net charge counted, Ah, and
    /// the rate drawn, as a multiple of the capacity.
    pub low_mark: Option<(f64, f64)>,
}

impl Apart {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, charge: &Charge, states: &[Gauge], around: &Around) {
        self.balancing.tick(view, states, around);
        let drive = self.polar.tick(view, around.limits);
        let gap = charge.blind_secs > self.blind || view.secs() > GAP;
        self.blind = charge.blind_secs;
        self.low_mark = None;
        let Some((drive, capacity)) = drive.zip(view.capacity).filter(|_| !gap && view.sees_all_cells()) else {
            self.top_watch.lose();
            self.bottom_watch.lose();
            return;
        };
        let ready = Ready { view, drive, capacity, net: charge.net(), around };
        if view.switches.charge_path != Some(false)
            && let Some(arrivals) = ready.sweep(End::Top, &mut self.top_watch)
        {
            self.take_top(Visit::new(view.now, &arrivals, &self.balancing.hours), around.limits);
        }
        let bottom = ready.sweep(End::Bottom, &mut self.bottom_watch);
        self.low_mark = self.bottom_watch.began().map(|passed| (-passed, -drive.slow));
        if let Some(arrivals) = bottom {
            let visit = Visit::new(view.now, &arrivals, &[]);
            self.bottom = Some(visit);
        }
    }

    /// How much less than the median a cell holds, Ah, once both knees were seen of it.
    #[must_use]
    pub fn short(&self, cell: usize, limits: &Limits) -> Option<Span> {
        let (top, bottom) = (self.top.as_ref()?, self.bottom.as_ref()?);
        let days = (top.at.since(bottom.at) / 86_400.0).abs();
        if days > limits.get(L::EndsApartDays) {
            return None;
        }
        Some(top.ahead.get(cell)?.plus(bottom.ahead.get(cell)?))
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        let visits = self.top.iter().chain(&self.bottom).chain(&self.tops);
        self.tops.len() <= TOPS
            && self.drift.len() <= MAX_CELLS
            && self.bled.len() <= MAX_CELLS
            && self.balancing.hours.len() <= MAX_CELLS
            && self.balancing.is_within_bounds()
            && self.top_watch.is_within_bounds()
            && self.bottom_watch.is_within_bounds()
            && visits.into_iter().all(Visit::is_within_bounds)
    }

    fn take_top(&mut self, visit: Visit, limits: &Limits) {
        self.tops.retain(|top| days(top.at, visit.at) <= TOP_OLDEST && top.ahead.len() == visit.ahead.len());
        self.drift = (0..visit.ahead.len()).map(|cell| self.drift_of(cell, &visit, limits)).collect();
        self.bled = (0..visit.ahead.len()).map(|cell| self.bled_of(cell, &visit)).collect();
        let room = self.tops.last().is_none_or(|top| days(top.at, visit.at) >= TOP_EVERY);
        if room {
            if self.tops.len() >= TOPS {
                self.tops.remove(1);
            }
            self.tops.push(visit.clone());
        }
        // A visit that saw less than an earlier one of the same days does not take its place.
        let newer = |old: &Visit| visit.is_complete() || !old.is_complete() || days(old.at, visit.at) > TOP_EVERY;
        if self.top.as_ref().is_none_or(newer) {
            self.top = Some(visit);
        }
    }

    /// Against the earlier top that shows most for certain.
    fn drift_of(&self, cell: usize, now: &Visit, limits: &Limits) -> Option<Drift> {
        let behind = now.ahead.get(cell)?.negative();
        let old = self.tops.iter().filter(|top| days(top.at, now.at) >= limits.get(L::DriftDays));
        let drift = |top: &Visit| {
            let lost = top.ahead.get(cell)?.less(now.ahead.get(cell)?);
            lost.low.map(|_| Drift { days: days(top.at, now.at), lost, behind })
        };
        old.filter_map(drift).max_by(|a, b| a.lost.low.unwrap_or(0.0).total_cmp(&b.lost.low.unwrap_or(0.0)))
    }

    /// Against the earliest top that was complete.
    fn bled_of(&self, cell: usize, now: &Visit) -> Option<Bled> {
        let then = self.tops.iter().find(|top| top.is_complete())?;
        let fell = then.before_last.get(cell)?.less(now.before_last.get(cell)?);
        let hours = self.balancing.hours.get(cell)? - then.bled.get(cell)?;
        Some(Bled { hours, fell: fell.best?, off: fell.half()? })
    }
}

fn days(from: Stamp, to: Stamp) -> f64 {
    to.since(from) / 86_400.0
}

/// What both sweeps look at.
struct Ready<'a> {
    view: &'a View,
    drive: Drive,
    capacity: f64,
    net: f64,
    around: &'a Around<'a>,
}

impl Ready<'_> {
    fn sweep(&self, end: End, watch: &mut KneeWatch) -> Option<Vec<super::knee::Arrival>> {
        let limits = self.around.limits;
        let (mark, sign) = match end {
            End::Top => (limits.get(L::KneeTop), 1.0),
            End::Bottom => (limits.get(L::KneeBottom), -1.0),
        };
        let mut beyond = [None; MAX_CELLS];
        let amps = self.drive.rate * self.capacity;
        for cell in &self.view.cells {
            let index = usize::from(cell.cell);
            let link = self.around.spec.links.get(index).copied().flatten().map_or(0.0, |ohms| ohms.get());
            if let Some(place) = beyond.get_mut(index).filter(|_| cell.fresh > 0) {
                *place = Some(sign * (cell.volts - self.drive.volts - link * amps - mark));
            }
        }
        let warm = self.view.coldest().is_some_and(|sensor| sensor.celsius > limits.get(L::KneeWarm));
        let drive = Drive { rate: sign * self.drive.rate, slow: sign * self.drive.slow, ..self.drive };
        let sweep = Sweep {
            now: self.view.now,
            passed: sign * self.net,
            drive,
            capacity: self.capacity,
            beyond: beyond.get(..usize::from(self.view.cells_in_series))?,
            grain: self.around.spec.grain.cell.map_or(0.0, |grain| grain.get()),
            bleed: self.around.spec.balance.current.map_or(0.0, |amps| amps.get()),
            taken_off: 0.0,
            warm,
        };
        watch.tick(&sweep, limits)
    }
}

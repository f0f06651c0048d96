//! Balancing that counts: hours in which a high cell is bled and the lowest is not.

use super::around::Around;
use crate::engine::gauge::Gauge;
use crate::engine::view::View;
use crate::model::bank::BalanceKind;
use crate::model::limits::LimitId;
use serde::{Deserialize, Serialize};

/// Days that are kept.
const DAYS: usize = 30;
/// A balancer that bleeds the highest leaves alone what stands no higher above the lowest than this, V; judgement.
const HIGHER: f64 = 0.010;

/// From what it is known which cell is bled.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Basis {
    /// It is not.
    #[default]
    NotKnown,
    /// The pack has no balancing, as described.
    None,
    /// The kind of balancing and its threshold, as described.
    Described,
    /// The state of each cell, as reported.
    Reported,
}

/// Hours of balancing.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Balancing {
    /// By cell, since the start.
    pub hours: Vec<f64>,
    /// By day, of the cell that is highest: a ring.
    days: Vec<f64>,
    /// The day that is under way.
    day: i64,
    /// Hours that were watched.
    watched: f64,
    /// From what it is known.
    pub basis: Basis,
}

impl Balancing {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, states: &[Gauge], around: &Around) {
        self.turn(view);
        let spec = &around.spec.balance;
        let periods = around.limits.get(LimitId::StalePeriods);
        let reported = |cell: u8| states.get(usize::from(cell)).and_then(|gauge| gauge.switch(view.now, periods));
        self.basis = match spec.kind {
            _ if !states.is_empty() => Basis::Reported,
            Some(BalanceKind::None) => Basis::None,
            None | Some(BalanceKind::Unknown) => Basis::NotKnown,
            Some(_) => Basis::Described,
        };
        let (Some(highest), Some(lowest)) = (view.highest(), view.lowest()) else { return };
        let hours = view.secs().min(600.0) / 3600.0;
        self.watched += hours;
        let threshold = spec.threshold.map_or(around.limits.get(LimitId::BalanceFrom), |volts| volts.get());
        let usual = |volts: f64| match spec.kind {
            Some(BalanceKind::BleedAbove) => volts > threshold,
            _ => volts > threshold && volts > lowest.volts + HIGHER,
        };
        let bled = |cell: u8, volts: f64| match self.basis {
            Basis::Reported => reported(cell).unwrap_or(false),
            Basis::Described => usual(volts),
            Basis::NotKnown | Basis::None => false,
        };
        if (self.basis != Basis::Reported && highest.volts <= threshold) || bled(lowest.cell, lowest.volts) {
            return;
        }
        let top = bled(highest.cell, highest.volts);
        let bits =
            view.cells.iter().fold(0_u32, |bits, cell| bits | u32::from(bled(cell.cell, cell.volts)) << cell.cell);
        if bits == 0 {
            return;
        }
        self.hours
            .resize(self.hours.len().max(view.cells.iter().map(|c| usize::from(c.cell) + 1).max().unwrap_or(0)), 0.0);
        for (cell, sum) in self.hours.iter_mut().enumerate() {
            *sum += hours * f64::from(bits >> cell & 1);
        }
        if let Some(today) = self.days.last_mut().filter(|_| top) {
            *today += hours;
        }
    }

    fn turn(&mut self, view: &View) {
        let day = view.now.secs().div_euclid(86_400);
        if self.days.is_empty() || day > self.day {
            let passed = if self.days.is_empty() { 1 } else { (day - self.day).clamp(1, DAYS as i64) };
            self.day = day;
            for _ in 0..passed {
                if self.days.len() >= DAYS {
                    self.days.remove(0);
                }
                self.days.push(0.0);
            }
        }
    }

    /// Hours within the last 30 days in which the highest cell was bled and the lowest was not; none when nothing
    /// tells.
    #[must_use]
    pub fn month(&self) -> Option<f64> {
        matches!(self.basis, Basis::Described | Basis::Reported).then(|| self.days.iter().sum())
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.days.len() <= DAYS
    }
}

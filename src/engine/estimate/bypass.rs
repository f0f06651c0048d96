//! Loads that the current sensor does not see: all cells move alike and the current does not.

use super::steps::Steps;
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// What the current may have changed by unseen moves the voltage; it must move by so many times that.
const BEYOND: f64 = 3.0;
/// So much may the current have changed unseen, C.
const UNSEEN: f64 = 0.01;

/// Changes of voltage that no current explains.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Bypass {
    /// One that waits for a quiet minute after it: when, and by how much, V.
    waits: Option<(Stamp, f64)>,
    /// When the current last moved.
    moved: Option<Stamp>,
    count: u32,
    volts: f64,
}

impl Bypass {
    /// Moves on by one tick; `ohms` is the median cell's resistance.
    pub fn tick(&mut self, view: &View, steps: &Steps, ohms: f64, limits: &Limits) {
        let Some(capacity) = view.capacity else { return };
        let apart = limits.get(LimitId::FiledHiddenSeconds);
        if view.current.is_none() || steps.moved(view) || view.switches.heater_on == Some(true) {
            (self.moved, self.waits) = (Some(view.now), None);
            return;
        }
        if let Some((at, volts)) = self.waits
            && view.now.since(at) > apart
        {
            (self.waits, self.volts) = (None, volts);
            self.count = self.count.saturating_add(1);
        }
        let long = self.moved.is_some_and(|at| view.now.since(at) > apart);
        if ohms <= 0.0 || !long || self.waits.is_some() {
            return;
        }
        let least = (limits.get(LimitId::FiledHidden) * 1e-3).max(BEYOND * UNSEEN * capacity * ohms);
        let flat = limits.get(LimitId::StepVoltsLow)..=limits.get(LimitId::StepVoltsHigh);
        let found = steps.unexplained(view).filter(|volts| volts.abs() > least);
        if let Some(volts) = found.filter(|_| view.median.is_some_and(|median| flat.contains(&median))) {
            self.waits = Some((view.now, volts));
        }
    }

    /// Whether it was seen often enough to be told.
    #[must_use]
    pub fn is_sure(&self, limits: &Limits) -> bool {
        f64::from(self.count) >= limits.get(LimitId::FiledHiddenSteps)
    }

    /// How often it was seen, and by how much the last time, V.
    #[must_use]
    pub fn seen(&self) -> (u32, f64) {
        (self.count, self.volts)
    }
}

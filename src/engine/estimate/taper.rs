//! The taper of a charge: a current that decays smoothly while the charger holds its voltage. What falls in a step
//! was switched, and says nothing of how full the cells are.

use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// Readings at most this far apart are looked at for steps within it, s.
const STEP_SECS: f64 = 2.0;

/// Follows the charge current of a pack, in multiples of its capacity.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Taper {
    /// Lowest and highest rate of the second before.
    before: Option<(f64, f64)>,
    /// Rate from which it has come down without a step.
    from: f64,
    /// Rate now; 0 when it is not into the cells.
    rate: f64,
    /// Since when it has been small and into the cells.
    tail: Option<Stamp>,
    /// Since when it has been next to nothing, and into the cells.
    trickle: Option<Stamp>,
}

impl Taper {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        let (Some(current), Some(capacity), true) =
            (view.current, view.capacity, view.switches.charge_path != Some(false))
        else {
            *self = Self::default();
            return;
        };
        let rate = current.amps / capacity;
        let (low, high) = (current.recent.low / capacity, current.recent.high / capacity);
        let step = match self.before {
            Some((least, most)) if view.secs() <= STEP_SECS => (high - least).max(most - low).max(high - low),
            Some(_) => (rate - self.rate).abs(),
            None => f64::MAX,
        };
        self.from = if step > limits.get(LimitId::AnchorStep) { rate } else { self.from.max(rate) };
        self.before = Some((low, high));
        self.rate = rate;
        if rate <= 0.0 {
            self.from = 0.0;
        }
        let since = |kept: Option<Stamp>, limit| {
            let small = rate > 0.0 && rate < limits.get(limit);
            if small { kept.or(Some(view.now)) } else { None }
        };
        self.tail = since(self.tail, LimitId::AnchorTail);
        self.trickle = since(self.trickle, LimitId::AnchorTrickle);
    }

    /// Whether the current came down smoothly, from well above or from twice what it is now, and has been small for
    /// long enough.
    #[must_use]
    pub fn is_done(&self, now: Stamp, limits: &Limits) -> bool {
        let came_down = self.from > limits.get(LimitId::AnchorFrom) || self.from >= 2.0 * self.rate;
        came_down && lasts(self.tail, now, limits)
    }

    /// Whether the current has been next to nothing for long enough, and is still into the cells.
    #[must_use]
    pub fn is_trickle(&self, now: Stamp, limits: &Limits) -> bool {
        lasts(self.trickle, now, limits)
    }
}

fn lasts(since: Option<Stamp>, now: Stamp, limits: &Limits) -> bool {
    since.is_some_and(|since| now.since(since) >= limits.get(LimitId::AnchorTailSeconds))
}

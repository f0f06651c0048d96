//! The current sensor's gain, where it changes: capacity and resistance are both measured through it, so that one falls by
//! the factor by which the other rises. Cells that age do the same over years, not within weeks.

use super::capacity::Measured;
use super::resistance::Resistance;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// What is compared lies no further apart than this, days: over more, cells age (judgement).
const WITHIN_DAYS: f64 = 60.0;
/// By this share the product of capacity and resistance may change and count as the same (judgement).
const ALIKE: f64 = 0.05;
/// A change by more than this factor is a parallel string that is gone, or another bank (judgement).
const NO_MORE_THAN: f64 = 1.5;
/// The resistance is known when its readings leave less than this share open (judgement).
const KNOWN: f64 = 0.03;

/// Capacity and resistance as they were measured together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Capacity.
    pub capacity: Measured,
    /// Resistance of the median cell at 25 °C, Ω.
    pub ohms: f64,
}

/// Follows both.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Gain {
    /// What the latest is held against.
    before: Option<Pair>,
    latest: Option<Pair>,
}

impl Gain {
    /// Moves on by one tick: takes what was measured anew.
    pub fn tick(&mut self, measured: Option<Measured>, resistance: &Resistance, limits: &Limits) {
        let Some(capacity) = measured.filter(|new| self.latest.is_none_or(|old| old.capacity.at != new.at)) else {
            return;
        };
        let Some(ohms) = resistance.at_25(KNOWN, limits) else { return };
        self.take(Pair { capacity, ohms }, limits);
    }

    fn take(&mut self, new: Pair, limits: &Limits) {
        let near = |old: &Pair| new.capacity.at.since(old.capacity.at) <= WITHIN_DAYS * 86_400.0;
        let stands = self.changed(limits).is_some();
        if !stands {
            self.before = self.before.filter(near).or(self.latest.filter(near)).or(Some(new));
        }
        self.latest = Some(new);
    }

    /// What was measured before the gain changed, and after.
    #[must_use]
    pub fn changed(&self, limits: &Limits) -> Option<(Pair, Pair)> {
        let (before, after) = self.before.zip(self.latest)?;
        let (capacity, resistance) = (after.capacity.ah / before.capacity.ah, after.ohms / before.ohms);
        let least = 1.0 + limits.get(LimitId::FiledGain) / 100.0;
        let factor = capacity.max(1.0 / capacity);
        let sure = (after.capacity.ah - before.capacity.ah).abs() > before.capacity.off.hypot(after.capacity.off);
        let alike = (capacity * resistance - 1.0).abs() < ALIKE;
        (sure && alike && (least..NO_MORE_THAN).contains(&factor)).then_some((before, after))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Stamp;

    fn seen(day: f64, ah: f64, ohms: f64) -> Pair {
        Pair { capacity: Measured { ah, off: 2.0, at: Stamp::default().plus_secs(day * 86_400.0) }, ohms }
    }

    fn changed(pairs: &[Pair]) -> bool {
        let (mut gain, limits) = (Gain::default(), Limits::default());
        pairs.iter().for_each(|pair| gain.take(*pair, &limits));
        gain.changed(&limits).is_some()
    }

    #[test]
    fn capacity_and_resistance_that_change_by_one_factor_are_the_sensor() {
        assert!(changed(&[seen(1.0, 100.0, 1.2e-3), seen(2.0, 101.0, 1.2e-3), seen(9.0, 86.0, 1.4e-3)]));
        assert!(changed(&[seen(1.0, 100.0, 1.2e-3), seen(9.0, 115.0, 1.05e-3)]));
    }

    #[test]
    fn one_of_them_alone_is_the_bank_and_both_over_a_year_are_age() {
        assert!(!changed(&[seen(1.0, 100.0, 1.2e-3), seen(9.0, 86.0, 1.2e-3)]), "it lost capacity");
        assert!(!changed(&[seen(1.0, 100.0, 1.2e-3), seen(9.0, 100.0, 1.4e-3)]), "a connection came loose");
        assert!(!changed(&[seen(1.0, 100.0, 1.2e-3), seen(9.0, 50.0, 2.4e-3)]), "half of its strings are gone");
        let over_a_year: Vec<Pair> =
            (0..20).map(f64::from).map(|n| seen(20.0 * n, 100.0 - n, 1.2e-3 * (1.0 + 0.01 * n))).collect();
        assert!(!changed(&over_a_year), "it ages");
    }

    #[test]
    fn a_change_that_was_found_stands_while_it_is_measured_again() {
        assert!(changed(&[seen(1.0, 100.0, 1.2e-3), seen(9.0, 86.0, 1.4e-3), seen(90.0, 86.5, 1.4e-3)]));
    }
}

//! Charge counted: ampere-hours into and out of a pack, reading by reading.

use crate::engine::gauge::Gauge;
use crate::model::{Stamp, Value};
use serde::{Deserialize, Serialize};

/// Charge counted since the start. A stretch in which no valid current stood is not counted but measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Charge {
    /// Into the pack, Ah.
    pub charged: f64,
    /// Out of the pack, Ah.
    pub drawn: f64,
    /// Time over which it was counted, s.
    pub secs: f64,
    /// Time that was not counted for want of a current, s.
    pub blind_secs: f64,
}

impl Charge {
    /// Counts from the last reading that `gauge` holds to the one that arrives, as a trapezoid.
    #[inline]
    pub fn current(&mut self, gauge: &Gauge, value: Value, now: Stamp) {
        let (Value::Present(amps), Some((last, before))) = (value, gauge.last_good()) else { return };
        let secs = now.since(last);
        if secs > gauge.valid_secs(3.0) || gauge.is_refused() {
            self.blind_secs += secs;
            return;
        }
        self.secs += secs;
        let hours = secs / 3600.0;
        if (amps >= 0.0) == (before >= 0.0) {
            self.add((amps + before) / 2.0 * hours);
        } else {
            let share = before / (before - amps);
            self.add(before / 2.0 * hours * share);
            self.add(amps / 2.0 * hours * (1.0 - share));
        }
    }

    fn add(&mut self, amp_hours: f64) {
        if amp_hours > 0.0 {
            self.charged += amp_hours;
        } else {
            self.drawn -= amp_hours;
        }
    }

    /// Charged less drawn, Ah.
    #[must_use]
    pub fn net(&self) -> f64 {
        self.charged - self.drawn
    }
}

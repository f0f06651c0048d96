//! Charge counted: ampere-hours into and out of a pack, reading by reading.

use crate::engine::gauge::Gauge;
use crate::engine::view::View;
use crate::model::{Stamp, Value};
use serde::{Deserialize, Serialize};

/// Errors of changes between two readings, over those that chance alone would leave; judgement, from simulated days of
/// one reading a minute.
const LOCKED: f64 = 3.0;

/// What may have passed unseen between readings, Ah, by the sum of squares of it. A load whose cycle keeps step with the
/// readings errs the same way each time.
#[must_use]
pub fn unseen(between: f64) -> f64 {
    LOCKED * between.max(0.0).sqrt()
}

/// Charge counted since the start. A stretch in which no valid current stood is not counted but measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Charge {
    /// Into the pack, Ah. Current while the charge path is reported open is no charge.
    pub charged: f64,
    /// Out of the pack, Ah.
    pub drawn: f64,
    /// Time over which it was counted, s.
    pub secs: f64,
    /// Between one reading and the next nobody knows when the current changed: squares of half of what that makes, summed,
    /// Ah².
    pub between: f64,
    /// Time that was not counted for want of a current, s.
    pub blind_secs: f64,
    /// The share of the bank's current at the tick before, A, for a pack without its own.
    share: Option<f64>,
}

impl Charge {
    /// Counts from the last reading that `gauge` holds to the one that arrives, as a trapezoid.
    #[inline]
    pub fn current(&mut self, gauge: &Gauge, value: Value, now: Stamp, path_open: bool) {
        let (Value::Present(amps), Some((last, before))) = (value, gauge.last_good()) else { return };
        let secs = now.since(last);
        if secs > gauge.valid_secs(3.0) || gauge.is_refused() {
            self.blind_secs += secs;
            return;
        }
        self.count(before, amps, secs, path_open);
    }

    /// Counts a pack's share of the bank's current from tick to tick, when it has no current of its own.
    pub fn shared(&mut self, view: &View) {
        let share = view.current.filter(|current| current.shared).map(|current| current.amps);
        match (self.share, share) {
            (Some(before), Some(amps)) => {
                self.count(before, amps, view.secs(), view.switches.charge_path == Some(false));
            }
            (Some(_), None) => self.blind_secs += view.secs(),
            (None, Some(_)) if self.secs > 0.0 => self.blind_secs += view.secs(),
            (None, _) => return self.share = share,
        }
        self.share = share;
    }

    fn count(&mut self, before: f64, amps: f64, secs: f64, path_open: bool) {
        self.secs += secs;
        let hours = secs / 3600.0;
        let open = 0.5 * (amps - before) * hours;
        self.between += open * open;
        if (amps >= 0.0) == (before >= 0.0) {
            self.add((amps + before) / 2.0 * hours, path_open);
        } else {
            let share = before / (before - amps);
            self.add(before / 2.0 * hours * share, path_open);
            self.add(amps / 2.0 * hours * (1.0 - share), path_open);
        }
    }

    fn add(&mut self, amp_hours: f64, path_open: bool) {
        if amp_hours < 0.0 {
            self.drawn -= amp_hours;
        } else if !path_open {
            self.charged += amp_hours;
        }
    }

    /// Charged less drawn, Ah.
    #[must_use]
    pub fn net(&self) -> f64 {
        self.charged - self.drawn
    }
}

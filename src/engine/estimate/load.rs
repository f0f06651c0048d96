//! The largest root mean square current over ten minutes: what heats a connection.

use crate::engine::view::View;
use serde::{Deserialize, Serialize};

/// Minutes of the window.
const MINUTES: usize = 10;
/// Part of the window that must have been seen.
const SEEN: f64 = 0.9;
const MINUTE: f64 = 60.0;

/// Squares of the current, minute by minute.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// Sum of squares times seconds, and the seconds, of each minute.
    minutes: [(f64, f64); MINUTES],
    /// The minute that is under way, counted from the epoch.
    minute: i64,
    largest: Option<f64>,
}

impl Load {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View) {
        let minute = view.now.secs().div_euclid(MINUTE as i64);
        if minute != self.minute {
            self.close(minute);
        }
        let place = minute.rem_euclid(MINUTES as i64) as usize;
        // A longer gap was not seen.
        let secs = view.secs().min(2.0 * MINUTE);
        if let (Some(current), Some((sum, seen))) = (view.current, self.minutes.get_mut(place)) {
            *sum += current.amps * current.amps * secs;
            *seen += secs;
        }
    }

    fn close(&mut self, minute: i64) {
        let (sum, seen) = self.minutes.iter().fold((0.0, 0.0), |all, one| (all.0 + one.0, all.1 + one.1));
        if seen >= SEEN * MINUTE * MINUTES as f64 {
            let rms = (sum / seen).sqrt();
            self.largest = Some(self.largest.map_or(rms, |largest| largest.max(rms)));
        }
        let passed = (minute - self.minute).clamp(1, MINUTES as i64);
        for old in 0..passed {
            self.minutes[(minute - old).rem_euclid(MINUTES as i64) as usize] = (0.0, 0.0);
        }
        self.minute = minute;
    }

    /// The largest so far, A; none before ten minutes were seen.
    #[must_use]
    pub fn largest(&self) -> Option<f64> {
        self.largest
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    #[test]
    fn the_strongest_ten_minutes_are_kept() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 7200.0, 1.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(if (1800.0..2100.0).contains(&t) { -80.0 } else { 0.0 });
        });
        let largest = story.engine.packs[0].estimates.load.largest().unwrap();
        assert!((largest - 80.0 / 2.0_f64.sqrt()).abs() < 0.2, "five minutes of ten: {largest}");
    }
}

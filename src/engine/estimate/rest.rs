//! Rest: since when the cells have been left alone. And the largest load of the last seconds, for the voltage
//! that comes back slowly after it.

use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// The mean is smoothed over about this long, s.
const SMOOTH_SECS: f64 = 60.0;

/// Whether the pack rests: |I| below C/100 for an hour without a break and no charger that holds the voltage.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Rest {
    /// Since when the current has been next to nothing.
    quiet: Option<Stamp>,
    /// Since when, besides, no charger has held the voltage.
    since: Option<Stamp>,
    /// When the smoothed mean was last looked at, and what it was, V.
    mark: Option<(Stamp, f64)>,
    smooth: f64,
    load: Load,
}

impl Rest {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        self.load.tick(view, limits);
        let quiet = is_quiet(view, limits);
        // With pack voltage only there is no rest: the terminals may be cut off from the cells.
        let level = view.median.filter(|_| quiet);
        let Some(level) = level else {
            *self = Self { quiet: self.quiet.or(Some(view.now)).filter(|_| quiet), load: self.load, ..Self::default() };
            return;
        };
        self.quiet = self.quiet.or(Some(view.now));
        let secs = view.secs();
        self.smooth = match self.mark {
            None => level,
            Some(_) => self.smooth + (level - self.smooth) * secs / (secs + SMOOTH_SECS),
        };
        let (at, volts) = *self.mark.get_or_insert((view.now, level));
        let free = level < limits.get(LimitId::RestBelow) || view.chargers_off == Some(true);
        self.since = self.since.or(Some(view.now));
        if view.now.since(at) >= limits.get(LimitId::RestFallMinutes) * 60.0 {
            let held = !free && volts - self.smooth < limits.get(LimitId::RestFall) * 1e-3;
            self.mark = Some((view.now, self.smooth));
            if held {
                self.since = Some(view.now);
            }
        }
    }

    /// Since when the current has been next to nothing, for what does not need an hour of it.
    #[must_use]
    pub fn quiet_since(&self) -> Option<Stamp> {
        self.quiet
    }

    /// Since when the pack has rested, once it has for as long as rest asks.
    #[must_use]
    pub fn since(&self, now: Stamp, limits: &Limits) -> Option<Stamp> {
        self.since.filter(|since| now.since(*since) >= limits.get(LimitId::RestHours) * 3600.0)
    }

    /// Largest load of the last seconds, as a multiple of the capacity; negative while only charging was seen.
    #[must_use]
    pub fn recent_load(&self) -> Option<f64> {
        self.load.since.map(|_| self.load.here.max(self.load.before))
    }
}

fn is_quiet(view: &View, limits: &Limits) -> bool {
    let (Some(current), Some(capacity)) = (view.current, view.capacity) else { return false };
    let most = limits.get(LimitId::RestRate) * capacity;
    current.recent.high.abs() < most && current.recent.low.abs() < most
}

/// The largest load of one to two stretches of some seconds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Load {
    since: Option<Stamp>,
    here: f64,
    before: f64,
}

impl Load {
    fn tick(&mut self, view: &View, limits: &Limits) {
        let (Some(current), Some(capacity)) = (view.current, view.capacity) else {
            *self = Self::default();
            return;
        };
        let rate = -current.recent.low / capacity;
        let length = limits.get(LimitId::UndervoltageLoadMemory);
        match self.since.map(|since| view.now.since(since)) {
            None => *self = Self { since: Some(view.now), here: rate, before: rate },
            Some(age) if age >= length => {
                let before = if age < 4.0 * length { self.here } else { rate };
                *self = Self { since: Some(view.now), here: rate, before };
            }
            Some(_) => self.here = self.here.max(rate),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::limits::Limits;

    fn rested_hours(story: &Story) -> Option<f64> {
        let pack = story.engine.packs.first()?;
        let since = pack.estimates.rest.since(pack.view.now, &Limits::default())?;
        Some((pack.view.now.since(since) / 360.0).round() / 10.0)
    }

    fn told(step: f64, mut set: impl FnMut(f64) -> (f64, f64)) -> Option<f64> {
        let mut story = Story::new(four_cells());
        story.run(0.0, 4.0 * 3600.0, step, |t, bus| {
            let (volts, amps) = set(t);
            bus.cells(&[volts; 4]);
            bus.current(amps);
        });
        rested_hours(&story)
    }

    #[test]
    fn a_bank_left_alone_rests_after_an_hour() {
        assert_eq!(told(10.0, |_| (3.30, -0.3)), Some(4.0));
        assert_eq!(told(60.0, |_| (3.30, -0.3)), Some(4.0));
    }

    #[test]
    fn a_break_of_one_reading_begins_the_hour_anew() {
        let pump = |t: f64| (3.30, if t == 9_000.0 { -5.0 } else { -0.3 });
        assert_eq!(told(10.0, pump), Some(1.5));
        let late = |t: f64| (3.30, if t == 12_000.0 { -5.0 } else { -0.3 });
        assert_eq!(told(10.0, late), None, "40 minutes are no hour");
    }

    #[test]
    fn a_charger_that_holds_the_voltage_is_no_rest_and_a_falling_voltage_is() {
        assert_eq!(told(10.0, |_| (3.45, 0.0)), None);
        let falling = |t: f64| (3.40 + 0.15 * (-t / 7_200.0).exp(), 0.0);
        assert_eq!(told(10.0, falling), Some(4.0));
    }
}

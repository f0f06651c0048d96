//! What a charger does: each charge from its beginning to its end, the voltage it holds, where its current ends, and
//! whether that voltage follows the temperature as for lead-acid batteries.

use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Sessions that are remembered.
const KEPT: usize = 32;
/// Voltage and current are smoothed over about this long, s.
const SMOOTH_SECS: f64 = 20.0;
/// A voltage that stands stays within this, V per cell.
const STANDS: f64 = 0.015;
/// Below this nothing is held, V per cell.
const HELD_FROM: f64 = 3.37;
/// Less than this is no current: what is smoothed never quite comes to nothing, C; judgement.
const NOTHING: f64 = 1e-4;
/// A session ends when nothing has charged for this long, s.
const ENDS_SECS: f64 = 1800.0;
/// Voltages and temperatures lie on one line when they are no further from it than this, V per cell (root mean square).
const ON_LINE: f64 = 0.015;

/// A voltage that stood: per cell, the mean temperature meanwhile, and for how long.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// V per cell.
    pub volts: f64,
    /// Mean of the cell and case sensors, °C.
    pub celsius: Option<f64>,
    /// Seconds.
    pub secs: f64,
}

/// A voltage that stands just now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Stand {
    low: f64,
    high: f64,
    secs: f64,
    volt_secs: f64,
    degree_secs: f64,
    warm_secs: f64,
}

/// One charge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Session {
    /// When it began.
    pub begin: Stamp,
    /// When it last charged.
    pub end: Stamp,
    /// Largest current, A.
    pub bulk: f64,
    /// The highest voltage held at a small current.
    pub held: Option<Held>,
    /// Current at the end of that, A.
    pub tail: Option<f64>,
    /// A lower voltage held after it.
    pub float: Option<Held>,
    /// How often it went back to a large current after its voltage had been held.
    pub restarts: u32,
    /// The charge had come down to a small current.
    small: bool,
}

/// How the voltage held follows the temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slope {
    /// V per cell and kelvin.
    pub volts: f64,
    /// Correlation.
    pub correlation: f64,
    /// Sessions.
    pub sessions: u32,
    /// Highest voltage held, V per cell, and its temperature, °C.
    pub highest: (f64, f64),
}

/// Follows charges.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Sessions {
    smooth: Option<(f64, f64)>,
    stand: Option<Stand>,
    now: Option<Session>,
    last: Option<Session>,
    /// Voltage held, V per cell, and temperature, °C, of past sessions.
    past: VecDeque<(f64, f64)>,
    slope: Option<Slope>,
}

impl Sessions {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        let open = view.switches.charge_path == Some(false);
        let (Some(mean), Some(current), Some(capacity), false) = (view.mean, view.current, view.capacity, open) else {
            (self.smooth, self.stand) = (None, None);
            return self.look_for_end(view.now);
        };
        let part = view.secs() / (view.secs() + SMOOTH_SECS);
        let (volts, amps) = self.smooth.unwrap_or((mean, current.amps));
        let (volts, amps) = (volts + (mean - volts) * part, amps + (current.amps - amps) * part);
        self.smooth = Some((volts, amps));
        let band = view.dead_band(limits);
        let charges = amps > band;
        if self.now.is_none() && charges {
            self.now = Some(Session::begin(view.now));
        }
        let small = amps > NOTHING * capacity && amps < limits.get(LimitId::SessionSmallRate) * capacity;
        let Some(session) = &mut self.now else { return };
        session.bulk = session.bulk.max(amps);
        if charges || (small && volts >= HELD_FROM) {
            session.end = view.now;
        }
        session.count_restart(small, amps > band && amps >= limits.get(LimitId::SessionSmallRate) * capacity, volts);
        self.stand = if small && volts >= HELD_FROM { Some(Stand::go_on(self.stand, volts, view)) } else { None };
        let flows = current.amps > 0.0; // what is smoothed follows a while after the charge has ended
        if let Some(held) = self.stand.and_then(|stand| stand.held(limits)).filter(|_| flows) {
            session.take(held, amps);
        }
        self.look_for_end(view.now);
    }

    fn look_for_end(&mut self, now: Stamp) {
        if let Some(session) = self.now.filter(|session| now.since(session.end) >= ENDS_SECS) {
            self.now = None;
            self.stand = None;
            self.last = Some(session);
            if let Some((held, celsius)) = session.held.and_then(|held| Some((held.volts, held.celsius?))) {
                if self.past.len() >= KEPT {
                    self.past.pop_front();
                }
                self.past.push_back((held, celsius));
                self.slope = slope(&self.past);
            }
        }
    }

    /// The charge under way, or the last one.
    #[must_use]
    pub fn latest(&self) -> Option<&Session> {
        self.now.as_ref().or(self.last.as_ref())
    }

    /// The charge under way.
    #[must_use]
    pub fn under_way(&self) -> Option<&Session> {
        self.now.as_ref()
    }

    /// How the voltage held follows the temperature, when sessions at enough different temperatures lie on one line.
    #[must_use]
    pub fn slope(&self) -> Option<Slope> {
        self.slope
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.past.len() <= KEPT
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack) -> Vec<Estimate> {
        let subject = pack.subject();
        let Some(session) = self.latest() else {
            return vec![Estimate::unknown("session_bulk_a", subject, "no charge was seen yet")];
        };
        let cells = f64::from(pack.view.cells_in_series);
        let held = |name, held: Option<Held>, why: &str| match held {
            Some(held) => Estimate::known(name, subject, held.volts * cells),
            None => Estimate::unknown(name, subject, why),
        };
        let mut rows = vec![
            Estimate::known("session_bulk_a", subject, session.bulk),
            Estimate::known("session_h", subject, session.end.since(session.begin) / 3600.0),
            held("session_held_v", session.held, "no voltage was held for ten minutes at a small current"),
            held("session_float_v", session.float, "no lower voltage was held after it"),
            Estimate::known("session_restarts", subject, f64::from(session.restarts)),
        ];
        if let Some(tail) = session.tail {
            rows.push(Estimate::known("session_tail_a", subject, tail));
        }
        rows.push(match self.slope {
            Some(slope) => Estimate::known("charger_compensation_mv_per_k", subject, slope.volts * cells * 1e3),
            None => Estimate::unknown(
                "charger_compensation_mv_per_k",
                subject,
                "fewer than three charges held a voltage at temperatures spread over ten kelvin",
            ),
        });
        rows
    }
}

impl Session {
    fn begin(now: Stamp) -> Self {
        Self { begin: now, end: now, bulk: 0.0, held: None, tail: None, float: None, restarts: 0, small: false }
    }

    fn count_restart(&mut self, small: bool, large: bool, volts: f64) {
        let below = self.held.is_some_and(|held| volts < held.volts - 2.0 * STANDS);
        if self.small && large && below {
            self.restarts = self.restarts.saturating_add(1);
            self.small = false;
        }
        self.small |= small && self.held.is_some();
    }

    /// Takes a voltage that stands: the highest is the one held, a lower one after it the float.
    fn take(&mut self, held: Held, amps: f64) {
        match self.held {
            Some(before) if held.volts < before.volts - STANDS => self.float = Some(held),
            Some(before) if held.volts <= before.volts + STANDS && held.secs < before.secs => self.tail = Some(amps),
            _ => {
                self.held = Some(held);
                self.tail = Some(amps);
            }
        }
    }
}

impl Stand {
    fn go_on(before: Option<Self>, volts: f64, view: &View) -> Self {
        let celsius = mean_celsius(view);
        let new = Self { low: volts, high: volts, secs: 0.0, volt_secs: 0.0, degree_secs: 0.0, warm_secs: 0.0 };
        let Some(mut stand) = before else { return new };
        (stand.low, stand.high) = (stand.low.min(volts), stand.high.max(volts));
        if stand.high - stand.low > STANDS {
            return new;
        }
        let secs = view.secs();
        stand.secs += secs;
        stand.volt_secs += volts * secs;
        if let Some(celsius) = celsius {
            stand.degree_secs += celsius * secs;
            stand.warm_secs += secs;
        }
        stand
    }

    fn held(&self, limits: &Limits) -> Option<Held> {
        (self.secs >= limits.get(LimitId::SessionHeldMinutes) * 60.0).then(|| Held {
            volts: self.volt_secs / self.secs,
            celsius: (self.warm_secs > 0.5 * self.secs).then(|| self.degree_secs / self.warm_secs),
            secs: self.secs,
        })
    }
}

/// Mean of the sensors on cells and case, °C.
fn mean_celsius(view: &View) -> Option<f64> {
    let count = view.limiting.len() as f64;
    (view.role_known && count > 0.0).then(|| view.limiting.iter().map(|sensor| sensor.celsius).sum::<f64>() / count)
}

/// A line through voltages and temperatures. Two clusters make a line of anything: one session must lie between.
fn slope(past: &VecDeque<(f64, f64)>) -> Option<Slope> {
    let count = past.len() as f64;
    if count < 3.0 {
        return None;
    }
    let mean = |pick: fn(&(f64, f64)) -> f64| past.iter().map(pick).sum::<f64>() / count;
    let (volts, celsius) = (mean(|p| p.0), mean(|p| p.1));
    let ends = past.iter().fold((f64::MAX, f64::MIN), |(low, high), p| (low.min(p.1), high.max(p.1)));
    let range = ends.1 - ends.0;
    let between = past.iter().any(|p| (0.25..=0.75).contains(&((p.1 - ends.0) / range)));
    if range < 10.0 || !between {
        return None;
    }
    let sum = |pick: &dyn Fn(f64, f64) -> f64| past.iter().map(|p| pick(p.1 - celsius, p.0 - volts)).sum::<f64>();
    let (tt, tv, vv) = (sum(&|t, _| t * t), sum(&|t, v| t * v), sum(&|_, v| v * v));
    let slope = tv / tt;
    let off = ((vv - slope * tv).max(0.0) / count).sqrt();
    let highest = past.iter().copied().fold((f64::MIN, 0.0), |best, p| if p.0 > best.0 { p } else { best });
    let correlation = if vv > 0.0 { tv / (tt * vv).sqrt() } else { 0.0 };
    (off <= ON_LINE).then_some(Slope { volts: slope, correlation, sessions: past.len() as u32, highest })
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    const HOUR: f64 = 3600.0;

    fn charge(story: &mut Story, from: f64, step: f64, volts: f64, celsius: f64) {
        story.run(from, from + 12.0 * HOUR, step, |t, bus| {
            let h = (t - from) / HOUR;
            let (mean, amps) = match h {
                h if h < 1.0 => (3.33, 30.0),
                h if h < 4.0 => (volts, (30.0 * (-(h - 1.0) / 0.5).exp()).max(0.4)),
                h if h < 8.0 => (3.375, 0.6),
                _ => (3.30, -3.0),
            };
            bus.celsius(0, celsius);
            bus.cells(&[mean; 4]);
            bus.current(amps);
        });
    }

    #[test]
    fn a_charge_is_told_from_bulk_to_float() {
        for step in [1.0, 60.0] {
            let mut story = Story::new(four_cells());
            charge(&mut story, 0.0, step, 3.55, 20.0);
            let session = *story.engine.packs[0].estimates.habits.sessions.latest().unwrap();
            assert!((session.bulk - 30.0).abs() < 0.5, "{session:?}");
            assert!((session.held.unwrap().volts - 3.55).abs() < 0.005, "{session:?}");
            assert!((session.float.unwrap().volts - 3.375).abs() < 0.005, "{session:?}");
            assert!((session.tail.unwrap() - 0.4).abs() < 0.2, "{session:?}");
            assert!(
                (session.end.since(session.begin) / HOUR - 8.0).abs() < 0.1 && session.restarts == 0,
                "{session:?}"
            );
        }
    }

    #[test]
    fn a_full_bank_at_rest_holds_no_voltage_and_does_not_float() {
        for step in [1.0, 60.0] {
            let mut story = Story::new(four_cells());
            story.run(0.0, 6.0 * HOUR, step, |t, bus| {
                let h = t / HOUR;
                let (mean, amps) = match h {
                    h if h < 1.0 => (3.33, 30.0),
                    h if h < 2.0 => (3.55, (30.0 * (-(h - 1.0) / 0.2).exp()).max(0.4)),
                    _ => (3.545 - 0.01 * (h - 2.0), 0.0),
                };
                bus.cells(&[mean; 4]);
                bus.current(amps);
            });
            let session = *story.engine.packs[0].estimates.habits.sessions.latest().unwrap();
            assert!((session.end.since(session.begin) / HOUR - 2.0).abs() < 0.1, "{session:?}");
            assert!((session.tail.unwrap() - 0.4).abs() < 0.05 && session.float.is_none(), "{session:?}");
        }
    }

    #[test]
    fn sessions_at_three_temperatures_show_how_the_voltage_follows() {
        let told = |volts: &dyn Fn(f64) -> f64, degrees: &[f64]| {
            let mut story = Story::new(four_cells());
            for (day, celsius) in degrees.iter().enumerate() {
                charge(&mut story, day as f64 * 12.0 * HOUR, 10.0, volts(*celsius), *celsius);
            }
            story.engine.packs[0].estimates.habits.sessions.slope()
        };
        // −18 mV/K on four cells: 14.4 V at 25 °C is 14.94 V at −5 °C.
        let lead = |celsius: f64| 3.60 - 0.0045 * (celsius - 25.0);
        assert!((lead(-5.0) * 4.0 - 14.94).abs() < 1e-9);
        let slope = told(&lead, &[25.0, 10.0, 3.0, 18.0]).unwrap();
        assert!((slope.volts * 4e3 + 18.0).abs() < 0.5 && slope.correlation < -0.99, "{slope:?}");
        assert!(told(&|_| 3.55, &[25.0, 10.0, 0.0, 18.0]).unwrap().volts.abs() < 1e-4);
        assert_eq!(told(&lead, &[25.0, 24.0, 3.0, 4.0]), None, "two clusters are a line of anything");
        assert_eq!(told(&lead, &[25.0, 20.0, 18.0]), None);
    }
}

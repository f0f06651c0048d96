//! The engine's memory of hours (46 days) and days (400): what was held high, extremes, charge, time seen. Sums over
//! windows of days are kept up as hours close, so that a tick costs the same however much is remembered.

use super::charge::Charge;
use super::taper::Taper;
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::day::{BANDS, Day, Degrees, Hour, Millivolts, band};
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Hours that are kept: 46 days.
const HOURS_KEPT: u32 = 46 * 24;
/// Days that are kept.
const DAYS_KEPT: u32 = 400;
/// Kelvin at 0 °C.
const KELVIN: f64 = 273.15;
/// Temperature to which heat is compared, °C.
const REFERENCE: f64 = 25.0;
/// Gas constant, kJ/(mol K); CODATA 2018.
const GAS: f64 = 8.314_462_618e-3;

/// How a voltage is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
enum Held {
    Middle,
    High,
}

/// A sum over the last days that is kept up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Window {
    /// Held high, weighted by heat, over the short window.
    HighShort,
    /// Held high, weighted by heat, over the window of hours.
    HighHours,
    /// Held high, weighted by heat, over the long window.
    HighLong,
    /// Held in the middle, weighted by heat, over the long window.
    MiddleLong,
    /// Held high, as by the clock, over the window of hours.
    PlainHours,
}

impl Window {
    const ALL: [Self; 5] = [Self::HighShort, Self::HighHours, Self::HighLong, Self::MiddleLong, Self::PlainHours];

    const fn length(self) -> LimitId {
        match self {
            Self::HighShort => LimitId::FloatWindow,
            Self::HighHours | Self::PlainHours => LimitId::FloatHoursWindow,
            Self::HighLong | Self::MiddleLong => LimitId::FloatLongWindow,
        }
    }

    fn of(self, hour: &Hour) -> u64 {
        u64::from(match self {
            Self::HighShort | Self::HighHours | Self::HighLong => hour.high_weighted_s,
            Self::MiddleLong => hour.middle_weighted_s,
            Self::PlainHours => u32::from(hour.high_s),
        })
    }
}

/// Sum over the closed hours of a window, and where in the list of hours the window begins.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Sum {
    secs: u64,
    begins: u32,
}

/// The hour under way.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Open {
    hour: u32,
    seen: f64,
    high: f64,
    high_weighted: f64,
    middle_weighted: f64,
    quiet: [f64; BANDS],
    /// Charge counted when the hour began: in and out, Ah.
    from: (f64, f64),
    cells: Millivolts,
    celsius: Degrees,
}

/// Hours and days of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Hours {
    open: Open,
    past: VecDeque<Hour>,
    days: VecDeque<Day>,
    today: Day,
    sums: [Sum; Window::ALL.len()],
    /// How the tick before stood: what is held, and in which band next to no current flowed.
    held: Option<Held>,
    quiet: Option<u8>,
    seen: bool,
    /// With pack voltage only: the taper of this hold was seen.
    tapered: bool,
    /// When it was last held at all.
    held_at: Option<Stamp>,
}

impl Hours {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, taper: &Taper, charge: &Charge, limits: &Limits) {
        let hour = u32::try_from(view.now.secs() / 3600).unwrap_or(0);
        if hour != self.open.hour {
            self.turn(hour, charge, limits);
        }
        self.tapered = self.tapered(view, taper, limits);
        let held = held(view, limits).filter(|_| !view.mean_from_pack || self.tapered);
        let quiet = quiet_band(view, limits);
        let secs = view.secs();
        if let (Some(now), Some(before)) = (held, self.held) {
            self.hold(now.min(before), secs, view, limits);
        }
        if let (Some(now), Some(before)) = (quiet, self.quiet) {
            self.open.quiet[usize::from(now.min(before)).min(BANDS - 1)] += secs;
        }
        let seen = view.mean.is_some();
        if seen && self.seen {
            self.open.seen += secs;
        }
        (self.held, self.quiet, self.seen) = (held, quiet, seen);
        self.open.extremes(view);
    }

    fn hold(&mut self, held: Held, secs: f64, view: &View, limits: &Limits) {
        let weighted = secs * heat(view, limits);
        if held == Held::High {
            self.open.high += secs;
            self.open.high_weighted += weighted;
        } else {
            self.open.middle_weighted += weighted;
        }
        self.held_at = Some(view.now);
    }

    /// With pack voltage only a hold counts once its own taper was seen: terminals that are cut off from the cells
    /// read the charger's voltage and no current.
    fn tapered(&self, view: &View, taper: &Taper, limits: &Limits) -> bool {
        let up = view.mean.is_some_and(|mean| mean >= limits.get(LimitId::FloatMid));
        up && view.switches.charge_path != Some(false) && (self.tapered || taper.is_done(view.now, limits))
    }

    /// Begins anew; charge counted so far is none of it.
    pub fn begin_anew(&mut self, charge: &Charge) {
        let open = Open { from: (charge.charged, charge.drawn), ..Open::default() };
        *self = Self { open, ..Self::default() };
    }

    /// The count, which stands at `charge`, goes on from nought: what the hour under way has counted stays.
    pub fn count_from_nought(&mut self, charge: &Charge) {
        self.open.from = (self.open.from.0 - charge.charged, self.open.from.1 - charge.drawn);
    }

    /// Closes the hour under way and opens `hour`; what lies between was not seen.
    fn turn(&mut self, hour: u32, charge: &Charge, limits: &Limits) {
        let closed = self.open.close(charge);
        let moved = closed.charged_mah > 0 || closed.drawn_mah > 0;
        if closed.seen_s > 0 || closed.cells.seen().is_some() || moved {
            self.keep(closed);
        }
        self.open = Open { hour, from: (charge.charged, charge.drawn), ..Open::default() };
        for (window, sum) in Window::ALL.into_iter().zip(&mut self.sums) {
            let length = (limits.get(window.length()) * 24.0) as u32;
            let first = hour.saturating_sub(length.saturating_sub(1));
            while let Some(oldest) = self.past.get(sum.begins as usize).filter(|oldest| oldest.hour < first) {
                sum.secs = sum.secs.saturating_sub(window.of(oldest));
                sum.begins += 1;
            }
        }
        while self.past.front().is_some_and(|oldest| oldest.hour.saturating_add(HOURS_KEPT) < hour) {
            self.past.pop_front();
            self.sums.iter_mut().for_each(|sum| sum.begins = sum.begins.saturating_sub(1));
        }
    }

    fn keep(&mut self, hour: Hour) {
        let day = hour.hour / 24;
        if self.today.day != day {
            let before = std::mem::replace(&mut self.today, Day { day, ..Day::default() });
            if before.is_seen() {
                self.days.push_back(before);
            }
            while self.days.front().is_some_and(|oldest| oldest.day.saturating_add(DAYS_KEPT) < day) {
                self.days.pop_front();
            }
        }
        self.today.add(&hour, self.open.quiet.map(whole));
        for (window, sum) in Window::ALL.into_iter().zip(&mut self.sums) {
            sum.secs += window.of(&hour);
        }
        self.past.push_back(hour);
    }

    /// Hours held within a window that ends now.
    #[must_use]
    pub fn held_hours(&self, window: Window) -> f64 {
        let open = match window {
            Window::HighShort | Window::HighHours | Window::HighLong => self.open.high_weighted,
            Window::MiddleLong => self.open.middle_weighted,
            Window::PlainHours => self.open.high,
        };
        let closed = self.sums.get(window as usize).map_or(0, |sum| sum.secs);
        (closed as f64 + open) / 3600.0
    }

    /// When the voltage was last held, high or in the middle.
    #[must_use]
    pub fn held_at(&self) -> Option<Stamp> {
        self.held_at
    }

    /// Whether the last tick held the voltage.
    #[must_use]
    pub fn is_held(&self) -> bool {
        self.held.is_some()
    }

    /// The days of which something was seen, oldest first, with the one under way; the count of charge stands at `charge`.
    #[must_use]
    pub fn days(&self, charge: &Charge) -> Vec<Day> {
        let mut all = self.clone();
        all.turn(self.open.hour.saturating_add(1), charge, &Limits::default());
        all.days.into_iter().chain([all.today]).filter(Day::is_seen).collect()
    }

    /// Whether a state from elsewhere holds together.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        let ordered = |hours: &VecDeque<Hour>| hours.iter().zip(hours.iter().skip(1)).all(|(a, b)| a.hour < b.hour);
        let sums = Window::ALL.into_iter().zip(&self.sums).all(|(window, sum)| {
            let secs: u64 = self.past.iter().skip(sum.begins as usize).map(|hour| window.of(hour)).sum();
            sum.begins as usize <= self.past.len() && secs == sum.secs
        });
        self.past.len() <= HOURS_KEPT as usize + 1
            && self.days.len() <= DAYS_KEPT as usize + 1
            && ordered(&self.past)
            && sums
    }
}

impl Open {
    fn extremes(&mut self, view: &View) {
        for cell in &view.cells {
            let range = Millivolts { low: millivolts(cell.recent.low), high: millivolts(cell.recent.high) };
            self.cells = self.cells.or(range);
        }
        for sensor in &view.limiting {
            let celsius = sensor.celsius.round() as i8;
            self.celsius = self.celsius.or(Degrees { low: celsius, high: celsius });
        }
    }

    fn close(&self, charge: &Charge) -> Hour {
        Hour {
            hour: self.hour,
            seen_s: self.seen.round() as u16,
            high_s: self.high.round() as u16,
            high_weighted_s: whole(self.high_weighted),
            middle_weighted_s: whole(self.middle_weighted),
            charged_mah: whole((charge.charged - self.from.0) * 1e3),
            drawn_mah: whole((charge.drawn - self.from.1) * 1e3),
            cells: self.cells,
            celsius: self.celsius,
        }
    }
}

/// Rounded; never below 0.
fn whole(number: f64) -> u32 {
    number.round() as u32
}

fn millivolts(volts: f64) -> u16 {
    (volts * 1e3).round() as u16
}

fn held(view: &View, limits: &Limits) -> Option<Held> {
    let (mean, rate) = (view.mean?, view.rate()?);
    if rate.abs() >= limits.get(LimitId::FloatRate) || mean < limits.get(LimitId::FloatMid) {
        return None;
    }
    Some(if mean >= limits.get(LimitId::FloatHigh) { Held::High } else { Held::Middle })
}

fn quiet_band(view: &View, limits: &Limits) -> Option<u8> {
    let (mean, rate) = (view.mean?, view.rate()?);
    (rate.abs() < limits.get(LimitId::HeldRate)).then(|| band(mean) as u8)
}

/// How much faster cells age at this heat than at 25 °C, by Arrhenius; never below 1. Only sensors of a known role
/// that sit on cells or case count: electronics are hot in their own right.
#[must_use]
fn heat(view: &View, limits: &Limits) -> f64 {
    let hottest = view.hottest().filter(|sensor| view.role_known && sensor.celsius > REFERENCE);
    hottest.map_or(1.0, |sensor| {
        let inverse = 1.0 / (REFERENCE + KELVIN) - 1.0 / (sensor.celsius + KELVIN);
        (limits.get(LimitId::HeatActivation) / GAS * inverse).exp()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Story, four_cells};
    use crate::engine::view::SensorNow;
    use crate::model::bank::SensorRole;

    const DAY: f64 = 86_400.0;

    fn weight(celsius: f64, role_known: bool) -> f64 {
        let sensor = SensorNow { sensor: 0, celsius, role: SensorRole::Case, cell: None, count: 1 };
        let mut view = View::default();
        view.limiting.push(sensor);
        view.role_known = role_known;
        (heat(&view, &Limits::default()) * 100.0).round() / 100.0
    }

    /// Check value of the trade's rule of thumb: 36 °C ages about twice as fast as 25 °C.
    #[test]
    fn heat_weighs_by_arrhenius_and_cold_never_makes_up_for_it() {
        assert_eq!([weight(25.0, true), weight(36.0, true), weight(45.0, true)], [1.0, 1.96, 3.29]);
        assert_eq!([weight(-10.0, true), weight(70.0, false)], [1.0, 1.0]);
        assert_eq!(heat(&View::default(), &Limits::default()), 1.0);
    }

    /// Seventy days: held at night, a gap of a week, then low.
    fn told() -> Story {
        let mut story = Story::new(four_cells());
        let mut stretch = |from: f64, to: f64, night: f64| {
            story.run(from * DAY, to * DAY, 300.0, |t, bus| {
                let held = (t / DAY).fract() < 0.25;
                bus.celsius(0, 20.0);
                bus.cells(&[if held { night } else { 3.30 }; 4]);
                bus.current(if held { 0.5 } else { -2.0 });
            });
        };
        stretch(0.0, 40.0, 3.56);
        stretch(47.0, 70.0, 3.50);
        story
    }

    #[test]
    fn windows_hold_what_lies_in_them_across_gaps_and_what_is_older_is_dropped() {
        let story = told();
        let hours = &story.engine.packs[0].estimates.hours;
        assert!(hours.is_within_bounds(), "every sum equals the sum of its hours");
        // The last 30 days have no night before day 40; the last 45 have those of the days 25 to 40.
        assert_eq!(hours.held_hours(Window::HighHours), 0.0);
        assert!(
            (hours.held_hours(Window::HighLong) - 15.0 * 6.0).abs() < 3.0,
            "{}",
            hours.held_hours(Window::HighLong)
        );
        let middle = hours.held_hours(Window::MiddleLong);
        assert!((middle - 23.0 * 6.0).abs() < 3.0, "{middle}");
        assert!(hours.past.len() <= HOURS_KEPT as usize + 1);
    }

    #[test]
    fn days_keep_time_in_bands_extremes_and_charge_and_none_is_made_up_for_the_gap() {
        let story = told();
        let days = story.engine.days().remove(0).days;
        assert!((63..=65).contains(&days.len()), "{}", days.len());
        let day = &days[10];
        assert_eq!((day.cells.seen(), day.celsius.seen()), (Some((3300, 3560)), Some((20, 20))));
        assert!(day.seen_s.abs_diff(86_400) <= 300 && day.quiet_s[3].abs_diff(21_600) <= 600, "{day:?}");
        assert!(day.charged_mah.abs_diff(3_000) < 100 && day.drawn_mah.abs_diff(36_000) < 300, "{day:?}");
    }

    #[test]
    fn seventy_days_take_little_room_in_a_saved_state() {
        let story = told();
        let bytes = postcard::to_stdvec(&story.engine.packs[0].estimates.hours).unwrap().len();
        assert!(bytes < 32_000, "{bytes} bytes");
    }
}

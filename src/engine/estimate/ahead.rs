//! How long it lasts at the present use: time to empty, or to full, from the mean current of the last quarter of an hour
//! and the capacity at this temperature and rate.

use super::habits::Told;
use super::offset::assumed;
use super::soc::Known;
use crate::curve::{CAPACITY_FAST, CAPACITY_FAST_HIGH, CAPACITY_FAST_LOW, CAPACITY_SLOW_PLETT};
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::Stamp;
use crate::model::limits::Limits;
use serde::{Deserialize, Serialize};

/// Marks, one a minute.
const MARKS: usize = 16;
/// The mean is taken over at least this long, s.
const LEAST_SECS: f64 = 840.0;
/// And at most this long: where readings are sparse the marks are.
const MOST_SECS: f64 = 3600.0;
/// Part of it in which the current must have been known.
const SEEN: f64 = 0.9;
/// Rate at which the fast capacity holds, C.
const FAST: f64 = 0.5;
/// The end of a charge takes longer than its current says: this much is left open, h.
const TAPER_H: f64 = 1.5;

/// Charge counted at a moment: net Ah and seconds.
type Mark = (Stamp, f64, f64);

/// The last quarter of an hour.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Ahead {
    marks: [Option<Mark>; MARKS],
    made: u32,
}

/// Share of the capacity at 25 °C that can be drawn at a temperature and rate: at least, most likely, at most.
#[must_use]
pub fn usable(celsius: f64, rate: f64) -> (f64, f64, f64) {
    let slow = CAPACITY_SLOW_PLETT.at(celsius);
    let part = (rate / FAST).clamp(0.0, 1.0);
    let at = |fast: f64| slow + (fast - slow) * part;
    let (low, best, high) = (CAPACITY_FAST_LOW.at(celsius), CAPACITY_FAST.at(celsius), CAPACITY_FAST_HIGH.at(celsius));
    (at(low), at(best), at(high))
}

impl Ahead {
    /// Takes a mark; called once a minute.
    pub fn mark(&mut self, view: &View, told: &Told) {
        if let Some(place) = self.marks.get_mut(self.made as usize % MARKS) {
            *place = Some((view.now, told.charge.net(), told.charge.secs));
        }
        self.made = self.made.wrapping_add(1);
    }

    /// Mean current of the last quarter of an hour, A; none when too little of it was seen.
    #[must_use]
    pub fn mean(&self, pack: &Pack) -> Option<f64> {
        let charge = &pack.estimates.charge;
        let now = pack.view.now;
        let long = self.marks.iter().flatten().filter(|(at, ..)| now.since(*at) >= LEAST_SECS);
        let (at, net, secs) = *long.max_by_key(|(at, ..)| *at)?;
        let (elapsed, seen) = (now.since(at), charge.secs - secs);
        (elapsed <= MOST_SECS && seen >= SEEN * elapsed).then(|| (charge.net() - net) / seen * 3600.0)
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack, limits: &Limits) -> Vec<Estimate> {
        let subject = pack.subject();
        let names = ["mean_15_min_a", "to_empty_h", "to_full_h"];
        let Some(mean) = self.mean(pack) else {
            return names
                .map(|name| Estimate::unknown(name, subject, "no valid current over the last 15 minutes"))
                .into();
        };
        let (capacity, soc) = (pack.view.capacity, pack.estimates.soc.estimate(&pack.view, pack.view.now, limits));
        let (Some(capacity), Ok((soc, _))) = (capacity, soc) else {
            let mut rows = vec![Estimate::known(names[0], subject, mean)];
            rows.extend(
                names.iter().skip(1).map(|name| Estimate::unknown(name, subject, "the state of charge is not known")),
            );
            return rows;
        };
        let learnt = pack.estimates.soc.learnt_offset();
        let amps = mean - learnt.map_or(0.0, |learnt| learnt.amps);
        let half = learnt.map_or(assumed(capacity, limits), |learnt| learnt.half);
        let mean = Estimate::known(names[0], subject, amps).within(amps - half, amps + half);
        let hours = |ah: f64, amps: f64| (ah * capacity).max(0.0) / amps;
        if amps.abs() <= half {
            let why = "next to no current flows";
            return vec![mean, Estimate::unknown(names[1], subject, why), Estimate::unknown(names[2], subject, why)];
        }
        let Some(celsius) = pack.view.coldest().map(|sensor| sensor.celsius).filter(|_| amps < 0.0) else {
            return charging_or_blind(mean, (amps, half), capacity, soc);
        };
        let (low, best, high) = usable(celsius, -amps / capacity);
        let empty = Estimate {
            low: Some(hours(soc.low - (1.0 - low), half - amps)),
            high: Some(hours(soc.high - (1.0 - high), (-amps - half).max(1e-3))),
            why: Some(format!("at the mean current of the last 15 minutes and {celsius:.0} °C")),
            ..Estimate::known(names[1], subject, hours(soc.best - (1.0 - best), -amps))
        };
        vec![mean, empty, Estimate::unknown(names[2], subject, "it does not charge")]
    }
}

/// While it charges, or no temperature is known; `amps` is the mean current and what the sensor may read at zero.
fn charging_or_blind(mean: Estimate, (amps, half): (f64, f64), capacity: f64, soc: Known) -> Vec<Estimate> {
    let (subject, empty, full) = (mean.subject, "to_empty_h", "to_full_h");
    let hours = |share: f64, amps: f64| (share * capacity).max(0.0) / amps;
    if amps < 0.0 {
        let why = "no valid temperature: the capacity depends on it";
        return vec![
            mean,
            Estimate::unknown(empty, subject, why),
            Estimate::unknown(full, subject, "it does not charge"),
        ];
    }
    let full = Estimate {
        low: Some(hours(1.0 - soc.high, amps + half)),
        high: Some(hours(1.0 - soc.low, (amps - half).max(1e-3)) + TAPER_H),
        why: Some("at the mean current of the last 15 minutes; the end of a charge takes longer".into()),
        ..Estimate::known(full, subject, hours(1.0 - soc.best, amps))
    };
    vec![mean, Estimate::unknown(empty, subject, "it charges"), full]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Story, four_cells};

    /// Common practice, no source: 100 Ah at freezing gives about 100 Ah slowly and about 85 Ah at C/2; about 103 Ah at
    /// 38 °C at most.
    #[test]
    fn capacity_at_temperature_and_rate_meets_the_trade() {
        let (_, slow, _) = usable(0.0, 0.03);
        let (low, fast, high) = usable(0.0, 0.5);
        assert!((slow - 0.98).abs() < 0.02 && (fast - 0.85).abs() < 0.01, "{slow} {fast}");
        assert!(low <= 0.80 && high >= 0.95);
        assert!((usable(38.0, 0.5).2 - 1.03).abs() < 0.01);
    }

    fn row(story: &Story, name: &str) -> (Option<f64>, Option<f64>, Option<f64>) {
        let row = story.snapshot().estimates.into_iter().find(|row| row.name == name).unwrap();
        let tenth = |value: Option<f64>| value.map(|value| (value * 10.0).round() / 10.0);
        (tenth(row.low), tenth(row.value), tenth(row.high))
    }

    fn told(step: f64, celsius: f64, after: f64) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, 6.0 * 3600.0, step, |t, bus| {
            bus.celsius(0, celsius);
            bus.cells(&[3.6; 4]);
            bus.current(40.0 * (-t / 3600.0).exp());
        });
        story.run(6.0 * 3600.0, 8.0 * 3600.0, step, |_, bus| {
            bus.celsius(0, celsius);
            bus.cells(&[3.25; 4]);
            bus.current(after);
        });
        story
    }

    #[test]
    fn a_load_of_ten_amperes_empties_four_fifths_in_about_eight_hours() {
        for step in [1.0, 60.0] {
            let story = told(step, 25.0, -10.0);
            let (low, value, high) = row(&story, "to_empty_h");
            assert!((value.unwrap() - 7.9).abs() < 0.2, "{value:?}");
            assert!(low.unwrap() > 7.0 && low < value && high > value && high.unwrap() < 8.6, "{low:?} {high:?}");
            assert_eq!(row(&story, "to_full_h"), (None, None, None));
        }
        let (cold, warm) = (row(&told(10.0, -10.0, -30.0), "to_empty_h"), row(&told(10.0, 25.0, -30.0), "to_empty_h"));
        assert!(cold.1.unwrap() < warm.1.unwrap() - 0.2, "{cold:?} {warm:?}");
    }

    #[test]
    fn next_to_no_current_lasts_nobody_knows_how_long() {
        let story = told(10.0, 25.0, -0.05);
        assert_eq!(row(&story, "to_empty_h"), (None, None, None));
        assert_eq!(row(&told(10.0, 25.0, 0.0), "to_full_h").1, None);
    }
}

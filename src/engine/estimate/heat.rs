//! Heat over the last thirty days: hours per band of temperature, and how much faster than at 25 °C the cells age
//! by it, with the spread of the published models.

use crate::curve::{AGEING, arrhenius};
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Days of the window.
pub const WINDOW_DAYS: u32 = 30;
/// Upper ends of the bands but the last, °C.
const ENDS: [f64; 7] = [0.0, 10.0, 25.0, 30.0, 38.0, 45.0, 55.0];
/// Names of the rows of the bands.
const BANDS: [&str; ENDS.len() + 1] = [
    "hours_of_30d_below_0c",
    "hours_of_30d_0_to_10c",
    "hours_of_30d_10_to_25c",
    "hours_of_30d_25_to_30c",
    "hours_of_30d_30_to_38c",
    "hours_of_30d_38_to_45c",
    "hours_of_30d_45_to_55c",
    "hours_of_30d_above_55c",
];
/// Our own weight, then the models'.
const WEIGHTS: usize = AGEING.len() + 1;

/// A day, or a sum of days, in seconds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Bucket {
    day: u32,
    seen: f64,
    hot: f64,
    bands: [f64; BANDS.len()],
    weighted: [f64; WEIGHTS],
}

impl Bucket {
    fn plus(mut self, other: &Self) -> Self {
        self.seen += other.seen;
        self.hot += other.hot;
        self.bands.iter_mut().zip(other.bands).for_each(|(sum, more)| *sum += more);
        self.weighted.iter_mut().zip(other.weighted).for_each(|(sum, more)| *sum += more);
        self
    }
}

/// How fast cells age at a temperature, relative to 25 °C.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Pace {
    celsius: f64,
    weights: [f64; WEIGHTS],
}

/// Heat over the last thirty days.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Heat {
    today: Bucket,
    past: VecDeque<Bucket>,
    /// Sum of the past days.
    closed: Bucket,
    /// The hottest sensor at the tick before.
    pace: Option<Pace>,
}

/// What thirty days come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Felt {
    /// Hours in which a temperature was seen.
    pub seen_h: f64,
    /// Hours above the mark of `hot-exposure`.
    pub hot_h: f64,
    /// Ageing over the whole window relative to 25 °C, hours that were not seen counted as nothing.
    pub at_least: f64,
    /// Ageing relative to 25 °C over the hours seen.
    pub ageing: f64,
    /// Lowest and highest of the published models, over the hours seen.
    pub spread: (f64, f64),
}

impl Heat {
    /// Moves on by one tick. Only sensors of a known role on cells or case count.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        let day = u32::try_from(view.now.secs() / 86_400).unwrap_or(0);
        if day != self.today.day {
            self.turn(day);
        }
        let hottest = view.hottest().filter(|_| view.role_known).map(|sensor| sensor.celsius);
        if let (Some(celsius), Some(pace)) = (hottest, self.pace) {
            let secs = view.secs();
            let band = ENDS.iter().position(|end| pace.celsius < *end).unwrap_or(ENDS.len());
            self.today.seen += secs;
            self.today.bands[band] += secs;
            self.today.weighted.iter_mut().zip(pace.weights).for_each(|(sum, weight)| *sum += weight * secs);
            if celsius.min(pace.celsius) > limits.get(LimitId::HotExposureCelsius) {
                self.today.hot += secs;
            }
        }
        let same = self.pace.filter(|pace| Some(pace.celsius) == hottest);
        self.pace = same.or_else(|| hottest.map(|celsius| Pace { celsius, weights: weights(celsius, limits) }));
    }

    /// Closes the day under way.
    fn turn(&mut self, day: u32) {
        let done = std::mem::replace(&mut self.today, Bucket { day, ..Bucket::default() });
        if done.seen > 0.0 {
            self.past.push_back(done);
        }
        while self.past.front().is_some_and(|oldest| oldest.day.saturating_add(WINDOW_DAYS) <= day) {
            self.past.pop_front();
        }
        self.closed = self.past.iter().fold(Bucket::default(), Bucket::plus);
    }

    /// What the last thirty days come to; none before a temperature was seen.
    #[must_use]
    pub fn felt(&self) -> Option<Felt> {
        let sum = self.closed.plus(&self.today);
        if sum.seen <= 0.0 {
            return None;
        }
        let [own, models @ ..] = sum.weighted;
        let fold = |pick: fn(f64, f64) -> f64| models.iter().copied().fold(own, pick) / sum.seen;
        Some(Felt {
            seen_h: sum.seen / 3600.0,
            hot_h: sum.hot / 3600.0,
            at_least: own / (f64::from(WINDOW_DAYS) * 86_400.0),
            ageing: own / sum.seen,
            spread: (fold(f64::min), fold(f64::max)),
        })
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.past.len() <= WINDOW_DAYS as usize + 1
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack) -> Vec<Estimate> {
        let subject = pack.subject();
        let Some(felt) = self.felt() else {
            return vec![Estimate::unknown("ageing_by_heat_times", subject, "no cell or case temperature was seen")];
        };
        let (low, high) = felt.spread;
        let mut rows = vec![
            Estimate::known("ageing_by_heat_times", subject, felt.ageing)
                .within(low, high)
                .because("relative to 25 °C over the hours seen; bounds: the spread of published models"),
            Estimate::known("hours_hot_of_30d", subject, felt.hot_h),
        ];
        let sum = self.closed.plus(&self.today);
        let bands = BANDS.into_iter().zip(sum.bands).filter(|(_, secs)| *secs > 0.0);
        rows.extend(bands.map(|(name, secs)| Estimate::known(name, subject, secs / 3600.0)));
        rows
    }
}

fn weights(celsius: f64, limits: &Limits) -> [f64; WEIGHTS] {
    let mut weights = [arrhenius(celsius, limits.get(LimitId::HeatActivation)); WEIGHTS];
    for (weight, model) in weights.iter_mut().skip(1).zip(&AGEING) {
        *weight = model.ratio(celsius);
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Story, four_cells};

    const DAY: f64 = 86_400.0;

    fn felt(days: f64, celsius: impl Fn(f64) -> f64) -> Felt {
        let mut story = Story::new(four_cells());
        story.run(0.0, days * DAY, 600.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.celsius(0, celsius(t / DAY));
            bus.celsius(1, 80.0);
        });
        story.engine.packs[0].estimates.habits.heat.felt().unwrap()
    }

    #[test]
    fn a_month_at_38_degrees_is_told_with_the_spread_of_the_models() {
        let felt = felt(31.0, |_| 38.1);
        assert!((felt.ageing - 2.21).abs() < 0.03, "{felt:?}");
        assert!((felt.spread.0 - 1.34).abs() < 0.02 && (felt.spread.1 - 2.23).abs() < 0.03, "{felt:?}");
        assert!((felt.hot_h - 720.0).abs() < 25.0, "{felt:?}");
        assert!((felt.at_least - 2.15).abs() < 0.1, "{felt:?}");
    }

    #[test]
    fn what_is_older_than_thirty_days_is_forgotten_and_unseen_days_count_as_nothing() {
        let old = felt(45.0, |day| if day < 14.0 { 45.0 } else { 20.0 });
        assert!(old.hot_h < 1.0 && old.ageing < 1.0, "{old:?}");
        let short = felt(3.0, |_| 45.0);
        assert!((short.ageing - 3.29).abs() < 0.05 && short.at_least < 0.35, "{short:?}");
    }

    /// Common practice, no source: cycling always above 38 °C ages about 30 % faster; inside the models' spread.
    #[test]
    fn the_trade_s_figure_lies_inside_the_spread() {
        let felt = felt(10.0, |_| 38.0);
        assert!(felt.spread.0 <= 1.34 && 1.3 < felt.spread.1);
    }
}

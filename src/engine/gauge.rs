//! One value as it keeps arriving: the last number, how old it may get, and the extremes that no second may lose.

use crate::model::snapshot::{Shown, Standing};
use crate::model::{NANOS_PER_SEC, Stamp, Value};
use serde::{Deserialize, Serialize};

/// Period assumed before a second reading has come: a log at one set a minute.
const FIRST_PERIOD: i64 = 60 * NANOS_PER_SEC;
/// Readings during which the longest interval seen is taken for the usual one.
const LEARNING: u32 = 8;
/// No value is called stale sooner than this, however fast it usually comes.
const LEAST_VALID_SECS: f64 = 2.0;

/// How the latest arrival stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
enum Last {
    #[default]
    Nothing,
    Number,
    Missing,
    Invalid,
}

/// Extremes of a stretch of readings, and the second extreme, for what needs two readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Extremes {
    /// Lowest.
    pub low: f64,
    /// Second lowest.
    pub low2: f64,
    /// Highest.
    pub high: f64,
    /// Second highest.
    pub high2: f64,
}

impl Extremes {
    const fn at(number: f64) -> Self {
        Self { low: number, low2: number, high: number, high2: number }
    }

    fn take(&mut self, number: f64, first: bool) {
        if first {
            *self = Self { low: number, low2: f64::MAX, high: number, high2: f64::MIN };
            return;
        }
        if number < self.low {
            self.low2 = self.low;
            self.low = number;
        } else if number < self.low2 {
            self.low2 = number;
        }
        if number > self.high {
            self.high2 = self.high;
            self.high = number;
        } else if number > self.high2 {
            self.high2 = number;
        }
    }
}

/// A value as it keeps arriving.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Gauge {
    value: f64,
    last: Last,
    /// When anything last arrived, also 'not available'.
    at: Stamp,
    /// When a number last arrived.
    good_at: Stamp,
    /// Usual time between two readings, ns.
    period: i64,
    count: u32,
    /// Extremes since the last tick; meaningful only while `fresh` is not 0.
    recent: Extremes,
    fresh: u16,
    /// It is sent only when a device asks: that it does not come says nothing.
    asked: bool,
    lowest: f64,
    highest: f64,
}

impl Default for Gauge {
    fn default() -> Self {
        Self {
            value: 0.0,
            last: Last::Nothing,
            at: Stamp::MIN,
            good_at: Stamp::MIN,
            period: FIRST_PERIOD,
            count: 0,
            recent: Extremes::at(0.0),
            fresh: 0,
            asked: false,
            lowest: f64::MAX,
            highest: f64::MIN,
        }
    }
}

impl Gauge {
    /// Takes an arrival.
    #[inline(always)]
    pub fn put(&mut self, now: Stamp, value: Value) {
        match value {
            Value::Present(number) => self.take(now, number),
            Value::Missing if self.last == Last::Nothing => {}
            Value::Missing => {
                self.last = Last::Missing;
                self.at = now;
            }
            Value::Invalid(_) => {
                self.last = Last::Invalid;
                self.at = now;
            }
        }
    }

    fn take(&mut self, now: Stamp, number: f64) {
        if self.count > 0 {
            self.learn(now.nanos().saturating_sub(self.good_at.nanos()));
        }
        self.value = number;
        self.last = Last::Number;
        self.at = now;
        self.good_at = now;
        self.count = self.count.saturating_add(1);
        self.recent.take(number, self.fresh == 0);
        self.fresh = self.fresh.saturating_add(1);
    }

    #[inline]
    fn learn(&mut self, interval: i64) {
        if self.count >= LEARNING && interval <= self.period.saturating_mul(3) {
            self.period += (interval - self.period) / 8;
        } else if self.count == 1 {
            self.period = interval;
        } else if self.count < LEARNING {
            self.period = self.period.max(interval);
        } else {
            self.period = interval.min(self.period / 4 * 5 + NANOS_PER_SEC / 1000);
        }
    }

    /// Ends the second: extremes start anew with the next reading.
    pub fn end_second(&mut self) {
        if self.fresh > 0 {
            self.lowest = self.lowest.min(self.recent.low);
            self.highest = self.highest.max(self.recent.high);
            self.fresh = 0;
        }
    }

    /// Forgets the lowest and the highest reading so far.
    pub fn forget_extremes(&mut self) {
        (self.lowest, self.highest) = (f64::MAX, f64::MIN);
    }

    /// Usual time between two readings, s.
    #[must_use]
    pub fn period(&self) -> f64 {
        self.period as f64 * 1e-9
    }

    /// Seconds for which a reading stays valid, at so many periods.
    #[must_use]
    pub fn valid_secs(&self, periods: f64) -> f64 {
        (periods * self.period()).max(LEAST_VALID_SECS)
    }

    /// The number, if one stands and is not older than so many of its periods.
    #[must_use]
    #[inline]
    pub fn now(&self, now: Stamp, periods: f64) -> Option<f64> {
        (self.last == Last::Number && now.since(self.good_at) <= self.valid_secs(periods)).then_some(self.value)
    }

    /// The state of a switch, if it stands.
    #[must_use]
    pub fn switch(&self, now: Stamp, periods: f64) -> Option<bool> {
        self.now(now, periods).map(|number| number > 0.5)
    }

    /// When the number that stands stops being valid.
    #[must_use]
    pub fn valid_until(&self, periods: f64) -> Option<Stamp> {
        (self.last == Last::Number).then(|| self.good_at.plus_secs(self.valid_secs(periods)))
    }

    /// Seconds since anything last arrived, once it is longer ago than so many periods and so many seconds;
    /// never for a value of which too few readings came to know its period.
    #[must_use]
    pub fn silent_secs(&self, now: Stamp, periods: f64, secs: f64) -> Option<f64> {
        self.unheard_secs(now, periods, secs).filter(|_| !self.asked)
    }

    /// The same, also for a value that is sent only when a device asks.
    #[must_use]
    pub fn unheard_secs(&self, now: Stamp, periods: f64, secs: f64) -> Option<f64> {
        let silent = now.since(self.heard_at()?);
        (self.count >= 3 && silent > self.silence_found(periods, secs)).then_some(silent)
    }

    /// Says whether it is sent only when a device asks.
    pub fn set_asked(&mut self, asked: bool) {
        self.asked = asked;
    }

    /// Whether it is sent only when a device asks.
    #[must_use]
    pub fn is_asked(&self) -> bool {
        self.asked
    }

    fn silence_found(&self, periods: f64, secs: f64) -> f64 {
        (periods * self.period()).max(secs)
    }

    /// The next moment after `now` at which this value changes its standing with nothing arriving.
    #[must_use]
    pub fn next_change(&self, now: Stamp, valid_periods: f64, silence: (f64, f64)) -> Option<Stamp> {
        let heard = self.heard_at()?;
        let invalid = self.valid_until(valid_periods).filter(|at| *at >= now);
        let silent = heard.plus_secs(self.silence_found(silence.0, silence.1));
        let silent = (self.count >= 3 && silent >= now).then_some(silent);
        invalid.into_iter().chain(silent).min()
    }

    /// What stood is no longer asked for: a recording ended, or the computer slept.
    pub fn pause(&mut self) {
        self.last = Last::Nothing;
    }

    /// Readings that were numbers, since the start.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Whether a number came since the last tick.
    #[must_use]
    pub fn is_fresh(&self) -> bool {
        self.fresh > 0
    }

    /// Extremes since the last tick; the standing number where nothing came.
    #[must_use]
    pub fn recent(&self) -> Extremes {
        match self.fresh {
            0 => Extremes::at(self.value),
            1 => Extremes { low2: self.recent.low, high2: self.recent.high, ..self.recent },
            _ => self.recent,
        }
    }

    /// Readings since the last tick.
    #[must_use]
    pub fn fresh(&self) -> u16 {
        self.fresh
    }

    /// The last number and its moment, however old.
    #[must_use]
    pub fn last_good(&self) -> Option<(Stamp, f64)> {
        (self.count > 0).then_some((self.good_at, self.value))
    }

    /// Whether numbers came once and now the bus says 'not available' or 'error'.
    #[must_use]
    pub fn is_refused(&self) -> bool {
        self.count > 0 && matches!(self.last, Last::Missing | Last::Invalid)
    }

    /// When anything last arrived.
    #[must_use]
    pub fn heard_at(&self) -> Option<Stamp> {
        (self.last != Last::Nothing).then_some(self.at)
    }

    /// For the screen.
    #[must_use]
    pub fn shown(&self, now: Stamp, periods: f64) -> Shown {
        let standing = match self.last {
            Last::Nothing => Standing::Unseen,
            Last::Missing => Standing::Missing,
            Last::Invalid => Standing::Invalid,
            Last::Number if self.now(now, periods).is_some() => Standing::Present,
            Last::Number => Standing::Stale,
        };
        let any = self.count > 0;
        let recent = self.recent();
        Shown {
            value: any.then_some(self.value),
            standing,
            age_secs: any.then(|| now.since(self.good_at).max(0.0)),
            lowest: any.then_some(self.lowest.min(recent.low)),
            highest: any.then_some(self.highest.max(recent.high)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(secs: f64) -> Stamp {
        Stamp::from_secs(1_000).plus_secs(secs)
    }

    #[test]
    fn a_value_is_valid_for_three_of_its_periods() {
        let mut gauge = Gauge::default();
        for second in 0..20 {
            gauge.put(at(f64::from(second) * 10.0), Value::Present(3.3));
        }
        assert_eq!(gauge.now(at(190.0 + 29.0), 3.0), Some(3.3));
        assert_eq!(gauge.now(at(190.0 + 31.0), 3.0), None);
        assert_eq!(gauge.shown(at(300.0), 3.0).standing, Standing::Stale);
    }

    #[test]
    fn not_available_is_at_once_no_number_and_never_zero() {
        let mut gauge = Gauge::default();
        gauge.put(at(0.0), Value::Missing);
        assert_eq!(
            gauge.shown(at(0.0), 3.0).standing,
            Standing::Unseen,
            "a sensor that never gave a value is not fitted"
        );
        gauge.put(at(1.0), Value::Present(21.0));
        gauge.put(at(2.0), Value::Missing);
        assert_eq!(gauge.now(at(2.0), 3.0), None);
        assert!(gauge.is_refused());
    }

    #[test]
    fn a_second_keeps_its_two_extremes() {
        let mut gauge = Gauge::default();
        for (tenth, volts) in [3.3, 3.95, 3.31, 3.92, 3.2].into_iter().enumerate() {
            gauge.put(at(tenth as f64 * 0.1), Value::Present(volts));
        }
        let recent = gauge.recent();
        assert_eq!((recent.low, recent.low2, recent.high, recent.high2), (3.2, 3.3, 3.95, 3.92));
        gauge.end_second();
        assert_eq!(gauge.recent().high, 3.2);
    }
}

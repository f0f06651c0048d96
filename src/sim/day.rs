//! The course of a day: air, sun, clouds, and the hours at which things run.

use super::random::fate;
use super::scenario::{Span, Weather};

/// Labels of what the seed decides by day.
const AIR: u64 = 1;
const CLOUD: u64 = 2;
/// Clouds change over this long, seconds.
const CLOUD_SECS: f64 = 900.0;

/// Seconds since the start as day (from 0) and hour of the day.
pub(super) fn day_and_hour(secs: f64) -> (i64, f64) {
    let day = (secs / 86_400.0).floor();
    (day as i64, (secs - day * 86_400.0) / 3600.0)
}

/// Air around the bank, °C.
pub(super) fn air(weather: &Weather, seed: u64, secs: f64) -> f64 {
    let days = secs / 86_400.0;
    let (day, hour) = day_and_hour(secs);
    let part = hour / 24.0;
    let differs = |day: i64| (fate(seed, AIR, day) * 2.0 - 1.0) * weather.differs;
    let of_day = differs(day) * (1.0 - part) + differs(day + 1) * part;
    let turn = (hour - weather.warmest) / 24.0 * std::f64::consts::TAU;
    weather.mean + weather.swing * turn.cos() + of_day + weather.trend * days
}

/// The sun on the panels, 0 to 1.
pub(super) fn sun(weather: &Weather, seed: u64, secs: f64) -> f64 {
    let (_, hour) = day_and_hour(secs);
    let [rise, set] = weather.sun;
    if hour <= rise || hour >= set {
        return 0.0;
    }
    let clear = ((hour - rise) / (set - rise) * std::f64::consts::PI).sin().powf(1.2);
    let step = secs / CLOUD_SECS;
    let part = step - step.floor();
    let cloud = |step: f64| fate(seed, CLOUD, step as i64);
    let cover = cloud(step.floor()) * (1.0 - part) + cloud(step.floor() + 1.0) * part;
    clear * (1.0 - weather.clouds * cover)
}

/// Whether something with these spans runs now; without spans it always does. `what` tells things apart whose
/// beginning moves from day to day.
pub(super) fn runs(spans: &[Span], seed: u64, what: u64, secs: f64) -> bool {
    if spans.is_empty() {
        return true;
    }
    let (day, hour) = day_and_hour(secs);
    spans.iter().enumerate().any(|(index, span)| {
        let on_day = span.days.is_empty() || u32::try_from(day).is_ok_and(|day| span.days.contains(&day));
        let moved = (fate(seed, what << 8 | index as u64, day) * 2.0 - 1.0) * span.moves / 60.0;
        on_day && hour >= span.from + moved && hour < span.to + moved
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weather() -> Weather {
        Weather { mean: 10.0, swing: 5.0, warmest: 15.0, differs: 0.0, trend: 0.0, sun: [6.0, 18.0], clouds: 0.3 }
    }

    #[test]
    fn it_is_warmest_in_the_afternoon_and_dark_at_night() {
        let weather = weather();
        assert!((air(&weather, 1, 15.0 * 3600.0) - 15.0).abs() < 1e-9);
        assert!((air(&weather, 1, 3.0 * 3600.0) - 5.0).abs() < 1e-9);
        assert_eq!(sun(&weather, 1, 4.0 * 3600.0), 0.0);
        let noon = sun(&weather, 1, 12.0 * 3600.0);
        assert!((0.7..=1.0).contains(&noon), "{noon}");
    }

    #[test]
    fn a_span_holds_on_its_days_only() {
        let spans = [Span { from: 8.0, to: 9.0, moves: 0.0, days: vec![1] }];
        assert!(!runs(&spans, 1, 0, 8.5 * 3600.0));
        assert!(runs(&spans, 1, 0, (24.0 + 8.5) * 3600.0));
        assert!(!runs(&spans, 1, 0, (24.0 + 9.0) * 3600.0));
        assert!(runs(&[], 1, 0, 0.0));
    }
}

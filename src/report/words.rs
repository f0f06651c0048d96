//! Moments, numbers and units as people and programs read them.

use crate::model::{Fact, Rejection, Stamp};

/// Endings of names and the unit that they stand for. A longer ending stands before the one that it ends with.
const UNITS: &[(&str, &str)] = &[
    ("_c_rate", "of the capacity per hour"),
    ("_mv_per_k", "mV/K"),
    ("_k_per_h", "K/h"),
    ("_number", "in the row"),
    ("_points", "points"),
    ("_cycles", "cycles"),
    ("_times", "times"),
    ("_percent", "%"),
    ("_fraction", "of full"),
    ("_frames", "frames"),
    ("_minutes", "min"),
    ("_mohm", "mΩ"),
    ("_days", "days"),
    ("_degc", "°C"),
    ("_ah", "Ah"),
    ("_mv", "mV"),
    ("_ma", "mA"),
    ("_ms", "ms"),
    ("_wh", "Wh"),
    ("_v", "V"),
    ("_a", "A"),
    ("_w", "W"),
    ("_k", "K"),
    ("_h", "h"),
    ("_s", "s"),
];

/// Beginnings of names and the unit that they stand for: sums over time.
const SUMS: &[(&str, &str)] = &[("minutes_", "min"), ("hours_", "h"), ("ah_", "Ah")];

/// Names whose unit does not stand at either end, and how they read.
const ODD: &[(&str, &str, &str)] = &[
    ("held_high_h_30_days", "held high in 30 days", "h"),
    ("balance_h_30_days", "balancing in 30 days", "h"),
    ("hours_hot_of_30d", "hot in 30 days", "h"),
    ("at_100_a_mv", "at 100 A", "mV"),
];

/// A moment as RFC 3339 in UTC, with as many digits of the second as it needs.
#[must_use]
pub fn rfc3339(stamp: Stamp) -> String {
    let whole = stamp.to_string();
    match whole.strip_suffix('Z') {
        Some(digits) if digits.contains('.') => {
            format!("{}Z", digits.trim_end_matches('0').trim_end_matches('.'))
        }
        _ => whole,
    }
}

/// A moment for people, to the second, in UTC.
pub(super) fn moment(stamp: Stamp) -> String {
    format!("{stamp:.0}").replace('T', " ").replace('Z', "")
}

/// A length of time for people.
pub(super) fn duration(secs: f64) -> String {
    if !secs.is_finite() {
        return "-".into();
    }
    let whole = secs.max(0.0).round() as u64;
    let (days, hours, minutes) = (whole / 86_400, whole / 3600 % 24, whole / 60 % 60);
    match whole {
        0..60 => format!("{whole} s"),
        60..3600 => format!("{minutes} min {} s", whole % 60),
        3600..86_400 => format!("{hours} h {minutes} min"),
        _ => format!("{days} d {hours} h"),
    }
}

/// A number for people: three digits behind the point at most, none that say nothing; a dash for what is no number.
pub(super) fn number(value: f64) -> String {
    if !value.is_finite() {
        return "-".into();
    }
    let digits = if value.abs() >= 100.0 { 1 } else { 3 };
    let text = format!("{value:.digits$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}

/// A whole number with its thousands apart.
pub(super) fn count(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// A name with its unit in it, taken apart: 'peak_v' is 'peak' in 'V'.
pub(super) fn name_and_unit(name: &str) -> (String, &'static str) {
    if let Some((_, words, unit)) = ODD.iter().find(|(odd, ..)| *odd == name) {
        return ((*words).to_owned(), unit);
    }
    for (ending, unit) in UNITS {
        if let Some(stem) = name.strip_suffix(ending) {
            return (stem.replace('_', " "), unit);
        }
    }
    for (beginning, unit) in SUMS {
        if let Some(rest) = name.strip_prefix(beginning) {
            return (rest.replace('_', " "), unit);
        }
    }
    (name.replace('_', " "), "")
}

/// A figure of evidence for people.
pub(super) fn fact(fact: Fact, value: f64) -> String {
    let (name, unit) = name_and_unit(fact.name());
    with_unit(&format!("{name} {}", number(value)), unit)
}

/// A text with its unit behind it, if it has one.
pub(super) fn with_unit(text: &str, unit: &str) -> String {
    if unit.is_empty() { text.to_owned() } else { format!("{text} {unit}") }
}

/// Why a line or bytes were refused, for people.
#[must_use]
pub const fn refusal(reason: Rejection) -> &'static str {
    match reason {
        Rejection::NoStamp => "no time in brackets at the start",
        Rejection::BadStamp => "a time that cannot be read",
        Rejection::NoInterface => "no name of an interface",
        Rejection::TooManyInterfaces => "more interfaces than a log may have",
        Rejection::BadId => "an identifier that cannot be",
        Rejection::BadHex => "data that is no pairs of hex digits",
        Rejection::TooLong => "more data than a frame carries",
        Rejection::Unsupported => "a form of the log that is not read",
        Rejection::LongLine => "a line longer than any frame's",
        Rejection::TornTail => "the last line is cut off",
        Rejection::Nuls => "nul bytes, as a power cut leaves them",
        Rejection::BadCobs => "a broken envelope",
        Rejection::BadLength => "an envelope of the wrong length",
        Rejection::BadChecksum => "an envelope whose checksum differs",
        Rejection::Overlong => "an envelope without an end",
        Rejection::BadInput => "a reserved line that cannot be read",
        Rejection::TornArchive => "the compressed file ends too early",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_shows_the_digits_it_has() {
        let stamp = Stamp::from_nanos(1_769_835_600_250_000_000);
        assert_eq!(rfc3339(stamp), "2026-01-31T05:00:00.25Z");
        assert_eq!(rfc3339(Stamp::from_secs(1_769_835_600)), "2026-01-31T05:00:00Z");
        assert_eq!(moment(stamp), "2026-01-31 05:00:00");
    }

    #[test]
    fn numbers_say_no_more_than_they_know() {
        let shown = [3.805, 3.3, -0.0001, 1234.56, f64::NAN].map(number);
        assert_eq!(shown, ["3.805", "3.3", "0", "1234.6", "-"]);
        assert_eq!([999, 1000, 1_234_567].map(count), ["999", "1 000", "1 234 567"]);
        assert_eq!([59.0, 61.0, 7_260.0, 100_000.0].map(duration), ["59 s", "1 min 1 s", "2 h 1 min", "1 d 3 h"]);
    }

    #[test]
    fn every_figure_of_evidence_has_a_unit() {
        for figure in Fact::ALL {
            assert_ne!(name_and_unit(figure.name()).1, "", "{}", figure.name());
        }
        assert_eq!(fact(Fact::PeakVolts, 3.8051), "peak 3.805 V");
        assert_eq!(name_and_unit("balance_h_30_days"), ("balancing in 30 days".into(), "h"));
        assert_eq!(name_and_unit("minutes_above_cold_limit"), ("above cold limit".into(), "min"));
    }
}

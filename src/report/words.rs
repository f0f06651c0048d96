//! Moments, numbers and units as people and programs read them.

use crate::model::figure::one_of;
use crate::model::{Fact, Rejection, Stamp, figure};

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

/// What a figure is called, and its unit; its own name where it has no words.
pub(super) fn name_and_unit(name: &str) -> (&str, &'static str) {
    figure(name).map_or((name, ""), |figure| (figure.words, figure.unit))
}

/// A figure's value with no more digits than say something.
pub(super) fn value(name: &str, value: f64) -> String {
    let scale = figure(name).map_or(1e3, |figure| 10_f64.powi(figure.digits as i32));
    number((value * scale).round() / scale)
}

/// A figure of evidence for people.
pub(super) fn fact(fact: Fact, measured: f64) -> String {
    let (words, unit) = name_and_unit(fact.name());
    with_unit(&format!("{words} {}", value(fact.name(), measured)), unit)
}

/// A text with its unit behind it, if it has one.
pub(super) fn with_unit(text: &str, unit: &str) -> String {
    if unit.is_empty() { text.to_owned() } else { format!("{text} {}", one_of(text, unit)) }
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
    }

    #[test]
    fn a_figure_has_its_words_its_unit_and_no_more_digits_than_say_something() {
        assert_eq!(fact(Fact::PeakVolts, 3.8051), "peak 3.805 V");
        assert_eq!(fact(Fact::SinceFullDays, 31.26), "since full 31.3 days");
        assert_eq!(name_and_unit("balance_h_30_days"), ("balancing done, last 30 days", "h"));
        assert_eq!(name_and_unit("a_name_without_words"), ("a_name_without_words", ""));
    }
}

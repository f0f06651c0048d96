//! Foreign text made harmless, once, at the boundary.

/// Replaces control characters and marks that turn the writing direction by U+FFFD and cuts the text at
/// `most` characters. Every name or note that came from a bus, a log or a file passes through here before
/// it may reach a screen, a report or an error.
#[must_use]
pub fn clean(text: &str, most: usize) -> String {
    text.chars().take(most).map(|c| if is_harmless(c) { c } else { '\u{fffd}' }).collect()
}

fn is_harmless(c: char) -> bool {
    let turns_direction = matches!(c, '\u{061c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}');
    !c.is_control() && !turns_direction
}

/// A length of time for people, rounded, in the largest unit that says enough: '42 s', '12 min', '3.5 h', '27 h',
/// '2.4 days', '120 days'. A dash for what is no number.
#[must_use]
pub fn span(secs: f64) -> String {
    let tenths = |value: f64| {
        let text = format!("{value:.1}");
        text.strip_suffix(".0").unwrap_or(&text).to_owned()
    };
    match secs.max(0.0) {
        _ if !secs.is_finite() => "—".into(),
        s if s < 99.5 => format!("{s:.0} s"),
        s if s < 5970.0 => format!("{:.0} min", s / 60.0),
        s if s < 35_820.0 => format!("{} h", tenths(s / 3600.0)),
        s if s < 172_800.0 => format!("{:.0} h", s / 3600.0),
        s if s < 859_680.0 => format!("{} days", tenths(s / 86_400.0)),
        s => format!("{:.0} days", s / 86_400.0),
    }
}

/// Numbers in rising order for people, runs of three and more drawn together: '3–5, 9'.
#[must_use]
pub fn ranges(numbers: impl IntoIterator<Item = usize>) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for number in numbers {
        match runs.last_mut().filter(|(_, last)| number.checked_sub(1) == Some(*last)) {
            Some((_, last)) => *last = number,
            None => runs.push((number, number)),
        }
    }
    let shown = |(first, last): &(usize, usize)| match last - first {
        0 => first.to_string(),
        1 => format!("{first}, {last}"),
        _ => format!("{first}–{last}"),
    };
    runs.iter().map(shown).collect::<Vec<_>>().join(", ")
}

/// The word among `all` that was most likely meant; none when none is near.
#[must_use]
pub fn nearest<'a>(word: &str, all: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    const LIKE: f64 = 0.75;
    if word.len() > 200 {
        return None;
    }
    let likeness = |other: &str| strsim::jaro_winkler(word, other);
    let near = all.into_iter().map(|other| (likeness(other), other)).filter(|(like, _)| *like > LIKE);
    near.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, other)| other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes_and_direction_marks_do_not_pass() {
        assert_eq!(clean("a\x1b[31mb\u{202e}c", 80), "a\u{fffd}[31mb\u{fffd}c");
        assert_eq!(clean("abcdef", 3), "abc");
    }

    #[test]
    fn numbers_in_a_row_are_drawn_together() {
        assert_eq!(ranges([3, 4, 5, 9]), "3–5, 9");
        assert_eq!(ranges([1, 2, 4]), "1, 2, 4");
        assert_eq!(ranges([7]), "7");
        assert_eq!(ranges([]), "");
    }

    #[test]
    fn a_length_of_time_is_rounded_and_never_shows_a_unit_too_small() {
        let shown = [-3.0, 42.4, 99.6, 720.0, 5969.0, 7200.0, 12_600.0, 100_000.0].map(span);
        assert_eq!(shown, ["0 s", "42 s", "2 min", "12 min", "99 min", "2 h", "3.5 h", "28 h"]);
        let shown = [172_800.0, 207_360.0, 860_000.0, 1e7, f64::NAN].map(span);
        assert_eq!(shown, ["2 days", "2.4 days", "10 days", "116 days", "—"]);
    }
}

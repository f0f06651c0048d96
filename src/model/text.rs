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
}

//! Numbers, times and sentences as a person reads them, in fixed places.

use crate::model::figure::{Figure, RATE, one_of};
use crate::model::snapshot::{Motion, Shown, Standing};
use crate::model::{Fact, Stamp, figure, span};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// What stands where there is no number.
pub(super) const DASH: &str = "—";

/// Time of day, UTC: '07:12:03'.
pub(super) fn clock(stamp: Stamp) -> String {
    cut_out(stamp, 11, 19)
}

/// Day and minute, UTC: '2026-01-31 07:12'.
pub(super) fn minute(stamp: Stamp) -> String {
    cut_out(stamp, 0, 16).replace('T', " ")
}

fn cut_out(stamp: Stamp, from: usize, to: usize) -> String {
    let whole = format!("{stamp:.0}");
    whole.get(from..to).map_or(whole.clone(), str::to_owned)
}

/// A moment near another: the time of day on the same day, else day and minute.
pub(super) fn near(stamp: Stamp, now: Option<Stamp>) -> String {
    match now {
        Some(now) if cut_out(now, 0, 10) == cut_out(stamp, 0, 10) => clock(stamp),
        _ => minute(stamp),
    }
}

/// A number with its sign lost when it rounds to nothing.
pub(super) fn number(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => text,
    }
}

/// Amperes without a sign: '4.2 A', '120 A'.
pub(super) fn amps(value: f64) -> String {
    let value = value.abs();
    format!("{} A", number(value, usize::from(value < 99.95)))
}

/// 'charging 38.0 A', 'drawing 12.0 A', 'resting', or why it is not known.
pub(super) fn motion(motion: Motion, current: &Shown) -> String {
    let how_much = |word: &str| current.now().map_or(word.to_owned(), |a| format!("{word} {}", amps(a)));
    match motion {
        Motion::Charging => how_much("charging"),
        Motion::Drawing => how_much("drawing"),
        Motion::Resting => match current.now() {
            Some(a) if a >= 0.05 => format!("resting ({} in)", amps(a)),
            Some(a) if a <= -0.05 => format!("resting ({} out)", amps(a)),
            _ => "resting".to_owned(),
        },
        Motion::NotKnown => match why_none(current) {
            Some(why) => format!("current {DASH} {why}"),
            None => current.value.map_or(DASH.to_owned(), |a| format!("current {} A", number(a, 1))),
        },
    }
}

/// Why there is no number now; none when there is one.
pub(super) fn why_none(shown: &Shown) -> Option<String> {
    match shown.standing {
        Standing::Present => shown.value.is_none().then(|| "not sent".to_owned()),
        Standing::Unseen => Some("not sent".to_owned()),
        Standing::Stale => Some(shown.age_secs.map_or("old".to_owned(), |age| format!("{} old", span(age)))),
        Standing::Missing => Some("no data".to_owned()),
        Standing::Invalid => Some("error".to_owned()),
    }
}

/// A figure of evidence, named and with its unit; none for figures that only a machine wants.
pub(super) fn fact(fact: Fact, value: f64) -> Option<String> {
    let (words, value) = named(fact.name(), value);
    (!value.ends_with(RATE)).then(|| format!("{words} {value}"))
}

/// What a figure is called, and its value with its unit; its own name where it has no words.
pub(super) fn named(name: &'static str, value: f64) -> (&'static str, String) {
    match figure(name) {
        Some(Figure { words, unit, digits, .. }) => {
            let shown = number(value, *digits);
            (words, format!("{shown} {}", one_of(&shown, unit)).trim_end().to_owned())
        }
        None => (name, number(value, 2)),
    }
}

/// Breaks text into lines of at most `width` columns, at most `most` of them; the last says when it was cut.
pub(super) fn wrap(text: &str, width: usize, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        for piece in pieces(word, width.max(1)) {
            let gap = usize::from(!line.is_empty());
            if line.width() + gap + piece.width() > width && !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(&piece);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            *last = cut(&format!("{last} …"), width);
        }
    }
    lines
}

/// A text behind its label, from column `column` on; on a narrow screen at its right edge, or under the label.
pub(super) fn beside(label: &str, text: &str, column: usize, width: usize) -> Vec<String> {
    let room = width.saturating_sub(label.width() + 1);
    let wide = width >= 2 * column && label.width() < column;
    if !wide && text.width() <= room {
        return vec![format!("{label} {}", right(text, room))];
    }
    let (first, indent) = if wide { (left(label, column), column) } else { (cut(label, width), 3) };
    let mut lines = wrap(text, width.saturating_sub(indent), usize::MAX).into_iter();
    let head = if wide { first + &lines.next().unwrap_or_default() } else { first };
    let further = lines.map(|line| " ".repeat(indent) + &line);
    std::iter::once(head).chain(further).collect()
}

/// A word longer than a line is broken.
fn pieces(word: &str, width: usize) -> Vec<String> {
    let mut all = vec![String::new()];
    let mut used = 0;
    for c in word.chars() {
        let wide = c.width().unwrap_or(0);
        if used + wide > width && used > 0 {
            all.push(String::new());
            used = 0;
        }
        if let Some(last) = all.last_mut() {
            last.push(c);
        }
        used += wide;
    }
    all
}

/// Cuts text at `width` columns; a cut shows as '…'.
pub(super) fn cut(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = 0;
    for c in text.chars() {
        let wide = c.width().unwrap_or(0);
        if used + wide + 1 > width {
            break;
        }
        used += wide;
        kept.push(c);
    }
    if width > 0 {
        kept.push('…');
    }
    kept
}

/// Text in a field of exactly `width` columns, to the left.
pub(super) fn left(text: &str, width: usize) -> String {
    let text = cut(text, width);
    let room = width.saturating_sub(text.width());
    text + &" ".repeat(room)
}

/// Text in a field of exactly `width` columns, to the right.
pub(super) fn right(text: &str, width: usize) -> String {
    let text = cut(text, width);
    " ".repeat(width.saturating_sub(text.width())) + &text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_called_minus_nothing() {
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-0.06, 1), "-0.1");
        assert_eq!(amps(-120.4), "120 A");
    }

    #[test]
    fn sentences_break_at_words_and_say_when_they_are_cut() {
        assert_eq!(wrap("one two three", 8, 9), ["one two", "three"]);
        assert_eq!(wrap("one two three four", 8, 2), ["one two", "three …"]);
        assert_eq!(wrap("abcdefgh", 3, 9), ["abc", "def", "gh"]);
        assert!(wrap("anything", 0, 0).is_empty());
    }

    #[test]
    fn figures_carry_their_unit_and_rates_stay_with_the_machines() {
        assert_eq!(fact(Fact::PeakVolts, 3.72).as_deref(), Some("peak 3.720 V"));
        assert_eq!(fact(Fact::LimitAmps, 5.0).as_deref(), Some("reduce to 5.0 A"));
        assert_eq!(fact(Fact::LostFrames, 12.0).as_deref(), Some("lost 12 frames"));
        assert_eq!(fact(Fact::PeakRate, 0.4), None);
    }

    #[test]
    fn a_text_stands_behind_its_label_or_under_it_and_is_never_cut() {
        assert_eq!(beside(" frames", "12", 10, 40), [" frames   12"]);
        assert_eq!(beside(" frames", "one two", 10, 22), [" frames   one two"]);
        assert_eq!(beside(" frames", "one two three", 10, 20), [" frames   one two", "          three"]);
        assert_eq!(beside(" frames", "12", 10, 14), [" frames     12"]);
        assert_eq!(beside(" frames", "one two three", 10, 14), [" frames", "   one two", "   three"]);
    }

    #[test]
    fn an_old_value_says_its_age_and_a_value_that_never_came_is_not_a_zero() {
        let old = Shown { value: Some(3.3), standing: Standing::Stale, age_secs: Some(42.0), ..Shown::default() };
        assert_eq!(why_none(&old).as_deref(), Some("42 s old"));
        assert_eq!(motion(Motion::NotKnown, &Shown::default()), "current — not sent");
    }
}

//! Text in lines of bounded width.

use unicode_width::UnicodeWidthStr;

/// Columns of a line.
const COLUMNS: usize = 80;

/// Appends `text` to `out` in lines, the first after `first`, the others indented as far as it is wide.
pub(super) fn wrap(out: &mut String, first: &str, text: &str) {
    wrap_under(out, first, first.width(), text);
}

/// The same with the further lines indented by `indent` columns.
pub(super) fn wrap_under(out: &mut String, first: &str, indent: usize, text: &str) {
    let mut at = first.width();
    out.push_str(first);
    for (number, word) in text.split_whitespace().enumerate() {
        let width = word.width();
        if number > 0 && at + 1 + width > COLUMNS {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', indent));
            at = indent;
        } else if number > 0 {
            out.push(' ');
            at += 1;
        }
        out.push_str(word);
        at += width;
    }
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_stay_within_eighty_columns_and_hang_under_the_first_word() {
        let mut out = String::new();
        wrap(&mut out, "  Do: ", &"word ".repeat(40));
        assert!(out.lines().all(|line| line.width() <= COLUMNS));
        assert!(out.lines().skip(1).all(|line| line.starts_with("      word")));
        assert_eq!(out.split_whitespace().filter(|word| *word == "word").count(), 40);
    }

    #[test]
    fn a_word_longer_than_a_line_is_not_cut() {
        let mut out = String::new();
        wrap(&mut out, "", &"x".repeat(100));
        assert_eq!(out, "x".repeat(100) + "\n");
    }
}

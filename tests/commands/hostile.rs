//! Foreign text that would take over a terminal or turn the direction of the writing leaves no trace in any output.

use crate::bank::{BEGIN, one_cell_far_too_high, text_of};
use crate::program::{Desk, cellwright};
use cellwright::model::{Body, Input};

/// A red, a clear, a title, a bell, a mark that turns the direction, an isolate, a byte order mark, a C1 control.
const NASTY: &str = "\u{1b}[31m\u{1b}[2J\u{1b}]0;mine\u{7}\u{202e}\u{2066}\u{feff}\u{9b}1m";

fn assert_harmless(text: &str, what: &str) {
    let bad = text.chars().find(|c| {
        let turns = matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}');
        turns || (c.is_control() && *c != '\n')
    });
    assert_eq!(bad, None, "{what}");
}

/// Reserved lines with a note whose text is hostile, made from a harmless one of the same length.
fn note_of(nasty: &str) -> String {
    let stand_in = "x".repeat(nasty.len());
    let note = text_of([Input { stamp: BEGIN, body: Body::Note(stand_in) }]);
    let hex: Vec<String> = nasty.bytes().map(|byte| format!("{byte:02X}")).collect();
    let mut bytes = hex.into_iter();
    let mut out = String::new();
    let mut rest = note.as_str();
    while let Some(at) = rest.find("78") {
        out += &rest[..at];
        out += &bytes.next().unwrap_or_else(|| "78".into());
        rest = &rest[at + 2..];
    }
    out + rest
}

#[test]
fn escapes_and_direction_marks_of_names_notes_and_lines_come_out_nowhere() {
    let desk = Desk::new();
    let mut text = note_of(NASTY);
    text += &text_of(one_cell_far_too_high());
    text += &format!("(1768021900.000000) can{NASTY} 123#0011\n");
    text += &format!("{NASTY}\n({NASTY}) can0 123#00\n(1768021900.000000) can0 {NASTY}#00\n");
    let log = desk.put(&format!("trip{NASTY}.log").replace('/', ""), &text);
    for args in [
        &["check", &log][..],
        &["check", "--format", "json", &log],
        &["decode", &log],
        &["decode", "--format", "ndjson", &log],
        &["check", NASTY],
        &["demo", NASTY, "--log", "x.log"],
    ] {
        let ran = cellwright(args);
        assert_harmless(&ran.out, &format!("output of {:?}", args[0]));
        assert_harmless(&ran.err, &format!("complaint of {:?}", args[0]));
        assert!(!ran.out.is_empty() || !ran.err.is_empty());
    }
    let report = cellwright(&["check", &log]).out;
    assert!(report.contains("[31m"), "the note is there, made harmless: {report}");
}

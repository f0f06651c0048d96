//! `check`: the exit code, the report, and what it says of input that it cannot read.

use crate::bank::{one_cell_a_little_high, one_cell_far_too_high, simulated, text_of};
use crate::program::{Desk, cellwright, command};
use serde_json::Value;
use std::io::Read;
use std::process::Stdio;

fn json(args: &[&str]) -> (i32, Value) {
    let ran = cellwright(&[&["check", "--format", "json"], args].concat());
    assert_eq!(ran.err, "", "a check that works says nothing beside its report");
    (ran.code, serde_json::from_str(&ran.out).expect("the report is JSON"))
}

#[test]
fn a_cell_charged_far_too_high_is_found_with_its_number_and_fails_the_check() {
    let desk = Desk::new();
    let log = desk.put("high.log", text_of(one_cell_far_too_high()));
    let (code, report) = json(&[&log]);
    let finding = &report["findings"][0];
    assert_eq!(code, 1);
    assert_eq!((&finding["code"], &finding["severity"]), (&"cell-overvoltage".into(), &"urgent".into()));
    assert_eq!((&finding["pack"], &finding["cell"]), (&1.into(), &3.into()));
    assert_eq!(finding["first"].as_str().map(|at| &at[..17]), Some("2026-01-10T05:05:"));
    assert_eq!(finding["evidence"]["peak_v"], 3.95);
    assert_eq!(report["verdict"]["level"], "urgent");
    assert_eq!(report["schema"], 1);
    assert_eq!(report["input"]["frames"], 3600);
}

#[test]
fn a_bus_that_nothing_knows_leads_to_the_survey() {
    let desk = Desk::new();
    let log = desk.put("other.log", "(1768003200.000000) can0 3A1#0CF20CF3\n(1768003201.000000) can0 3A1#0CEC0CED\n");
    let (code, report) = json(&[&log]);
    assert_eq!(code, 3);
    assert_eq!(
        report["verdict"]["do"],
        "Check that the right bus is connected, and the bank file, if there is one. A bus that nobody has documented: \
         'cellwright survey' drafts a bank file for it."
    );
}

/// The charge of the days is that of the whole log, and so is the time; noon to noon is three days.
#[test]
fn the_days_of_a_log_are_told_one_by_one() {
    let desk = Desk::new();
    let log = desk.path("days.log");
    let made = cellwright(&["demo", "healthy-week", "--days", "2.5", "--sample", "60", "--log", &log]);
    assert_eq!(made.code, 0, "{}", made.err);
    let (_, report) = json(&["--by-day", &log]);
    let days = report["days"].as_array().expect("days");
    assert_eq!(days.len(), 3);
    let sum = |name: &str| days.iter().map(|day| day[name].as_f64().expect("a number")).sum::<f64>();
    assert!((sum("heard_h") - 60.0).abs() < 0.1, "{days:?}");
    let whole = |name: &str| report["estimates"][name][0]["value"].as_f64().expect("known");
    assert!((sum("charged_ah") - whole("charged_ah")).abs() < 0.1, "{days:?}");
    assert!((sum("drawn_ah") - whole("drawn_ah")).abs() < 0.1, "{days:?}");
    assert!(days.iter().all(|day| day["quiet_h"].as_array().is_some_and(|bands| bands.len() == 5)));
    let table = cellwright(&["check", "--by-day", &log]).out;
    let rows: Vec<&str> = table.lines().filter(|line| line.starts_with("2026-")).collect();
    let dates: Vec<&str> = days.iter().filter_map(|day| day["day"].as_str()).collect();
    assert_eq!(rows.iter().map(|row| &row[..10]).collect::<Vec<_>>(), dates);
    let ran = cellwright(&["check", "--by-day", "--limit", "cell-overvoltage.warning=3.7", &log]);
    assert_eq!(ran.code, 2, "a comparison has no days");
}

#[test]
fn what_is_no_log_is_told_in_words() {
    let desk = Desk::new();
    let file = desk.put("bank.toml", "dialect = \"file\"\n");
    let ran = cellwright(&["check", &file]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("(line 1: no time in brackets at the start)"), "{}", ran.err);
}

#[test]
fn a_notice_fails_only_the_check_that_asks_for_notices() {
    let desk = Desk::new();
    let log = desk.put("notice.log", text_of(one_cell_a_little_high()));
    let (code, report) = json(&["--fail-on", "notice", &log]);
    assert_eq!((code, &report["findings"][0]["severity"]), (1, &"notice".into()));
    assert_ne!(cellwright(&["check", &log]).code, 1);
    assert_ne!(cellwright(&["check", "--fail-on", "urgent", &log]).code, 1);
}

#[test]
fn an_ordinary_day_finds_nothing_and_says_how_far_it_sees() {
    let desk = Desk::new();
    let log = desk.put("day.log", text_of(simulated("healthy-week", 1.0, 2.0)));
    let ran = cellwright(&["check", &log]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(ran.out.starts_with("WELL: Within limits, as far as 4 cells and 2 sensors show"), "{}", ran.out);
    for always in ["last heard 2026-", "Not visible here: swelling", "A monitor, not a protection device"] {
        assert!(ran.out.contains(always), "{always}");
    }
}

#[test]
fn a_log_without_any_frame_that_is_known_is_not_known_and_not_well() {
    let desk = Desk::new();
    let log = desk.put("other.log", "(1768021200.000000) can0 123#0011\n(1768021201.000000) can0 123#0011\n");
    let (code, report) = json(&[&log]);
    assert_eq!((code, &report["verdict"]["level"]), (3, &"not-known".into()));
    assert_eq!((&report["input"]["frames"], &report["input"]["decoded"]), (&2.into(), &0.into()));
    let empty = desk.put("empty.log", "");
    let (code, report) = json(&[&empty]);
    assert_eq!((code, &report["input"]["first"]), (3, &Value::Null), "an empty log says nothing, and is no error");
}

#[test]
fn bad_lines_are_counted_by_reason_with_the_line_of_the_first() {
    let desk = Desk::new();
    let good = "(1768021200.000000) can0 123#0011\n";
    let log = desk.put("bad.log", format!("{good}nonsense\n{good}(1768021200.1) can0 123#0\nnonsense\n"));
    let (_, report) = json(&[&log]);
    assert_eq!(report["input"]["rejected"]["no_stamp"], 2);
    assert_eq!(report["input"]["rejected_first"]["no_stamp"]["line"], 2);
    assert_eq!(report["input"]["rejected_first"]["bad_hex"]["line"], 4);
    let text = cellwright(&["check", &log]).out.replace("\n  ", " ");
    assert!(text.contains("(no_stamp): 2; first in line 2 of"), "{text}");
}

#[test]
fn input_that_cannot_be_read_is_said_in_one_line_and_is_two() {
    let desk = Desk::new();
    let picture = desk.put("picture.log", b"\xff\xd8\xff\xe0\x00\x10JFIF\nmore\nof it\n");
    let xz = desk.put("log.xz", b"\xfd7zXZ\x00rest");
    let missing = desk.path("missing.log");
    let cases = [
        (missing.as_str(), "cannot open the log"),
        (desk.path(".").leak(), "cannot open the log"),
        (picture.as_str(), "not a single line of"),
        (xz.as_str(), "is packed as xz"),
    ];
    for (path, said) in cases {
        let ran = cellwright(&["check", path]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{path}");
        assert!(ran.err.starts_with("cellwright: ") && ran.err.contains(said), "{path}: {}", ran.err);
        assert_eq!(ran.err.lines().count(), 1, "{}", ran.err);
        assert_eq!(cellwright(&["decode", path]).code, 2, "decode {path}");
    }
}

#[test]
fn wrong_usage_is_two_and_help_says_what_to_type() {
    for wrong in [&["check"][..], &["chekc", "a.log"], &["check", "a.log", "--fail-on", "well"], &[]] {
        let ran = cellwright(wrong);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{wrong:?}");
        assert!(!ran.err.is_empty());
    }
    let help = cellwright(&["check", "--help"]);
    assert_eq!((help.code, help.err.as_str()), (0, ""));
    assert!(help.out.contains("cellwright check --format json trip.log"), "{}", help.out);
    assert!(cellwright(&["--help"]).out.contains("3 nothing found, but what should be known is not"));
}

#[test]
fn the_standard_input_is_a_log_too() {
    let desk = Desk::new();
    let log = desk.put("high.log", text_of(one_cell_far_too_high()));
    let piped = command(&["check", "--format", "json", "-"])
        .stdin(std::fs::File::open(&log).expect("the log is there"))
        .output()
        .expect("the program starts");
    assert_eq!(String::from_utf8_lossy(&piped.stdout), cellwright(&["check", "--format", "json", &log]).out);
    assert_eq!(piped.status.code(), Some(1));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let desk = Desk::new();
    let log = desk.put("day.log", text_of(simulated("healthy-week", 0.2, 1.0)));
    let mut child =
        command(&["decode", &log]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
    let mut some = [0; 100];
    child.stdout.take().expect("a pipe").read_exact(&mut some).expect("it begins to write");
    let done = child.wait_with_output().expect("it ends");
    assert_eq!((done.status.code(), done.stderr.as_slice()), (Some(0), &b""[..]));
}

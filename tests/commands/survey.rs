//! `survey`: an unknown bus from the outside.

use crate::program::{Desk, cellwright};
use serde_json::Value;

#[test]
fn a_bus_without_a_bank_gives_nothing_and_says_what_would_settle_it() {
    let desk = Desk::new();
    let line = |at: u32| format!("({}.000000) can0 321#0102{:02X}\n", 1_768_021_200 + at, at % 16);
    let log = desk.put("other.log", (0..200).map(line).collect::<String>());
    let ran = cellwright(&["survey", &log]);
    assert_eq!(ran.code, 3, "{}", ran.err);
    assert!(ran.out.contains("200 frames of 1 message in") && ran.out.contains("No bank was found."), "{}", ran.out);
    assert!(ran.out.contains("Not found: cell voltage. No four fields move together"), "{}", ran.out);
    let ran = cellwright(&["survey", "--format", "json", &log]);
    let found: Value = serde_json::from_str(&ran.out).expect("a document");
    assert_eq!((&found["packs"], &found["roles"]), (&0.into(), &serde_json::json!([])));
    assert_eq!(found["open"][0]["what"], "cell_voltage");
}

#[test]
fn an_interface_that_is_not_there_is_said_and_not_waited_for() {
    let ran = cellwright(&["survey", "nocan7", "--for", "1h"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("there is no CAN interface 'nocan7' now"), "{}", ran.err);
}

/// What is said of a serial port is not passed over in silence where there is none.
#[test]
fn words_about_a_serial_port_are_refused_for_a_log() {
    let desk = Desk::new();
    let log = desk.put("other.log", "(1768021200.000000) can0 321#01\n");
    let ran = cellwright(&["survey", &log, "--adapter"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("--adapter is for serial ports, and none was named"), "{}", ran.err);
    let ran = cellwright(&["survey", &log, "--can-speed", "250"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
}

/// The invented bank's own format, taken for an unknown bus; the draft is laid beside the same log, then with another
/// scale for the first cell.
#[test]
fn a_draft_beside_its_own_log_says_the_same_and_a_wrong_scale_is_told() {
    let desk = Desk::new();
    let log = desk.path("own.log");
    assert_eq!(cellwright(&["demo", "cold-morning", "--days", "0.5", "--sample", "5", "--log", &log]).code, 0);
    let draft = cellwright(&["survey", &log, "--capacity", "200", "--format", "draft"]);
    assert_eq!(draft.code, 0, "{}", draft.err);
    let file = desk.put("draft.toml", &draft.out);
    let ran = cellwright(&["survey", &log, "--bank", &file]);
    let (_, beside) = ran.out.split_once("Beside the bank file: ").expect("a comparison");
    let rows: Vec<&str> = beside.lines().take_while(|line| !line.is_empty()).collect();
    let [all] = rows[..] else { panic!("only the sum, not a row each: {rows:?}") };
    let count: usize =
        all.strip_prefix("all ").and_then(|rest| rest.strip_suffix(" values are the same.")).unwrap().parse().unwrap();
    assert!(count >= 4, "{all}");
    let file = desk.put("wrong.toml", draft.out.replacen("scale = ", "scale = 7", 1));
    let ran = cellwright(&["survey", &log, "--bank", &file, "--format", "json"]);
    let found: Value = serde_json::from_str(&ran.out).expect("a document");
    let verdict = |number: usize| found["beside_file"][number]["verdict"].as_str().unwrap_or_default().to_owned();
    assert_eq!((verdict(0), verdict(1)), ("scaled".to_owned(), "same".to_owned()), "{}", found["beside_file"]);
    let ran = cellwright(&["survey", &log, "--bank", &file]);
    let told = format!(
        "Beside the bank file: {} of {count} values are the same:\n  Cell voltage 1 of pack 1: the same bits, ",
        count - 1
    );
    assert!(ran.out.contains(&told), "{}", ran.out);
}

/// Listening, the draft, a verdict: the cells that `survey` found are those that `check` judges. The invented bank's
/// frames stand under other ids, which nothing knows.
#[test]
fn a_draft_is_a_bank_file_with_which_the_same_log_is_checked() {
    let desk = Desk::new();
    let log = desk.path("own.log");
    assert_eq!(cellwright(&["demo", "cold-morning", "--days", "0.5", "--sample", "5", "--log", &log]).code, 0);
    let own = std::fs::read_to_string(&log).expect("a log");
    let log = desk.put("foreign.log", own.replace(" 18FF", " 14AB"));
    let hints = ["survey", &log, "--capacity", "200", "--celsius", "0"];
    let found = cellwright(&[&hints[..], &["--format", "json"]].concat());
    let found: Value = serde_json::from_str(&found.out).expect("a document");
    let roles = found["roles"].as_array().expect("roles");
    assert_eq!(roles.iter().filter(|role| role["quantity"] == "cell_voltage").count(), 4, "{found}");
    let draft = cellwright(&[&hints[..], &["--format", "draft"]].concat());
    assert_eq!(draft.out.matches("role = \"cell-voltage\"").count(), 4);
    cellwright::bank::parse(&draft.out, |_| Err("no DBC is named".into())).expect("a bank file");
    let freed = draft.out.replace("# sensors =", "sensors =");
    cellwright::bank::parse(&freed, |_| Err("no DBC is named".into())).expect("with the line of the sensors too");
    let file = desk.put("draft.toml", &draft.out);
    let ran = cellwright(&["check", "--format", "json", "--bank", &file, &log]);
    let checked: Value = serde_json::from_str(&ran.out).unwrap_or_else(|_| panic!("{} {}", ran.code, ran.err));
    let scope = checked["verdict"]["scope"].as_str().expect("what was seen");
    assert!(scope.contains("4 cells"), "{scope}");
}

#[test]
fn a_log_that_is_none_is_refused() {
    let desk = Desk::new();
    let log = desk.put("no.log", "nothing of the kind\n");
    let ran = cellwright(&["survey", &log]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("not a single line"), "{}", ran.err);
}

/// A bank file that says that the bus speaks what it describes is obeyed on a log of our own format too.
#[test]
fn a_bank_file_that_says_what_the_bus_speaks_is_obeyed() {
    let desk = Desk::new();
    let log = desk.path("own.log");
    assert_eq!(cellwright(&["demo", "cold-morning", "--days", "0.02", "--sample", "5", "--log", &log]).code, 0);
    let text = "dialect = \"file\"\n[[pack]]\ncells = 4\n[[signal]]\nrole = \"pack-voltage\"\npack = 1\nid = \"3A1\"\n\
                start = 0\nlength = 16\nscale = 0.01\n";
    let ran = cellwright(&["check", &log, "--bank", &desk.put("bank.toml", text)]);
    assert_eq!(ran.code, 3, "{}", ran.out);
    assert!(ran.out.contains("frames were heard, but nothing that is known."), "{}", ran.out);
}

/// Hostile bank files, DBCs and tables: a short error, and nothing of what would take over a terminal.
#[test]
fn hostile_files_are_refused_in_a_sentence() {
    let desk = Desk::new();
    let log = desk.put("a.log", "(1768021200.000000) can0 321#01\n");
    let long = "A".repeat(20 << 20);
    let files = [
        ("long.toml", long.clone(), "--bank"),
        ("deep.toml", format!("a = {}", "[".repeat(500_000)), "--bank"),
        ("name.toml", "\"\u{1b}[31mred\" = 1\n".to_owned(), "--bank"),
        ("long.dbc", long, "--dbc"),
        ("deep.dbc", format!("BO_ 5 A: 1 X\n{}", " SG_ ".repeat(200_000)), "--dbc"),
        ("name.dbc", "BO_ 5 A\u{1b}[31m: 1 X\n".to_owned(), "--dbc"),
    ];
    for (name, text, switch) in files {
        let ran = cellwright(&["decode", &log, switch, &desk.put(name, text)]);
        assert_ne!(ran.code, 0, "{name}");
        assert_ne!(ran.err, "", "{name}");
        assert!(ran.err.len() < 2000 && !ran.err.contains('\x1b'), "{name}: {}", ran.err);
    }
}

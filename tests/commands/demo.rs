//! `demo` without a screen.

use crate::program::{Desk, cellwright};

#[test]
fn the_list_names_every_scenario_and_says_that_it_is_invented() {
    let ran = cellwright(&["demo", "--list"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    for info in cellwright::sim::scenarios() {
        assert!(ran.out.contains(&format!("  {} ", info.name)), "{}", info.name);
    }
    assert!(ran.out.contains("invented"));
}

#[test]
fn the_same_seed_writes_the_same_log_and_another_seed_another() {
    let desk = Desk::new();
    let write = |name: &str, seed: &str| {
        let path = desk.path(name);
        let args = ["demo", "cold-morning", "--days", "0.01", "--sample", "2", "--seed", seed, "--log", &path];
        let ran = cellwright(&args);
        assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (0, "", ""));
        desk.read(name)
    };
    let first = write("a.log", "7");
    assert_eq!(first, write("b.log", "7"));
    assert_ne!(first, write("c.log", "8"));
    let report = cellwright(&["check", &desk.path("a.log")]).out;
    assert!(report.contains("Invented: scenario cold-morning, seed 7"), "{report}");
}

#[test]
fn a_packed_log_holds_the_same_and_is_smaller() {
    let desk = Desk::new();
    let write = |name: &str| {
        let path = desk.path(name);
        let ran = cellwright(&["demo", "healthy-week", "--days", "0.05", "--log", &path]);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""));
        std::fs::metadata(&path).expect("the log is there").len()
    };
    let plain = write("plain.log");
    for name in ["packed.log.gz", "packed.log.zst"] {
        assert!(write(name) < plain / 3, "{name}");
        let decoded = |name: &str| cellwright(&["decode", &desk.path(name)]);
        assert_eq!(decoded(name), decoded("plain.log"), "{name}");
    }
}

#[test]
fn what_cannot_be_done_is_said_in_one_line() {
    let desk = Desk::new();
    let there = desk.put("there.log", "mine");
    let cases = [
        (vec!["demo", "--log", &there], "exists already"),
        (vec!["demo", "no-such", "--log", "x.log"], "no scenario is called 'no-such'"),
        (vec!["demo", "--log", "/no/such/directory/x.log"], "cannot create the log"),
    ];
    for (args, said) in cases {
        let ran = cellwright(&args);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""));
        assert!(ran.err.contains(said) && ran.err.lines().count() == 1, "{}", ran.err);
    }
    assert_eq!(desk.read("there.log"), "mine");
}

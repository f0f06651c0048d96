//! Other limits over a log, and what a condition and its numbers mean.

use crate::bank::{one_cell_a_little_high, text_of};
use crate::program::{Desk, cellwright};
use cellwright::engine::rule::RULES;
use cellwright::model::limits::LIMITS;
use serde_json::Value;

fn compared(args: &[&str]) -> (i32, Value) {
    let ran = cellwright(&[&["check", "--format", "json"], args].concat());
    assert_eq!(ran.err, "");
    (ran.code, serde_json::from_str(&ran.out).expect("the comparison is JSON"))
}

fn codes(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|finding| finding["code"].as_str().unwrap()).collect()
}

#[test]
fn a_finding_vanishes_under_a_higher_limit_and_grows_under_a_lower_one() {
    let desk = Desk::new();
    let log = desk.put("high.log", text_of(one_cell_a_little_high()));
    let (code, said) = compared(&[&log, "--limit", "cell-overvoltage.notice=4.0"]);
    assert_eq!((code, codes(&said["vanish"])), (0, vec!["cell-overvoltage"]));
    assert_eq!((codes(&said["appear"]), &said["limits"][0]["before"]), (vec![], &3.7.into()));

    let lower = desk.put("strict.toml", "[cell-overvoltage]\nwarning = 3.71\nwarning-seconds = 1\n");
    let (code, said) = compared(&[&log, "--compare", &lower, "--fail-on", "warning"]);
    assert_eq!(code, 1, "the exit code is that of the other limits");
    assert_eq!(said["move"][0]["before"]["severity"], "notice");
    assert_eq!(said["move"][0]["after"]["severity"], "warning");
    let text = cellwright(&["check", &log, "--compare", &lower]).out;
    assert!(text.starts_with("With other limits\n  cell-overvoltage.warning = 3.71 V instead of 3.8\n"), "{text}");
    assert!(text.contains("  moves  cell-overvoltage, cell 3 of pack 1 (warning)"), "{text}");
}

#[test]
fn a_wrong_limit_is_refused_with_its_place_and_what_was_meant() {
    let desk = Desk::new();
    let log = desk.put("high.log", text_of(one_cell_a_little_high()));
    let file = desk.put("bad.toml", "[cell-overvoltage]\nnotice = 3.8\nwarming = 3.9\n");
    let ran = cellwright(&["check", &log, "--compare", &file]);
    assert_eq!(ran.code, 2);
    let expected =
        "bad.toml:3: no limit is called 'cell-overvoltage.warming'; did you mean 'cell-overvoltage.warning'?";
    assert!(ran.err.contains(expected), "{}", ran.err);
    let ran = cellwright(&["check", &log, "--limit", "cell-overvoltage.notice=40"]);
    assert!(ran.err.contains("cell-overvoltage.notice = 40: expected 3 to 4.5 V"), "{}", ran.err);
}

#[test]
fn every_condition_is_explained_with_its_numbers() {
    let list = cellwright(&["explain"]).out;
    for rule in RULES {
        assert!(list.contains(&format!("{} ", rule.code)), "{}", rule.code);
        let page = cellwright(&["explain", rule.code]).out;
        assert!(page.starts_with(&format!("# `{}`: {}", rule.code, &rule.page[rule.code.len() + 6..][..5])));
        let begins = format!("{}.", rule.code);
        let own = LIMITS.iter().filter(|limit| limit.name.starts_with(&begins));
        own.for_each(|limit| {
            assert!(page.contains(&format!("  {} = {}", limit.name, limit.default)), "{}", limit.name)
        });
    }
    let ran = cellwright(&["explain", "cold-chage"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("did you mean 'cold-charge'?"), "{}", ran.err);
}

#[test]
fn every_limit_is_listed_with_its_origin() {
    let text = cellwright(&["limits"]).out;
    let all: Value = serde_json::from_str(&cellwright(&["limits", "--format", "json"]).out).unwrap();
    let rows = all["limits"].as_array().unwrap();
    assert_eq!(rows.len(), LIMITS.len());
    for (row, limit) in rows.iter().zip(LIMITS) {
        assert_eq!((&row["name"], &row["origin"]), (&limit.name.into(), &limit.origin.words().into()));
        assert!(text.contains(&format!("  {} = ", limit.name)));
    }
}

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
    assert!(ran.out.contains("200 frames of 1 messages") && ran.out.contains("No bank was found."), "{}", ran.out);
    assert!(ran.out.contains("Not found: cell voltage. No four fields move together"), "{}", ran.out);
    let ran = cellwright(&["survey", "--format", "json", &log]);
    let found: Value = serde_json::from_str(&ran.out).expect("a document");
    assert_eq!((&found["packs"], &found["roles"]), (&0.into(), &serde_json::json!([])));
    assert_eq!(found["open"][0]["what"], "cell_voltage");
}

#[test]
fn a_log_that_is_none_is_refused() {
    let desk = Desk::new();
    let log = desk.put("no.log", "nothing of the kind\n".to_owned());
    let ran = cellwright(&["survey", &log]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("not a single line"), "{}", ran.err);
}

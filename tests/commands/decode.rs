//! `decode`: an object a frame, with numbers or `null`.

use crate::bank::{BEGIN, frame, text_of};
use crate::program::{Desk, cellwright};
use cellwright::layout::own::hello;
use cellwright::model::{Body, Input, Quantity, Slot};
use serde_json::Value;

fn objects(out: &str) -> Vec<Value> {
    out.lines().map(|line| serde_json::from_str(line).expect("a line is an object")).collect()
}

#[test]
fn a_frame_is_an_object_with_numbers_and_nulls() {
    let desk = Desk::new();
    let say = |nanos, frame| Input { stamp: BEGIN.plus_nanos(nanos), body: Body::Frame(frame) };
    let two_cells =
        frame(0x10, &[(Slot::at(0, Quantity::CellVoltage, 0), 3.3012), (Slot::at(0, Quantity::CellVoltage, 1), 3.3)]);
    let text = text_of([say(0, two_cells), say(1, hello(0)), say(2_000_000_003, two_cells)]);
    let text = text + "(1768021203.5) broken\n(1768021204.000000) can1 7FF#DEAD\n";
    let log = desk.put("few.log", text);
    let ran = cellwright(&["decode", "--format", "ndjson", &log]);
    let frames = objects(&ran.out);
    assert_eq!((ran.code, frames.len()), (0, 4));
    assert_eq!(frames[0]["message"], Value::Null, "nothing of a sender counts before its hello");
    assert_eq!((&frames[1]["message"], &frames[1]["signals"]), (&"hello".into(), &serde_json::json!({})));
    assert_eq!(frames[2]["time"], "2026-01-10T05:00:02.000000003Z");
    assert_eq!((&frames[2]["id"], &frames[2]["message"]), (&"18FF1080".into(), &"cell_voltages".into()));
    assert_eq!(
        frames[2]["signals"],
        serde_json::json!({
            "pack1_cell1_voltage_v": 3.3012, "pack1_cell2_voltage_v": 3.3,
            "pack1_cell3_voltage_v": null, "pack1_cell4_voltage_v": null,
        })
    );
    let other = (&frames[3]["id"], &frames[3]["message"], &frames[3]["data"], &frames[3]["interface"]);
    assert_eq!(other, (&"7FF".into(), &Value::Null, &"DEAD".into(), &"can1".into()));
    assert!(ran.err.starts_with("cellwright: lines refused: ") && ran.err.contains("first in line 4"), "{}", ran.err);
}

#[test]
fn people_read_a_line_a_frame() {
    let desk = Desk::new();
    let say = |frame| Input { stamp: BEGIN, body: Body::Frame(frame) };
    let power = frame(0x30, &[(Slot::of(0, Quantity::Current), -12.5)]);
    let log = desk.put("few.log", text_of([say(hello(0)), say(power)]));
    let ran = cellwright(&["decode", &log]);
    assert_eq!(
        ran.out,
        "2026-01-10 05:00:00.000000  can0  18FF0080  hello\n\
         2026-01-10 05:00:00.000000  can0  18FF3080  pack_power pack1_current -12.500 A, pack1_pack_voltage -, \
         pack1_bus_voltage -\n"
    );
}

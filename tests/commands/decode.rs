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

/// A bus of another maker: big-endian volts or signed amps on the same bits, a float, and a message of 64 bytes.
const DBC: &str = "BO_ 2566848528 Pack: 8 BMS\n SG_ Page M : 0|8@1+ (1,0) [0|0] \"\" X\n \
    SG_ Volts m0 : 15|16@0+ (0.001,0) [0|0] \"V\" X\n SG_ Amps m1 : 8|16@1- (-0.1,0) [0|0] \"A\" X\n \
    SG_ Ratio : 32|32@1- (1,0) [0|0] \"\" X\nBO_ 5 Far: 64 BMS\n SG_ State : 504|8@1- (1,0) [0|0] \"\" X\n\
    VAL_ 5 State -2 \"open \\\"left\\\"\" ;\nSIG_VALTYPE_ 2566848528 Ratio : 1;\nWONDER_ 1 ;\n";

#[test]
fn a_dbc_decodes_everything_that_it_describes_without_a_bank_file() {
    let desk = Desk::new();
    let far = format!("(1768021203.000000) can0 005##1{}FE\n", "00".repeat(63));
    let log = "(1768021200.000000) can0 18FF0010#000CE40000008040\n\
        (1768021201.000000) can0 18FF0010#01FEFF000000807F\n(1768021202.000000) can0 18FF0010#09FEFF000000C07F\n"
        .to_owned()
        + &far
        + "(1768021204.000000) can0 005#00\n(1768021205.000000) can0 7FF#00\n(1768021206.000000) can0 005#R\n";
    let (dbc, log) = (desk.put("van.dbc", DBC), desk.put("van.log", log));
    let ran = cellwright(&["decode", "--dbc", &dbc, "--format", "ndjson", &log]);
    let frames = objects(&ran.out);
    let told: Vec<_> = frames.iter().map(|frame| (&frame["message"], frame["signals"].to_string())).collect();
    let pack = &Value::from("Pack");
    assert_eq!(
        told,
        [
            (pack, "{\"Page\":0,\"Ratio\":4,\"Volts\":3.3}".to_owned()),
            (pack, "{\"Page\":1,\"Ratio\":null,\"Amps\":0.2}".to_owned()),
            (pack, "{\"Page\":9,\"Ratio\":null}".to_owned()),
            (&Value::from("Far"), "{\"State\":-2}".to_owned()),
        ]
    );
    let first = (&frames[0]["id"], &frames[0]["time"], &frames[0]["data"]);
    assert_eq!(first, (&"18FF0010".into(), &"2026-01-10T05:00:00.000000000Z".into(), &"000CE40000008040".into()));
    assert!(ran.err.contains("van.dbc: line 10: unknown statement 'WONDER_' skipped"), "{}", ran.err);
    let count = "frames decoded: 4; with ids that the DBC does not have: 1; refused, shorter than their message: 1, \
        first 005 Far with 1 of 64 bytes; remote and error frames: 1\n";
    assert!(ran.err.ends_with(count), "{}", ran.err);

    let lines = cellwright(&["decode", "--dbc", &dbc, &log]).out;
    assert_eq!(
        lines,
        "2026-01-10 05:00:00.000000  can0  18FF0010  Pack Page 0, Ratio 4, Volts 3.300 V\n\
         2026-01-10 05:00:01.000000  can0  18FF0010  Pack Page 1, Ratio inf, Amps 0.2 A\n\
         2026-01-10 05:00:02.000000  can0  18FF0010  Pack Page 9, Ratio NaN\n\
         2026-01-10 05:00:03.000000  can0  005  Far State -2 (open \"left\")\n"
    );
}

#[test]
fn a_wrong_dbc_is_refused_with_its_lines() {
    let desk = Desk::new();
    let log = desk.put("few.log", "(1768021200.000000) can0 005#00\n");
    let refused = |dbc: &str| {
        let ran = cellwright(&["decode", "--dbc", dbc, &log]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""));
        ran.err
    };
    let wrong = "BO_ 5 A: 1 X\n SG_ S : 0|9@1+ (1,0) [0|0] \"\" X\n SG_ T : 0|1@1+ (0,0) [0|0] \"\" X\n";
    let said = refused(&desk.put("wrong.dbc", wrong));
    assert!(
        said.contains("wrong.dbc: line 2: message 'A': signal 'S' (9 bits from bit 0) does not fit into"),
        "{said}"
    );
    assert!(said.contains("; line 3: message 'A': signal 'T' has the factor 0"), "{said}");
    assert!(refused(&desk.path("none.dbc")).contains("cannot read the DBC"));
    assert!(refused(&log).contains("this is no DBC"), "a log given as the DBC");
    assert!(refused("/dev/zero").contains("larger than"), "a file without an end");
    let escape = refused(&desk.put("escape.dbc", "BO_ 5 A\x1b[31m: 1 X\n"));
    assert!(!escape.contains('\x1b') && escape.contains("expected ':' after the name"), "{escape}");
}

#[test]
fn frames_of_the_open_standards_have_names_and_their_interface_is_told() {
    let desk = Desk::new();
    let text = "(1768021200.000000) can0 19FFFD46#01780001A01A3777\n\
                (1768021200.100000) can0 1DFDDD46#010103D5110D41FF\n\
                (1768021200.200000) can1 19F21210#400B0500005764F4\n\
                (1768021200.300000) can1 19F21210#4100FFFF7800FFFF\n";
    let log = desk.put("two.log", text.to_owned());
    let frames = objects(&cellwright(&["decode", "--format", "ndjson", &log]).out);
    let names: Vec<&Value> = frames.iter().map(|frame| &frame["message"]).collect();
    assert_eq!(names, ["dc_source_status_1", "cell_detail", "dc_detailed_status", "dc_detailed_status"]);
    assert_eq!(
        (&frames[0]["signals"]["pack1_current_a"], &frames[1]["signals"]["pack1_cell3_voltage_v"]),
        (&serde_json::json!(-100.0), &serde_json::json!(3.345))
    );
    assert_eq!(frames[3]["signals"], serde_json::json!({"pack1_reported_soc_fraction": 0.87}));
    let checked = cellwright(&["check", "--format", "json", &log]);
    let report: Value = serde_json::from_str(&checked.out).expect("a document");
    let buses = &report["input"]["buses"];
    assert_eq!((&buses[0]["interface"], &buses[0]["dialects"][0]), (&"can0".into(), &"rv-c".into()));
    assert_eq!((&buses[1]["interface"], &buses[1]["dialects"][0]), (&"can1".into(), &"iec-61162-3".into()));
    let told = cellwright(&["decode", "--dialect", "iec-61162-3", "--format", "ndjson", &log]);
    assert_eq!(objects(&told.out)[0]["message"], Value::Null);
    assert_eq!(cellwright(&["decode", "--dialect", "rvc", &log]).code, 2);
}

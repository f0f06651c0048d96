use super::*;
use crate::layout::{Blank, Form, Order, Place};
use crate::model::bank::{BalanceKind, SensorSpec};
use crate::model::{Change, Id, SensorRole, Stamp, Value};
use crate::unit::{AmpHours, Amps, Ohms, Volts};
use proptest::prelude::*;

const VAN: &str = r#"VERSION ""
BU_: Bms Shunt
BO_ 853 Pack1: 8 Bms
 SG_ Cell1 : 0|16@1+ (1,0) [0|5000] "mV" Bms
 SG_ Cell2 : 16|16@1+ (1,0) [0|5000] "mV" Bms
 SG_ Cell3 : 32|16@1+ (1,0) [0|5000] "mV" Bms
 SG_ Cell4 : 48|16@1+ (1,0) [0|5000] "mV" Bms
BO_ 854 Pack2: 8 Bms
 SG_ Cell1 : 7|16@0+ (0.001,0) [0|5] "V" Bms
 SG_ Cell2 : 23|16@0+ (0.001,0) [0|5] "V" Bms
 SG_ Cell3 : 39|16@0+ (0.001,0) [0|5] "V" Bms
 SG_ Cell4 : 55|16@0+ (0.001,0) [0|5] "V" Bms
BO_ 2565865729 Shunt: 8 Shunt
 SG_ Amps : 0|16@1- (0.1,0) [-3000|3000] "A" Bms
 SG_ Charge : 16|8@1+ (0.5,0) [0|100] "%" Bms
BO_ 855 Warmth: 3 Bms
 SG_ Which M : 0|8@1+ (1,0) [0|3] "" Bms
 SG_ T1 m0 : 8|16@1+ (0.1,0) [0|500] "K" Bms
 SG_ T2 m1 : 8|16@1+ (0.1,0) [0|500] "K" Bms
"#;

fn dbc(name: &str) -> Result<Vec<u8>, String> {
    if name == "van.dbc" { Ok(VAN.into()) } else { Err("no such file".into()) }
}

fn read(text: &str) -> BankFile {
    parse(text, dbc).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

fn refused(text: &str) -> String {
    parse(text, dbc).expect_err(text).to_string()
}

fn seen(file: &BankFile, id: Id, data: &[u8]) -> Vec<(Slot, Value)> {
    let map = file.map().expect("a map");
    let round = |(slot, value)| match value {
        Value::Present(number) => (slot, Value::Present((number * 1e9).round() / 1e9)),
        other => (slot, other),
    };
    map.find(id).map(|message| map.values_in(message, data).map(round).collect()).unwrap_or_default()
}

fn cell(pack: u8, index: u8) -> Slot {
    Slot::at(pack, Quantity::CellVoltage, index)
}

#[test]
fn the_template_parses_to_what_it_says() {
    let file = parse(TEMPLATE, |name| Err(format!("{name} is not asked for"))).unwrap();
    assert_eq!((file.name.as_str(), file.dialect, file.bank.packs.len()), ("House bank", Some(Dialect::File), 2));
    let pack = &file.bank.packs[1];
    assert_eq!((pack.cells, pack.rated.capacity), (Some(4), Some(AmpHours::of(100.0))));
    assert_eq!(pack.rated.weakest, Some(Amps::of(125.0)));
    assert_eq!((pack.absorption, pack.float), (Some(Volts::of(14.4)), Some(Volts::of(13.6))));
    assert_eq!((pack.heater.fitted, pack.heater.current), (Some(true), Some(Amps::of(5.0))));
    assert_eq!(pack.balance.kind, Some(BalanceKind::BleedAbove));
    assert_eq!(pack.sensors[0], SensorSpec { role: SensorRole::Cell, cell: Some(1) });
    assert_eq!(pack.sensors[1], SensorSpec { role: SensorRole::Electronics, cell: None });
    assert_eq!(pack.links[2], Some(Ohms::of(0.3 * 1e-3)));
    assert_eq!(pack.span.current, (Some(Amps::of(-300.0)), Some(Amps::of(300.0))));
    assert_eq!(file.limits, [("cell-overvoltage.notice".to_owned(), 3.65)]);
    // Pack 2, cells 3301, 3302, not available, 3304 mV.
    let cells = seen(&file, Id::Standard(0x3A1), &[0xE5, 0x0C, 0xE6, 0x0C, 0xFF, 0xFF, 0xE8, 0x0C]);
    let volts = |number| Value::Present(number);
    assert_eq!(
        cells,
        [
            (cell(1, 0), volts(3.301)),
            (cell(1, 1), volts(3.302)),
            (cell(1, 2), Value::Missing),
            (cell(1, 3), volts(3.304))
        ]
    );
    // 12.3 A of discharge, 13.30 V, closed, counter 7.
    let power = seen(&file, Id::Standard(0x3B0), &[0x00, 0x7B, 0x32, 0x05, 1, 0, 0, 7]);
    assert_eq!(
        power,
        [
            (Slot::of(0, Quantity::Current), volts(-12.3)),
            (Slot::of(0, Quantity::PackVoltage), volts(13.3)),
            (Slot::of(0, Quantity::ChargePath), volts(1.0)),
            (Slot::of(0, Quantity::SenderFrames), volts(7.0)),
        ]
    );
    assert_eq!(seen(&file, Id::Standard(0x3C0), &[2, 65]), [(Slot::at(0, Quantity::Temperature, 1), volts(25.0))]);
    assert_eq!(seen(&file, Id::Standard(0x3C1), &[2, 65]), [(Slot::at(1, Quantity::Temperature, 1), volts(25.0))]);
    assert_eq!(seen(&file, Id::Standard(0x3C1), &[3, 65]), []);
    assert_eq!(file.events.len(), 1);
    assert_eq!(
        (file.events[0].at.to_string(), file.events[0].change),
        ("2026-03-01T09:30:00.000000000Z".into(), Change::SensorMoved)
    );
}

#[test]
fn ranges_name_the_signals_of_a_dbc_and_its_units_are_taken() {
    let file = read(
        "dbc = \"van.dbc\"\n[[signal]]\nrole = \"cell-voltage\"\npack = \"1..2\"\nmessage = \"Pack{1..2}\"\nsignal = \"Cell{1..4}\"\n\
         [[signal]]\nrole = \"current\"\nmessage = \"Shunt\"\nsignal = \"Amps\"\ncurrent = \"discharge-positive\"\nby = \"group\"\n\
         [[signal]]\nrole = \"reported-soc\"\nmessage = \"Shunt\"\nsignal = \"Charge\"\nby = \"group\"\n\
         [[signal]]\nrole = \"temperature\"\nmessage = \"Warmth\"\nsignal = \"T{1..2}\"\n",
    );
    assert_eq!(file.signals.len(), 12);
    let one = seen(&file, Id::Standard(853), &[0xE4, 0x0C, 0xE5, 0x0C, 0xE6, 0x0C, 0xE7, 0x0C]);
    assert_eq!(one[3], (cell(0, 3), Value::Present(3.303)));
    let two = seen(&file, Id::Standard(854), &[0x0C, 0xE4, 0x0C, 0xE5, 0x0C, 0xE6, 0x0C, 0xE7]);
    assert_eq!(two[3], (cell(1, 3), Value::Present(3.303)));
    // 2565865729 is 18F00101 with the mark of 29 bits: any priority and sender will do.
    let shunt = seen(&file, Id::Extended(0x1CF0_0142), &[0x7B, 0, 146, 0, 0, 0, 0, 0]);
    let soc = Slot::of(0, Quantity::ReportedSoc);
    assert_eq!(shunt, [(Slot::of(0, Quantity::Current), Value::Present(-12.3)), (soc, Value::Present(0.73))]);
    let Value::Present(celsius) = seen(&file, Id::Standard(855), &[1, 0xA3, 0x0B])[0].1 else { panic!() };
    assert!((celsius - 24.75).abs() < 1e-9, "297.9 K");
}

#[test]
fn every_refusal_has_its_line_and_says_what_was_meant() {
    let wrong = [
        ("cels = 4", "line 1: a bank file has no key 'cels'; "),
        ("[[pack]]\ncels = 4", "line 2: a [[pack]] has no key 'cels'; did you mean 'cells'?"),
        ("[[pack]]\ncells = 33", "line 2: cells = 33: expected a whole number from 1 to 32"),
        ("[[pack]]\ncapacity = \"100\"", "line 2: capacity = '100': expected a number from 0.5 to 6553"),
        ("[[pack]]\ncapacity = nan", "line 2: capacity = nan: expected a number from 0.5 to 6553"),
        ("[[pack]]\n\nsensors = [{ role = \"csae\" }]", "line 3: role = 'csae': did you mean 'case'?"),
        (
            "[limits]\ncell-overvoltage.notise = 3.7",
            "line 2: [limits] has no key 'cell-overvoltage.notise'; did you mean 'cell-overvoltage.notice'?",
        ),
        ("[limits]\ncell-overvoltage.notice = 37", "line 2: cell-overvoltage.notice = 37: expected 3 to 4.5 V"),
        ("dbc = \"boat.dbc\"", "line 1: DBC 'boat.dbc': no such file"),
        ("[[signal]]\nrole = \"current\"\n", "line 1: a [[signal]] needs 'message, id or group'"),
        (
            "dbc = \"van.dbc\"\n[[signal]]\nrole = \"current\"\nmessage = \"Shant\"\nsignal = \"Amps\"",
            "line 4: no message is called 'Shant'; did you mean 'Shunt'?",
        ),
        (
            "dbc = \"van.dbc\"\n[[signal]]\nrole = \"current\"\nmessage = \"Shunt\"\nsignal = \"Amp\"",
            "line 5: no signal is called 'Amp' in message 'Shunt'; did you mean 'Amps'?",
        ),
        (
            "[[signal]]\nrole = \"current\"\nid = \"3555\"\nstart = 0\nlength = 8",
            "line 3: id = '3555': expected an id as the log writes it: three hex digits for 11 bits (\"355\"), eight for 29 (\"18FF5001\")",
        ),
        (
            "[[signal]]\nrole = \"current\"\nid = \"355\"\nstart = 510\nlength = 8",
            "line 4: 'start' does not fit: a field lies within 64 bytes, a float has 32 or 64 bits, and a field with blank codes has room for numbers beside them",
        ),
        (
            "[[event]]\ndate = 2026-05-01\nwhat = \"pack-replcaed\"",
            "line 3: what = 'pack-replcaed': did you mean 'pack-replaced'?",
        ),
        ("[[pack]]\ncells = [", "line 2: this is no TOML: "),
        (
            "[[signal]]\nrole = \"heater-on\"\nid = \"355\"\nstart = 0\nlength = 1\nunit = \"V\"",
            "line 6: 'unit' does not go with this role, whose values are states or counts; ",
        ),
        ("[[pack]]\ninstance = 253", "line 2: instance = 253: expected a whole number from 0 to 252"),
        (
            "[[pack]]\ninstance = 1\n[[pack]]\ncells = 4",
            "line 3: 'instance' is said of one [[pack]] and not of another: ",
        ),
        (
            "[[pack]]\ninstance = 1\ncount = 2\n[[pack]]\ninstance = 2",
            "line 5: 'instance' is one that another pack has; ",
        ),
        ("[[pack]]\ninstance = 252\ncount = 2", "line 2: 'instance' leads beyond 252, "),
        (
            "dialect = \"file\"",
            "line 1: dialect = \"file\" needs signals: write [[signal]] tables, or leave the dialect out",
        ),
    ];
    for (text, why) in wrong {
        let told = refused(text);
        assert!(told.starts_with(why), "{text}\n  told: {told}\n  not:  {why}");
    }
    let twice = "[[signal]]\nrole = \"current\"\nid = \"355\"\nstart = 0\nlength = 8\n".repeat(2);
    assert_eq!(refused(&twice), "line 6: current 1 of pack 1 is given by two signals");
}

/// Reads a signal of a DBC in which its unit is this one.
fn in_unit(role: &str, unit: &str, more: &str) -> Result<BankFile, BankError> {
    let dbc = format!("BO_ 853 One: 8 Bms\n SG_ Value : 0|16@1- (0.1,0) [0|0] \"{unit}\" Bms\n");
    let signal = format!("[[signal]]\nrole = \"{role}\"\nmessage = \"One\"\nsignal = \"Value\"\n{more}");
    parse(&format!("dbc = \"one.dbc\"\n{signal}"), |_| Ok(dbc.clone().into_bytes()))
}

#[test]
fn a_unit_of_a_dbc_that_is_not_known_is_never_taken_for_the_roles_own() {
    let value = |role: &str, unit: &str| {
        let file = in_unit(role, unit, "").unwrap_or_else(|error| panic!("{role} in '{unit}': {error}"));
        match seen(&file, Id::Standard(853), &[0x2C, 0x01, 0, 0, 0, 0, 0, 0])[..] {
            [(_, Value::Present(number))] => number,
            ref other => panic!("{role} in '{unit}': {other:?}"),
        }
    };
    for unit in ["F", "°F", "Fahrenheit", "deg F"] {
        assert!((value("temperature", unit) + 1.111_111_111).abs() < 1e-6, "30 °F in '{unit}'");
    }
    assert_eq!(value("temperature", ""), 30.0, "none is the role's own");
    assert_eq!(in_unit("current", "kA", "").unwrap().signals[0].field.scale, 100.0);
    assert_eq!((value("current", "ma"), value("current", "mA")), (0.03, 0.03));
}

#[test]
fn a_unit_that_is_refused_says_line_and_what_to_do_and_can_be_overridden() {
    for (role, unit, known) in [
        ("temperature", "Rankine", "°C, K, °F"),
        ("current", "V", "A, mA, kA"),
        ("reported-soc", "Ah", "fraction, %, ‰"),
    ] {
        let told = in_unit(role, unit, "").expect_err(unit).to_string();
        let wanted = format!(
            "line 5: One.Value is in '{unit}' by the DBC, which is not known as a unit of {role}; known are {known}: say \
             which of them it is with unit = \"…\""
        );
        assert_eq!(told, wanted);
    }
    let file = in_unit("temperature", "degrees", "unit = \"°F\"").expect("it is said");
    assert!((file.signals[0].field.scale - 0.1 * 5.0 / 9.0).abs() < 1e-12);
    assert!(in_unit("heater-on", "on/off", "").is_ok(), "a state has no unit that could be mistaken");
}

#[test]
fn a_pack_that_takes_several_frames_begins_with_a_new_one() {
    let text = |more: &str| {
        format!(
            "[[pack]]\ncount = 2\ncells = 4\n[[signal]]\nrole = \"cell-voltage\"\npack = \"1..2\"\nnumber = \"1..4\"\n\
             id = \"1A0\"\nid-step = 1\nstart = 8\nlength = 16\nstep = 16\nper-frame = 3\n{more}"
        )
    };
    let places = |file: &BankFile| -> Vec<(u8, u8, String, u16, Option<u64>)> {
        let switch = |signal: &Signal| signal.when.first().map(|when| when.any_of[0].0);
        let place = |s: &Signal| (s.slot.pack + 1, s.slot.index + 1, s.key.to_string(), s.field.start, switch(s));
        file.signals.iter().map(place).collect()
    };
    let row = |pack, cell, id: &str, start, switch| (pack, cell, format!("id {id}"), start, switch);
    let by_id = places(&read(&text("")));
    assert_eq!(by_id[3..5], [row(1, 4, "1A1", 8, None), row(2, 1, "1A2", 8, None)]);
    let by_both = places(&read(&text("when = { start = 0, length = 8, is = 0, step = 1 }\n")));
    assert_eq!(
        by_both,
        [
            row(1, 1, "1A0", 8, Some(0)),
            row(1, 2, "1A0", 24, Some(0)),
            row(1, 3, "1A0", 40, Some(0)),
            row(1, 4, "1A0", 8, Some(1)),
            row(2, 1, "1A1", 8, Some(0)),
            row(2, 2, "1A1", 24, Some(0)),
            row(2, 3, "1A1", 40, Some(0)),
            row(2, 4, "1A1", 8, Some(1)),
        ],
        "the id goes by packs, the switch by the frames of a pack"
    );
}

/// A pack of four cells with the signals that follow.
fn four(signals: &[&str]) -> String {
    let start = "[[pack]]\ncells = 4\n".to_owned();
    signals.iter().fold(start, |text, signal| text + "[[signal]]\n" + signal + "\n")
}

const CELLS: &str =
    "role = \"cell-voltage\"\nid = \"3A0\"\nstart = 0\nlength = 16\nstep = 16\nnumber = \"1..4\"\nscale = 0.001";

#[test]
fn a_cell_or_a_pack_that_is_not_described_is_refused() {
    assert!(parse(&four(&[CELLS]), dbc).is_ok());
    let beyond = "line 3: cell-voltage 4 of pack 1: that pack has 3 cells in series by its 'cells'; correct 'cells', or \
                  'number'";
    assert_eq!(refused(&four(&[CELLS]).replace("cells = 4", "cells = 3")), beyond);
    let by_data = CELLS.replace("step = 16\n", "number-in = { start = 56, length = 8 }\n");
    assert_eq!(refused(&four(&[&by_data]).replace("cells = 4", "cells = 3")), beyond);
    let bleeds = CELLS.replace("cell-voltage", "cell-balancing").replace("1..4", "4..5");
    let told = refused(&four(&[&bleeds]));
    assert!(told.starts_with("line 3: cell-balancing 5 of pack 1: that pack has 4 cells in series"), "{told}");
    assert_eq!(
        refused(&four(&["role = \"current\"\npack = 3\nid = \"3A1\"\nstart = 0\nlength = 16"])),
        "line 3: current 1 of pack 3: one pack is described; add a [[pack]], raise its 'count', or correct 'pack'"
    );
    let undescribed = four(&[CELLS]).replace("[[pack]]\ncells = 4\n", "");
    assert!(parse(&undescribed, dbc).is_ok(), "the bus may describe the bank itself");
    let column =
        "[[pack]]\ncells = 4\n[table]\n[[column]]\nrole = \"cell-voltage\"\nnumber = \"2..5\"\nheading = \"C{2..5}\"\n";
    let told = refused(column);
    assert!(told.starts_with("line 4: cell-voltage 5 of pack 1 ('C5'): that pack has 4 cells in series"), "{told}");
    let twice = column.replace("2..5", "1..2") + "[[column]]\nrole = \"cell-voltage\"\nnumber = 2\nheading = \"Low\"\n";
    assert_eq!(refused(&twice), "line 8: cell-voltage 2 of pack 1 is given by two columns");
}

#[test]
fn two_values_in_the_same_bits_are_refused_unless_no_frame_has_both() {
    let current = "role = \"current\"\nid = \"3A0\"\nstart = 47\nlength = 16\norder = \"big\"";
    let hint = "correct 'start', 'length' or 'step', or give each its own 'when'";
    assert_eq!(
        refused(&four(&[CELLS, current])),
        format!(
            "line 11: current 1 of pack 1 takes bits of id 3A0 that cell-voltage 3 of pack 1 (line 3) takes too, in the \
             same frame; {hint}"
        )
    );
    let crowded = CELLS.replace("step = 16", "step = 8");
    let told = refused(&four(&[&crowded]));
    assert!(told.starts_with("line 3: cell-voltage 2 of pack 1 takes bits of id 3A0 that cell-voltage 1"), "{told}");
    let switched = |number: &str| format!("role = \"current\"\nid = \"3A0\"\nstart = 8\nlength = 16\nwhen = {number}");
    let volts = |number: &str| switched(number).replace("current", "pack-voltage");
    let is = |is: &str| format!("{{ start = 0, length = 8, is = {is} }}");
    assert!(parse(&four(&[&switched(&is("[5, 1]")), &volts(&is("[\"2..4\", 7]"))]), dbc).is_ok());
    let told = refused(&four(&[&switched(&is("[5, 1]")), &volts(&is("\"4..6\""))]));
    assert!(told.starts_with("line 9: pack-voltage 1 of pack 1 takes bits of id 3A0 that current 1"), "{told}");
    assert_eq!(
        refused(&four(&[&switched("{ start = 16, length = 4, is = 1 }")])),
        "line 3: current 1 of pack 1 takes bits of id 3A0 that its own 'when' reads; correct 'start' or 'length' of the \
         one or the other"
    );
}

#[test]
fn one_signal_is_one_measured_value_and_may_be_several_states() {
    let of = |role: &str| format!("role = \"{role}\"\nmessage = \"Shunt\"\nsignal = \"Amps\"");
    let text = format!("dbc = \"van.dbc\"\n{}", four(&[&of("current"), &of("bank-current")]));
    assert_eq!(
        refused(&text),
        "line 8: bank-current 1 ('Amps') takes bits of id 18F00101 that current 1 of pack 1 ('Amps') (line 4) takes too, \
         in the same frame; a measured value has its own bits: correct one of the two, or leave it out"
    );
    let state = |role: &str, rest: &str| format!("role = \"{role}\"\nid = \"3A1\"\nstart = 0\nlength = 2{rest}");
    let both = four(&[&state("charge-path", ""), &state("discharge-path", "")]);
    assert!(parse(&both, dbc).is_ok(), "one switch for both ways");
    let closed = "\nstates = { 0 = \"open\", 2 = \"open\", 3 = \"closed\" }";
    let word = state("discharge-path", closed).replace("length = 2", "length = 3");
    assert!(parse(&four(&[&state("charge-path", ""), &word]), dbc).is_ok(), "a word that says several states");
    let slipped = state("discharge-path", "").replace("start = 0", "start = 1");
    assert!(refused(&four(&[&state("charge-path", ""), &slipped])).starts_with("line 8: discharge-path 1 of pack 1"));
}

#[test]
fn a_hostile_file_is_refused_at_once_and_its_names_are_harmless() {
    assert_eq!(refused(&"a".repeat(100 << 20)), "line 1: the file is larger than 1048576 bytes, which no bank file is");
    let deep = format!("a = {}", "[".repeat(500_000));
    assert!(refused(&deep).starts_with("line 1: this is no TOML: "));
    let dotted = format!("{}x = 1", "a.".repeat(400_000));
    assert!(refused(&dotted).starts_with("line 1: "));
    assert!(!refused("\"a\\u001b[31m\" = 1").contains('\u{1b}'));
    let many = "[[signal]]\nrole = \"curent\"\n".repeat(30_000);
    assert!(refused(&many).ends_with("; and 15 more"));
    let range = "[[signal]]\nrole = \"cell-voltage\"\nmessage = \"{1..512}{1..512}\"\nsignal = \"{1..99999999}\"\n"
        .repeat(5_000);
    assert!(refused(&range).starts_with("line 3: "));
}

fn arbitrary_field() -> impl Strategy<Value = Field> {
    let forms = prop_oneof![Just(Form::Unsigned), Just(Form::Signed)];
    let blanks = prop_oneof![Just(Blank::None), Just(Blank::Two), Just(Blank::Three)];
    let numbers = (prop_oneof![Just(1.0), 1e-6f64..1e3, -1e3f64..-1e-6], -1e3f64..1e3);
    (0u16..448, 8u8..=32, any::<bool>(), forms, blanks, numbers).prop_map(
        |(start, len, big, form, blank, (scale, offset))| {
            let order = if big { Order::Big } else { Order::Little };
            Field { start, len, order, form, scale, offset, blank }
        },
    )
}

fn arbitrary_signal() -> impl Strategy<Value = Signal> {
    let key = prop_oneof![
        (0u16..0x800).prop_map(|id| Key::Exact(Id::Standard(id))),
        (0u32..0x2000_0000).prop_map(|id| Key::Exact(Id::Extended(id))),
        (0u32..0x2000_0000).prop_map(|id| Key::Group(Key::group_of(id))),
    ];
    let when = prop::collection::vec((0u16..64, any::<u32>(), 0u64..9), 0..3);
    let states = prop::collection::btree_map(0u64..9, 0u8..2, 0..3);
    let places = (any::<bool>(), any::<bool>(), 1u8..4);
    ((0..ROLES.len(), 0u8..8, any::<u8>()), key, "[ -~]{0,20}", arbitrary_field(), (when, states, places)).prop_map(
        |((role, pack, index), key, name, field, (when, states, (packs, indices, count)))| {
            let (_, quantity, most) = ROLES[role];
            let counter = quantity == Quantity::SenderFrames;
            let in_data = Place { field: Field::plain(0, 8), first: 1, count };
            let room = |first: u8, most: usize| usize::from(first) + usize::from(count) <= most;
            let pack = if role::is_of_the_bank(quantity) { 0 } else { pack };
            let index = index % most as u8;
            let of_the_bank = role::is_of_the_bank(quantity);
            let places = Places {
                pack: (packs && !of_the_bank).then_some(in_data),
                index: (indices && room(index, most)).then_some(in_data),
            };
            let condition = |(start, low, more): (u16, u32, u64)| When {
                field: Field::plain(start, 8),
                any_of: vec![(u64::from(low), u64::from(low) + more)],
            };
            Signal {
                slot: Slot::at(pack, quantity, index),
                key,
                message: name.clone(),
                name,
                field: if counter { Field { form: Form::Unsigned, ..field } } else { field },
                states: states.into_iter().map(|(raw, number)| (raw, f64::from(number))).collect(),
                when: when.into_iter().map(condition).collect(),
                places,
            }
        },
    )
}

prop_compose! {
    fn arbitrary_file()(
        signals in prop::collection::vec(arbitrary_signal(), 0..12),
        capacity in prop::option::of(1.0f64..6000.0),
        milliohms in prop::option::of(0u32..65_000),
        cells in prop::option::of(1u8..=32),
        reversed: bool,
        limit in prop::option::of(3.0f64..4.5),
        at in 0i64..9_000_000_000_000_000_000,
        note in "[ -~]{0,30}",
        count in 0usize..4,
        instance in prop::option::of(0u8..200),
    ) -> BankFile {
        let mut pack = PackSpec { cells, ..PackSpec::default() };
        pack.rated.capacity = capacity.map(AmpHours::of);
        pack.links[0] = milliohms.map(|number| Ohms::of(f64::from(number) / 1e3 * 1e-3));
        pack.sensors[3] = SensorSpec { role: SensorRole::Case, cell: Some(0) };
        let mut kept: Vec<Signal> = Vec::new();
        let bank = Bank { packs: vec![pack; count] };
        let mut taken = fit::Taken::default();
        for mut signal in signals {
            signal.slot.pack %= count.max(1) as u8;
            kept.push(signal);
            let new = &kept[kept.len() - 1..];
            let fits = compile::agrees(&kept, kept.len() - 1).and_then(|()| fit::fits(new, &bank));
            if fits.and_then(|()| taken.take(new, 1)).is_err() {
                kept.pop();
            }
        }
        BankFile {
            name: note.clone(),
            bank,
            limits: limit.map(|number| ("cell-overvoltage.notice".to_owned(), number)).into_iter().collect(),
            dialect: None,
            instances: instance.map_or_else(Vec::new, |first| (0..count as u8).map(|number| first + number).collect()),
            reversed,
            signals: kept,
            events: vec![BankEvent { at: Stamp::from_nanos(at), change: Change::SensorMoved, pack: None, sensor: Some(2), note }],
            table: None,
        }
    }
}

use crate::model::PackSpec;

proptest! {
    #[test]
    fn what_is_written_reads_back_the_same(file in arbitrary_file()) {
        let text = write(&file);
        let back = parse(&text, |_| Err("not asked for".into())).map_err(|error| TestCaseError::fail(format!("{error}\n{text}")))?;
        prop_assert_eq!(&back, &file);
        prop_assert_eq!(write(&back), text);
    }

    #[test]
    fn no_text_makes_it_fall_over(text in "(\\[\\[?(pack|signal|event|limits)\\]?\\]\n|[a-z-]{1,9} = [0-9\"{}.,a-z\\[\\]]{0,12}\n|.{0,20}\n){0,20}") {
        let _ = parse(&text, |_| Err("none".into())); // either answer will do: it must come
    }
}

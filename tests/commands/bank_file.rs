//! Any bus by a bank file: the same bank over an invented foreign bus gives the same findings.

use crate::bank::{simulated, text_of};
use crate::program::{Desk, cellwright};
use cellwright::bank::{self, BankFile, TEMPLATE};
use cellwright::decode::Decoder;
use cellwright::model::{Bank, Body, Frame, FrameKind, Id, Input, Quantity, Slot, Value};
use cellwright::pipeline::{Pipeline, Setup};
use std::collections::BTreeMap;

/// The invented database of an invented van.
const DBC: &str = include_str!("../../fixtures/invented-van.dbc");

/// What the signals of that van mean.
const SIGNALS: &str = r#"
dialect = "file"
dbc = "invented-van.dbc"

[[signal]]
role = "cell-voltage"
message = "Cells"
signal = "Cell{1..4}"
blank = "two"

[[signal]]
role = "current"
message = "Power"
signal = "Drawn"
current = "discharge-positive"
blank = "two"

[[signal]]
role = "pack-voltage"
message = "Power"
signal = "Pack"
blank = "two"

[[signal]]
role = "bus-voltage"
message = "Power"
signal = "Bus"
blank = "two"

[[signal]]
role = "charge-path"
message = "State"
signal = "Charge"
blank = "two"

[[signal]]
role = "discharge-path"
message = "State"
signal = "Discharge"
blank = "two"

[[signal]]
role = "heater-on"
message = "State"
signal = "Heater"
blank = "two"

[[signal]]
role = "pre-alarm"
message = "State"
signal = "Warns"
blank = "two"

[[signal]]
role = "balancing"
message = "State"
signal = "Balances"
blank = "two"

[[signal]]
role = "reported-soc"
message = "State"
signal = "Soc"
blank = "two"

[[signal]]
role = "temperature"
message = "Warmth"
signal = "T{1..2}"
blank = "two"

[[signal]]
role = "source-kind"
message = "Source{1..2}"
signal = "Kind"
blank = "two"

[[signal]]
role = "source-state"
message = "Source{1..2}"
signal = "State"
blank = "two"

[[signal]]
role = "source-current"
message = "Source{1..2}"
signal = "Amps"
blank = "two"

[[signal]]
role = "source-offer"
message = "Source{1..2}"
signal = "Offer"
blank = "two"

[[signal]]
role = "source-voltage"
message = "Source{1..2}"
signal = "Volts"
blank = "two"
"#;

/// The bank as its own frames describe it, at the end of a run.
fn described(inputs: &[Input]) -> Bank {
    let mut pipeline = Pipeline::new(Setup::default());
    inputs.iter().for_each(|input| pipeline.push(input));
    pipeline.snapshot().bank
}

/// The bank file of the van for this bank.
fn van(inputs: &[Input]) -> String {
    let bank = BankFile { bank: described(inputs), ..BankFile::default() };
    SIGNALS.to_owned() + &bank::write(&bank)
}

fn read(text: &str) -> BankFile {
    bank::parse(text, |_| Ok(DBC.into())).unwrap_or_else(|error| panic!("{error}"))
}

/// The same inputs as the van's bus sends them: each of our frames becomes the frames that carry its values there.
fn on_the_van(inputs: &[Input], file: &BankFile) -> Vec<Input> {
    let mut decoder = Decoder::default();
    let mut known: BTreeMap<Slot, Value> = BTreeMap::new();
    let mut foreign = Vec::new();
    for input in inputs {
        let Body::Frame(frame) = &input.body else {
            foreign.push(input.clone());
            continue;
        };
        let mut news = Vec::new();
        decoder.frame(input.stamp, frame, |slot, value| {
            known.insert(slot, value);
            news.push(slot);
        });
        for frame in frames(file, &known, &news) {
            foreign.push(Input { stamp: input.stamp, body: Body::Frame(frame) });
        }
    }
    foreign
}

fn frames(file: &BankFile, known: &BTreeMap<Slot, Value>, news: &[Slot]) -> Vec<Frame> {
    let mut frames: BTreeMap<(Id, u64), [u8; 8]> = BTreeMap::new();
    let part = |signal: &bank::Signal| signal.when.first().map_or(0, |when| when.any_of[0].0);
    let id = |signal: &bank::Signal| match signal.key {
        cellwright::layout::Key::Exact(id) => id,
        group => panic!("{group} has no id"),
    };
    for signal in file.signals.iter().filter(|signal| news.contains(&signal.slot)) {
        frames.insert((id(signal), part(signal)), [0xFF; 8]);
    }
    for ((of, number), data) in &mut frames {
        for signal in file.signals.iter().filter(|signal| id(signal) == *of && part(signal) == *number) {
            let value = known.get(&signal.slot).copied().unwrap_or(Value::Missing);
            assert!(signal.field.put(data, signal.field.raw(value)));
            signal.when.iter().for_each(|when| assert!(when.field.put(data, *number)));
        }
    }
    let frame = |((id, _), data): ((Id, u64), [u8; 8])| Frame::new(id, FrameKind::Data, &data).expect("eight bytes");
    frames.into_iter().map(frame).collect()
}

/// The findings in a report for programs.
fn findings(report: &str) -> serde_json::Value {
    let report: serde_json::Value = serde_json::from_str(report).expect(report);
    report["findings"].clone()
}

/// The same without what rests on the limits that a pack itself tells of, which the van's bus does not carry.
fn without_the_packs_own_limits(report: &str) -> serde_json::Value {
    let mut found = findings(report);
    for finding in found.as_array_mut().into_iter().flatten().filter(|finding| finding["code"] == "bms-cutoff") {
        finding["text"] = serde_json::Value::Null;
        for figure in ["cut_margin_v", "near_limit_s"] {
            finding["evidence"][figure] = serde_json::Value::Null;
        }
    }
    found
}

/// A desk with the van's database and bank file, our log and the van's.
fn desk(name: &str, days: f64, sample: f64) -> (Desk, [String; 3]) {
    let desk = Desk::new();
    let inputs = simulated(name, days, sample);
    let text = van(&inputs);
    let foreign = on_the_van(&inputs, &read(&text));
    let paths = ["own.log", "van.log", "van.toml"].map(|name| desk.path(name));
    for (path, text) in paths.iter().zip([text_of(inputs), text_of(foreign), text]) {
        std::fs::write(path, text).unwrap();
    }
    std::fs::write(desk.path("invented-van.dbc"), DBC).unwrap();
    (desk, paths)
}

#[test]
fn the_same_bank_over_a_foreign_bus_gives_the_same_findings() {
    for (name, days, sample) in [("cold-morning", 0.5, 5.0), ("lost-sensor", 0.8, 10.0), ("night-cutoff", 0.7, 10.0)] {
        let (_desk, [own, foreign, file]) = desk(name, days, sample);
        let ours = cellwright(&["check", &own, "--format", "json"]);
        let theirs = cellwright(&["check", &foreign, "--bank", &file, "--format", "json"]);
        assert_eq!(theirs.err, "");
        assert!(findings(&ours.out).as_array().is_some_and(|found| !found.is_empty()), "{name} speaks");
        assert_eq!(without_the_packs_own_limits(&theirs.out), without_the_packs_own_limits(&ours.out), "{name}");
        assert_eq!(theirs.code, ours.code);
    }
}

#[test]
fn a_recording_holds_the_bank_file_by_which_it_was_read() {
    let (desk, [_, foreign, file]) = desk("cold-morning", 0.4, 10.0);
    let recording = desk.path("kept.log");
    let live = cellwright(&["watch", &foreign, "--bank", &file, "--record", &recording, "--format", "json"]);
    std::fs::remove_file(&file).unwrap();
    std::fs::remove_file(desk.path("invented-van.dbc")).unwrap();
    let alone = cellwright(&["check", &recording, "--format", "json"]);
    assert_eq!(alone.out, live.out, "{}", live.err);
    assert!(alone.err.contains("read by the bank file that the recording holds"), "{}", alone.err);
    let other = desk.path("other.toml");
    std::fs::write(&other, "[[pack]]\ncells = 4\ncapacity = 100\n").unwrap();
    let told = cellwright(&["check", &recording, "--bank", &other, "--format", "json"]);
    assert!(told.err.contains("it is not used, since --bank names another"), "{}", told.err);
    assert!(!told.out.contains("cold-charge\",\n      \"severity"), "its signals are not known");
}

#[test]
fn a_limit_of_the_bank_file_is_in_force() {
    let (desk, [_, foreign, file]) = desk("cold-morning", 0.4, 10.0);
    let limits = "\n[limits]\ncold-charge.below = -20\n";
    let text = std::fs::read_to_string(&file).unwrap() + limits;
    std::fs::write(&file, text).unwrap();
    let told = cellwright(&["check", &foreign, "--bank", &file]);
    assert!(!told.out.contains("too fast for the cold"), "{}", told.out);
    let listed = cellwright(&["limits", "--bank", &file]);
    assert!(listed.out.contains("cold-charge.below") && listed.out.contains("-20"), "{}", listed.out);
    let _ = desk;
}

#[test]
fn decode_names_the_messages_of_a_bank_file() {
    let (_desk, [_, foreign, file]) = desk("cold-morning", 0.01, 60.0);
    let ran = cellwright(&["decode", &foreign, "--bank", &file]);
    let line = ran.out.lines().find(|line| line.contains(" Power ")).expect(&ran.out);
    assert!(line.contains("pack1_current") && line.contains("pack1_bus_voltage"), "{line}");
}

#[test]
fn the_template_is_printed_and_reads_back() {
    let desk = Desk::new();
    let ran = cellwright(&["bank", "template"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, TEMPLATE));
    let path = desk.path("template.toml");
    std::fs::write(&path, ran.out).unwrap();
    let told = cellwright(&["bank", "check", &path]);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    assert!(told.out.contains("Pack 2: 4 cells in series, 100 Ah, sensors: cell, electronics"), "{}", told.out);
    let cell = "cell-voltage 2 of pack 2: id 3A1, 16 bits from bit 16, count × 0.001\n";
    assert!(told.out.contains(cell), "{}", told.out);
    let inline = cellwright(&["bank", "inline", &path]);
    let again = desk.path("inline.toml");
    std::fs::write(&again, &inline.out).unwrap();
    assert_eq!(cellwright(&["bank", "inline", &again]).out, inline.out);
}

#[test]
fn a_wrong_bank_file_is_refused_with_file_line_and_suggestion() {
    let desk = Desk::new();
    let path = desk.path("wrong.toml");
    std::fs::write(&path, "[[pack]]\ncels = 4\n").unwrap();
    let ran = cellwright(&["bank", "check", &path]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    let wanted =
        format!("cellwright: bank file '{path}', line 2: a [[pack]] has no key 'cels'; did you mean 'cells'?\n");
    assert_eq!(ran.err, wanted);
    let ran = cellwright(&["check", "no.log", "--bank", &desk.path("none.toml")]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("none.toml': it cannot be opened"), "{}", ran.err);
}

#[test]
fn a_live_counter_tells_a_clock_that_was_set_from_a_gap() {
    let (_desk, [_, _, file]) = desk("cold-morning", 0.01, 60.0);
    let text = std::fs::read_to_string(&file).unwrap()
        + "[[signal]]\nrole = \"live-counter\"\nmessage = \"Alive\"\nsignal = \"Count\"\n";
    let file = read(&text);
    let run = |leap: bool, missed: u64| {
        let setup = Setup::default().with(cellwright::pipeline::Filed::new(&file).unwrap());
        let mut pipeline = Pipeline::new(setup);
        let mut known = BTreeMap::new();
        for second in 0..1200_u64 {
            let (count, secs) = if second < 600 { (second, second) } else { (second + missed, second + 3600) };
            let secs = if leap { secs } else { second };
            let stamp = crate::bank::BEGIN.plus_secs(secs as f64);
            known.insert(Slot::of(0, Quantity::SenderFrames), Value::Present((count % 256) as f64));
            for cell in 0..4 {
                known.insert(Slot::at(0, Quantity::CellVoltage, cell), Value::Present(3.3));
            }
            let news: Vec<Slot> = known.keys().copied().collect();
            for frame in frames(&file, &known, &news) {
                pipeline.push(&Input { stamp, body: Body::Frame(frame) });
            }
        }
        pipeline.close();
        let codes: Vec<&str> = pipeline.snapshot().findings.iter().map(|finding| finding.code).collect();
        codes.join(" ")
    };
    assert_eq!(run(false, 0), "");
    assert_eq!(run(true, 0), "clock-step", "the counter went on: the clock was set");
    assert_eq!(
        run(true, 77),
        "lossy-link stale-data",
        "counts are missing: the bus was silent, and 77 frames of 1200 are lost"
    );
}

#[test]
fn a_log_given_for_a_bank_file_is_told_from_one() {
    let desk = Desk::new();
    let line = "(1768021200.000000) can0 321#0102\n";
    let log = desk.put("trip.log", line.repeat(40_000));
    let packed = desk.put("trip.log.gz", b"\x1f\x8b\x08\x00rest");
    for (file, what) in
        [(&log, "this is a log, and no bank file"), (&packed, "this is a compressed file, such as a log")]
    {
        let ran = cellwright(&["check", &log, "--bank", file]);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains(what) && ran.err.contains("'cellwright bank template' prints one"), "{}", ran.err);
    }
}

/// A cell that is told by a number in the data, and the three of four that come.
const BY_NUMBER: &str = "[[pack]]\ncells = 4\n[[signal]]\nrole = \"cell-voltage\"\nnumber = \"1..4\"\nid = \"7A0\"\n\
    start = 8\nlength = 16\nscale = 0.001\nnumber-in = { start = 0, length = 8, first = 1 }\n";

#[test]
fn what_a_number_in_the_data_names_is_promised_and_has_its_source_one_by_one() {
    let desk = Desk::new();
    let second = |second: u32| {
        (1..4)
            .map(|cell| format!("({}.0{cell}0000) can0 7A0#0{cell}E50C\n", 1_768_435_200 + second))
            .collect::<String>()
    };
    let log = desk.put("cells.log", (0..60).map(second).collect::<String>());
    let bank = desk.put("boat.toml", BY_NUMBER);
    let ran = cellwright(&["check", "--format", "json", "--sources", "--bank", &bank, &log]);
    let report: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(report["input"]["never_sent"], serde_json::json!(["pack1_cell4_voltage_v"]), "{}", ran.out);
    let ran = cellwright(&["check", "--sources", "--bank", &bank, &log]);
    for cell in 1..4 {
        let told = format!("8 bits from bit 0 are {cell}");
        let words = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            words.contains(&format!(
                "pack1_cell{cell}_voltage_v: id 7A0, 16 bits from bit 8, count × 0.001, while {told}"
            )),
            "{words}"
        );
    }
    assert!(ran.out.contains("Promised by the bank file and never sent\n  pack1_cell4_voltage_v"), "{}", ran.out);
}

#[test]
fn a_bank_file_with_signals_says_that_no_standard_is_read_beside_them() {
    let desk = Desk::new();
    let frames = |second: u32| format!("({}.000000) can0 19FFFD46#0178090100943577\n", 1_768_435_200 + second);
    let log = desk.put("both.log", (0..60).map(frames).collect::<String>());
    let signal = "[[pack]]\ncells = 4\n[[signal]]\nrole = \"heater-on\"\nid = \"123\"\nstart = 0\nlength = 1\n";
    let alone = desk.put("alone.toml", signal);
    let said = cellwright(&["bank", "check", &alone]).out;
    assert!(said.contains("What the bus speaks: the signals of this file; no open standard is read beside"), "{said}");
    let ran = cellwright(&["check", &log, "--bank", &alone]);
    let words = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("can0 speaks nothing that is read"), "{words}");
    assert!(words.contains("frames that look like RV-C come and are not read"), "{words}");
    assert!(words.contains("dialect = \"rv-c\", which reads both"), "{words}");
    let both = desk.put("both.toml", format!("dialect = \"rv-c\"\n{signal}"));
    let said = cellwright(&["bank", "check", &both]).out;
    assert!(said.contains("What the bus speaks: RV-C, and the signals of this file"), "{said}");
    assert!(cellwright(&["check", &log, "--bank", &both]).out.contains("can0 speaks RV-C (told so)"));
}

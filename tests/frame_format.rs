//! `docs/frame-format.md` against the program: every table and every worked example of the page is read from the
//! page and compared with what the code has and does, so that neither can change without the other.

use cellwright::layout::own::{self, BANK_SENDER, FIRST_ADDRESS, FRAMES, OwnFrame, Sender};
use cellwright::layout::{Blank, Form};
use cellwright::model::bank::{BalanceKind, SensorRole, SourceKind, SourceState};
use cellwright::model::input::{ControllerState, Loss};
use cellwright::model::{Body, Frame, FrameKind, Id, Input, Rejection, Slot, Value};
use cellwright::wire::Interfaces;
use cellwright::wire::envelope::{self, Deframer};
use cellwright::wire::textlog::{Line, LineParser, write_line};
use std::collections::BTreeMap;

const PAGE: &str = include_str!("../docs/frame-format.md");

/// A row of a table of fields, as the page has it and as the code has it.
#[derive(Debug, Clone, PartialEq)]
struct Row {
    field: String,
    /// First and last number of the field in the frame; none when there is only one.
    numbers: Option<(usize, usize)>,
    starts: Vec<u16>,
    bits: u8,
    scale: f64,
    offset: f64,
    unit: String,
    range: (f64, f64),
}

/// A frame: first and last group, sender, rows.
type Section = (u8, u8, String, Vec<Row>);

fn cells(line: &str) -> Vec<&str> {
    line.trim_matches('|').split('|').map(str::trim).collect()
}

fn hex(text: &str) -> u8 {
    u8::from_str_radix(text.trim_start_matches("0x"), 16).unwrap()
}

/// '0, 2, … 62' or '0, 16, 32, 48'.
fn starts(text: &str) -> Vec<u16> {
    let listed: Vec<u16> = text.split([',', '…']).filter_map(|number| number.trim().parse().ok()).collect();
    match (text.contains('…'), listed.as_slice()) {
        (true, [first, second, last]) => (*first..=*last).step_by(usize::from(second - first)).collect(),
        _ => listed,
    }
}

fn row(line: &str) -> Row {
    let columns = cells(line);
    let [field, number, start, bits, scale, offset, unit, range, _meaning] = columns[..] else {
        panic!("nine columns: {line}")
    };
    let numbers = (number != "–").then(|| {
        let (first, last) = number.split_once('–').unwrap_or((number, number));
        (first.parse().unwrap(), last.parse().unwrap())
    });
    let (low, high) = range.split_once(" to ").unwrap();
    Row {
        field: field.trim_matches('`').into(),
        numbers,
        starts: starts(start),
        bits: bits.parse().unwrap(),
        scale: scale.parse().unwrap(),
        offset: offset.parse().unwrap(),
        unit: if unit == "–" { String::new() } else { unit.into() },
        range: (low.parse().unwrap(), high.parse().unwrap()),
    }
}

/// The frames of the page by their names.
fn page_frames(page: &str) -> BTreeMap<String, Section> {
    let mut frames = BTreeMap::new();
    let part = page.split("\n## The frames\n").nth(1).unwrap().split("\n## ").next().unwrap();
    for section in part.split("\n### ").skip(1) {
        let (heading, rest) = section.split_once('\n').unwrap();
        let (groups, name) = heading.split_once(" `").unwrap();
        let (first, last) = groups.split_once(" to ").unwrap_or((groups, groups));
        let sender = rest.split("Sender: ").nth(1).unwrap().split('.').next().unwrap();
        let rows = rest.lines().filter(|line| line.starts_with("| `")).map(row).collect();
        frames.insert(name.trim_end_matches('`').into(), (hex(first), hex(last), sender.into(), rows));
    }
    frames
}

/// A number as a person would write it: without the dust of binary fractions.
fn tidy(number: f64) -> f64 {
    format!("{number:.5}").parse().unwrap()
}

fn code_rows(frame: &OwnFrame) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for own in frame.fields {
        let name = own.quantity.name();
        if let Some(row) = rows.iter_mut().find(|row| row.field == name) {
            row.starts.push(own.field.start);
            row.numbers = Some((1, usize::from(own.index) + 1));
            continue;
        }
        let (low, high) = own.quantity.bounds();
        let top = (own.field.mask() - 2) as f64 * own.field.scale + own.field.offset;
        rows.push(Row {
            field: name.into(),
            numbers: (frame.step > 0).then_some((1, 1)),
            starts: vec![own.field.start],
            bits: own.field.len,
            scale: own.field.scale,
            offset: own.field.offset,
            unit: own.quantity.unit().into(),
            range: (tidy(low.max(own.field.offset)), tidy(high.min(top))),
        });
        assert!(
            own.field.blank == Blank::Two && own.field.form == Form::Unsigned,
            "{name}: the page says so of every field"
        );
    }
    rows
}

fn code_frames() -> BTreeMap<String, Section> {
    let section = |frame: &OwnFrame| {
        let sender = match frame.sender {
            Sender::Pack => "pack",
            Sender::Bank => "bank",
            Sender::Any => "any",
        };
        (frame.group, frame.group + frame.repeat - 1, sender.to_string(), code_rows(frame))
    };
    FRAMES.iter().map(|frame| (frame.name.to_string(), section(frame))).collect()
}

#[test]
fn every_frame_and_field_stands_on_the_page_as_it_is_in_the_code() {
    let (page, code) = (page_frames(PAGE), code_frames());
    for (name, section) in &code {
        assert_eq!(page.get(name), Some(section), "{name}");
    }
    assert_eq!(page.len(), code.len(), "nothing on the page that is not in the code");
}

#[test]
fn one_wrong_digit_on_the_page_would_be_noticed() {
    let frames = code_frames();
    for (right, wrong) in [
        ("| 0.01 | -100 | degC |", "| 0.01 | -10 | degC |"),
        ("| 0, 2, … 62 | 2 |", "| 0, 2, … 60 | 2 |"),
        ("### 0x31 `", "### 0x35 `"),
        ("Sender: bank.", "Sender: pack."),
    ] {
        assert!(PAGE.contains(right), "{right}");
        assert_ne!(page_frames(&PAGE.replacen(right, wrong, 1)), frames, "{wrong}");
    }
}

#[test]
fn ids_are_those_of_j1939() {
    // Priority, parameter group and source address; the first two as cantools computes them for RV-C frames.
    let j1939 = |priority: u32, group: u32, address: u32| priority << 26 | group << 8 | address;
    assert_eq!(j1939(6, 0x1FFFD, 0x46), 0x19FF_FD46);
    assert_eq!(j1939(7, 0x1FDDD, 0x46), 0x1DFD_DD46);
    for frame in FRAMES {
        for sender in 0..=BANK_SENDER {
            let group = 0xFF00 | u32::from(frame.group);
            assert_eq!(own::id(frame.group, sender), j1939(6, group, u32::from(FIRST_ADDRESS + sender)));
        }
    }
    assert!(PAGE.contains(&format!("group 0x10 from address 0x80 is `{:08X}`", own::id(0x10, 0))));
    assert!(PAGE.contains(&format!("group 0x40 from address 0x90 is `{:08X}`", own::id(0x40, BANK_SENDER))));
    assert!(PAGE.contains(&format!("| pack 1 to pack 16 | 0x{FIRST_ADDRESS:02X} to 0x{:02X} |", FIRST_ADDRESS + 15)));
    assert!(PAGE.contains(&format!("| the bank | 0x{:02X} |", FIRST_ADDRESS + BANK_SENDER)));
}

/// Rows of the table whose first heading is this.
fn table(heading: &str) -> Vec<Vec<&'static str>> {
    let start = PAGE.find(&format!("\n\n| {heading} |")).unwrap_or_else(|| panic!("no table '{heading}'"));
    PAGE[start..].lines().skip(4).take_while(|line| line.starts_with('|')).map(cells).collect()
}

#[test]
fn the_codes_of_the_page_are_those_of_the_code() {
    let words = |heading: &str| -> Vec<(u8, String)> {
        table(heading).iter().map(|row| (row[0].parse().unwrap(), row[1].to_string())).collect()
    };
    macro_rules! same {
        ($heading:literal, $type:ty) => {
            let code: Vec<_> = <$type>::ALL.iter().map(|(code, kind)| (*code, kind.word().to_string())).collect();
            assert_eq!(words($heading), code);
        };
    }
    same!("`sensor_role`", SensorRole);
    same!("`balance_kind`", BalanceKind);
    same!("`source_kind`", SourceKind);
    same!("`source_state`", SourceState);
    let reasons: Vec<String> = table("code").iter().map(|row| row[1].trim_matches('`').to_string()).collect();
    assert_eq!(reasons, Rejection::ALL.map(|reason| reason.code().to_string()));
}

/// The lines of a block of worked examples.
fn block(name: &str) -> Vec<&'static str> {
    let start = PAGE.split(&format!("```{name}\n")).nth(1).unwrap_or_else(|| panic!("no block '{name}'"));
    start.split("\n```").next().unwrap().lines().collect()
}

/// A frame as the text log writes it.
fn frame(text: &str) -> Frame {
    match LineParser::new().line(format!("(0.0) can0 {text}").as_bytes()) {
        Ok(Line::Input(Input { body: Body::Frame(frame), .. })) => frame,
        other => panic!("{text}: {other:?}"),
    }
}

/// 'cell_voltage[3]=n/a' as name, number from 0 and value.
fn stated(text: &str) -> (&str, u8, Value) {
    let (field, value) = text.split_once('=').unwrap();
    let (name, number) = field.trim_end_matches(']').split_once('[').unwrap_or((field, "1"));
    let value = match value {
        "n/a" => Value::Missing,
        "error" => Value::Invalid(0),
        number => Value::Present(number.parse().unwrap()),
    };
    (name, number.parse::<u8>().unwrap() - 1, value)
}

fn same(a: Value, b: Value) -> bool {
    match (a, b) {
        (Value::Present(a), Value::Present(b)) => (a - b).abs() < 1e-9,
        (Value::Invalid(_), Value::Invalid(_)) => true,
        (a, b) => a == b,
    }
}

#[test]
fn every_worked_frame_is_encoded_and_decoded_as_the_page_says() {
    let map = own::compile();
    let mut shown: BTreeMap<&str, usize> = BTreeMap::new();
    for line in block("frames") {
        let (text, says) = line.split_once("  ").unwrap();
        let (what, values) = says.split_once(": ").unwrap_or((says, ""));
        let (name, who) = what.split_once(' ').unwrap();
        let sender = who.strip_prefix("pack ").map_or(BANK_SENDER, |pack| pack.parse::<u8>().unwrap() - 1);
        let expected = frame(text);
        *shown.entry(name).or_default() += 1;
        if name == "hello" {
            assert_eq!(own::hello(sender), expected, "{line}");
            assert!(own::is_hello(&expected));
            continue;
        }
        let values: Vec<_> = values.split(' ').map(stated).collect();
        let value = |slot: Slot| {
            let found = values.iter().find(|(name, index, _)| *name == slot.quantity.name() && *index == slot.index);
            found.map_or(Value::Missing, |(_, _, value)| *value)
        };
        let own_frame = FRAMES.iter().find(|frame| frame.name == name).unwrap();
        let (group, from) = own::split(expected.id).unwrap();
        assert_eq!(from, sender, "{line}");
        assert_eq!(own::encode(own_frame, group - own_frame.group, sender, value), expected, "{line}");
        let mut read = 0;
        map.read(map.find(expected.id).unwrap(), &expected, |slot, found| {
            assert!(same(found, value(slot)), "{line}: {slot:?} is {found:?}");
            read += usize::from(
                values.iter().any(|(name, index, _)| *name == slot.quantity.name() && *index == slot.index),
            );
        });
        assert_eq!(read, values.len(), "{line}: every value named is a field of this frame");
    }
    let expected: Vec<&str> = FRAMES.iter().map(|frame| frame.name).chain(["hello"]).collect();
    for name in expected {
        assert!(shown.contains_key(name), "no worked frame for {name}");
    }
}

#[test]
fn every_worked_record_is_packed_and_unpacked_as_the_page_says() {
    let mut kinds = 0;
    let mut stream = Vec::new();
    let mut frames = Vec::new();
    for line in block("records") {
        let (bytes, text) = line.split_once("  ").unwrap();
        let bytes: Vec<u8> = bytes.split(' ').map(hex).collect();
        let expected = frame(text);
        let mut packed = Vec::new();
        envelope::encode(&expected, &mut packed);
        assert_eq!(packed, bytes, "{line}");
        kinds |= match expected.kind {
            FrameKind::Data => 1,
            FrameKind::Remote => 2,
            FrameKind::Error => 4,
            FrameKind::Fd(_) => 8,
        };
        kinds |= if matches!(expected.id, Id::Standard(_)) { 16 } else { 32 };
        stream.extend(bytes);
        frames.push(Ok(expected));
    }
    let mut found = Vec::new();
    Deframer::new().push(&stream, |result| found.push(result));
    assert_eq!(found, frames);
    assert_eq!(kinds, 63, "every kind and both widths are shown");
}

/// An input as the page says it.
fn words(body: &Body, interfaces: &Interfaces) -> String {
    match body {
        Body::Rejected { reason, count } => format!("rejected {} {count}", reason.code()),
        Body::Lost { by: Loss::Computer, count } => format!("lost {count} by this computer"),
        Body::Link { channel, up } => {
            format!("link {} {}", interfaces.name(*channel).unwrap(), if *up { "up" } else { "down" })
        }
        Body::Controller { channel, state: ControllerState::BusOff } => {
            format!("controller {} bus off", interfaces.name(*channel).unwrap())
        }
        Body::ClockStep { old } => format!("clock step from {old}"),
        Body::Suspend { secs } => format!("suspend {secs} s"),
        Body::Gap { count } => format!("gap {count}"),
        Body::BankFile { digest, text } => format!("bank file {digest:016X} of {} bytes", text.len()),
        Body::Acknowledge { rule, subject } => format!("acknowledge the condition of key {rule}, {subject}"),
        Body::Note(text) => format!("note: {text}"),
        Body::Closing => "closing".into(),
        other => panic!("{other:?} is not on the page"),
    }
}

#[test]
fn every_worked_line_is_read_and_written_as_the_page_says() {
    let mut parser = LineParser::new();
    let mut kinds = Vec::new();
    for pair in block("lines").chunks(2) {
        let [line, says] = pair else { panic!("a line and what it says") };
        let Ok(Line::Input(input)) = parser.line(line.as_bytes()) else { panic!("{line}") };
        assert_eq!(words(&input.body, &parser.interfaces), says.trim(), "{line}");
        let mut written = Vec::new();
        write_line(&mut written, &input, &parser.interfaces);
        assert_eq!(String::from_utf8(written).unwrap(), format!("{line}\n"));
        let frame = line.split(" cellwright ").nth(1).unwrap();
        kinds.push(hex(&frame["001##0".len()..][..2]).to_string());
    }
    let on_page: Vec<&str> = table("kind").iter().map(|row| row[0]).collect();
    assert_eq!(kinds, on_page, "a worked line for every kind, in order");
}

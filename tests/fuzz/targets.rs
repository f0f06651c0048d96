//! What hostile bytes are thrown at. Each target takes any bytes and may neither panic nor grow; libFuzzer and
//! `tests/hostile.rs` call the same functions.

use cellwright::bank::{Table, parse as parse_bank};
use cellwright::convert::Converter;
use cellwright::decode::{Decoder, DecoderState};
use cellwright::layout::dbc::{self, DbcMap};
use cellwright::layout::{CompiledMap, own};
use cellwright::model::{Bank, Body, Frame, FrameKind, Id, Input, Reading, Stamp, Value, clean};
use cellwright::pipeline::{Pipeline, SavedState, Setup};
use cellwright::survey::{Known, Survey, beside, draft};
use cellwright::wire::Interfaces;
use cellwright::wire::envelope::{self, Deframer};
use cellwright::wire::serial_can::Lines;
use cellwright::wire::textlog::{Line, LineParser, write_line};
use jiff::tz::TimeZone;
use std::sync::OnceLock;

/// Takes any bytes.
pub(crate) type Target = fn(&[u8]);

/// Name and function of every target.
pub(crate) const TARGETS: &[(&str, Target)] = &[
    ("envelope", envelope),
    ("serial_can", serial_can),
    ("log_lines", log_lines),
    ("decoder", decoder),
    ("standards", standards),
    ("description", description),
    ("pipeline", pipeline),
    ("saved_state", saved_state),
    ("dbc", dbc),
    ("bank", bank),
    ("survey", survey),
    ("convert", convert),
];

/// Bytes of a serial line: read whole and read in pieces gives the same, and what was read can be written and
/// read again.
pub(crate) fn envelope(data: &[u8]) {
    let mut whole = Vec::new();
    Deframer::new().push(data, |found| whole.push(found));
    let mut pieces = Vec::new();
    let mut deframer = Deframer::new();
    let size = usize::from(data.first().copied().unwrap_or(0) % 16) + 1;
    for piece in data.chunks(size) {
        deframer.push(piece, |found| pieces.push(found));
    }
    assert_eq!(whole, pieces);
    for frame in whole.into_iter().flatten() {
        let mut bytes = Vec::new();
        envelope::encode(&frame, &mut bytes);
        let mut again = Vec::new();
        Deframer::new().push(&bytes, |found| again.push(found));
        assert_eq!(again, [Ok(frame)]);
    }
}

/// What a serial-line CAN adapter says: read whole and read in pieces gives the same.
pub(crate) fn serial_can(data: &[u8]) {
    let (mut whole, mut pieces, mut lines) = (Vec::new(), Vec::new(), Lines::default());
    Lines::default().push(data, |said| whole.push(said));
    let size = usize::from(data.first().copied().unwrap_or(0) % 16) + 1;
    for piece in data.chunks(size) {
        lines.push(piece, |said| pieces.push(said));
    }
    assert_eq!(whole, pieces);
}

/// Lines of a text log: what was read can be written and read again, and no written line holds a
/// character that a terminal would obey.
pub(crate) fn log_lines(data: &[u8]) {
    let mut parser = LineParser::new();
    for line in data.split(|byte| *byte == b'\n') {
        let Ok(Line::Input(input)) = parser.line(line) else { continue };
        let mut written = Vec::new();
        write_line(&mut written, &input, &parser.interfaces);
        let text = String::from_utf8(written.clone()).expect("a written log is text");
        for line in text.lines() {
            assert_eq!(clean(line, usize::MAX), line);
        }
        assert_eq!(read_back(&written, &parser.interfaces).as_ref(), Some(&input));
    }
}

fn read_back(written: &[u8], interfaces: &Interfaces) -> Option<Input> {
    let mut parser = LineParser::new();
    parser.interfaces = interfaces.clone();
    let lines = written.split(|byte| *byte == b'\n');
    lines.filter_map(|line| parser.line(line).ok()).find_map(|line| match line {
        Line::Input(input) => Some(input),
        _ => None,
    })
}

/// Any frame through the compiled map: every value lies within its bounds or is none.
pub(crate) fn decoder(data: &[u8]) {
    let map = map();
    for frame in frames(data) {
        let Some(message) = map.find(frame.id) else { continue };
        map.read(message, &frame, |slot, value| {
            let (low, high) = slot.quantity.bounds();
            assert!(!matches!(value, Value::Present(number) if !(low..=high).contains(&number)), "{slot:?} {value:?}");
        });
    }
}

/// Any frames of the open standards' groups, two interfaces and many senders: every value lies within its bounds or is
/// none, what is under way stays small, and saved and restored half way the rest says the same.
pub(crate) fn standards(data: &[u8]) {
    let mut decoders = [Decoder::default(), Decoder::default()];
    let mut at = Stamp::from_secs(1_768_435_200);
    let frames: Vec<Frame> = standard_frames(data).collect();
    for (number, frame) in frames.iter().enumerate() {
        at = at.plus_nanos(1_i64 << (frame.word() % 34));
        if number == frames.len() / 2 {
            let state = postcard::to_stdvec(decoders[0].state()).unwrap();
            assert!(state.len() < 1 << 18, "{} bytes", state.len());
            let state: DecoderState = postcard::from_bytes(&state).unwrap();
            decoders[1] = Decoder::default().with_state(state.checked().expect("in bounds"));
        }
        let [mut said, mut again] = [Vec::new(), Vec::new()];
        decoders[0].frame(at, frame, |slot, value| said.push((slot, value)));
        decoders[1].frame(at, frame, |slot, value| again.push((slot, value)));
        assert_eq!(said, again);
        for (slot, value) in said {
            let (low, high) = slot.quantity.bounds();
            assert!(!matches!(value, Value::Present(number) if !(low..=high).contains(&number)), "{slot:?} {value:?}");
        }
    }
    assert_eq!(decoders[0].buses(), decoders[1].buses());
}

/// Frames out of bytes, of groups that the standards have.
fn standard_frames(data: &[u8]) -> impl Iterator<Item = Frame> {
    const GROUPS: [u32; 16] = [
        0x1_FFFD, 0x1_FFFC, 0x1_FEC9, 0x1_FEC8, 0x1_FEC7, 0x1_FEA5, 0x1_FE95, 0x1_FE94, 0x1_FE8B, 0x1_FDF1, 0x1_FDDD,
        0x1_F212, 0x1_F214, 0x1_F219, 0xECFF, 0xEBFF,
    ];
    data.chunks_exact(10).map(|record| {
        let group = GROUPS[usize::from(record[0] % 16)];
        let mut bytes = [0; 8];
        bytes.copy_from_slice(&record[2..]);
        Frame::extended(6 << 26 | group << 8 | u32::from(record[1]), bytes).on(record[0] >> 7)
    })
}

/// Description frames: whatever they say, the bank stays within the largest there is.
pub(crate) fn description(data: &[u8]) {
    let map = map();
    let mut bank = Bank::default();
    for frame in frames(data) {
        let Some(message) = map.find(frame.id) else { continue };
        map.read(message, &frame, |slot, value| {
            bank.describe(&Reading { slot, value });
        });
    }
    assert!(bank.packs.len() <= cellwright::model::MAX_PACKS);
}

fn map() -> &'static CompiledMap {
    static MAP: OnceLock<CompiledMap> = OnceLock::new();
    MAP.get_or_init(own::compile)
}

/// A pipeline that has heard nothing; made once, since compiling the map takes longer than a short run.
fn fresh() -> Pipeline {
    static FRESH: OnceLock<Pipeline> = OnceLock::new();
    FRESH.get_or_init(|| Pipeline::new(Setup::default())).clone()
}

/// Frames out of bytes, most of them of our own format so that they reach something.
fn frames(data: &[u8]) -> impl Iterator<Item = Frame> {
    data.chunks(12).filter_map(|record| {
        let (head, bytes) = record.split_at_checked(3)?;
        let kind = match head[0] >> 5 {
            0 => FrameKind::Remote,
            1 => FrameKind::Error,
            2 => FrameKind::Fd(head[0] & 7),
            _ => FrameKind::Data,
        };
        let id = match head[0] & 7 {
            0 => Id::Standard(u16::from_le_bytes([head[1], head[2] & 7])),
            _ => Id::Extended(own::id(head[1], head[2] % 18)),
        };
        let bytes = &bytes[..bytes.len().min(8)];
        Frame::new(id, kind, bytes)
    })
}

/// The frames as inputs, with steps of time that the bytes choose: mostly short, now and then hours.
fn inputs(data: &[u8]) -> Vec<Input> {
    let mut stamp = Stamp::from_secs(1_768_435_200);
    let mut inputs: Vec<Input> = [0, 15, own::BANK_SENDER].map(|sender| input(stamp, own::hello(sender))).into();
    for (frame, step) in frames(data).zip(data.iter().cycle()) {
        let nanos = 1_i64 << (step % 48);
        stamp = stamp.plus_nanos(nanos);
        inputs.push(input(stamp, frame));
    }
    inputs
}

fn input(stamp: Stamp, frame: Frame) -> Input {
    Input { stamp, body: Body::Frame(frame) }
}

/// Any inputs through decoder and engine: no panic, and saved and restored half way the run ends in the same state.
pub(crate) fn pipeline(data: &[u8]) {
    let inputs = inputs(data);
    let half = inputs.len() / 2;
    let mut unbroken = fresh();
    for input in &inputs[..half] {
        unbroken.push(input);
    }
    let mut restored = fresh().restore(&unbroken.save().unwrap()).unwrap();
    for input in &inputs[half..] {
        unbroken.push(input);
        restored.push(input);
    }
    unbroken.close();
    restored.close();
    assert_eq!(unbroken.save().unwrap(), restored.save().unwrap());
    assert_eq!(unbroken.snapshot(), restored.snapshot());
}

/// A spoiled saved state is refused, or it is a state that goes on without a panic. The bytes choose what is spoiled.
pub(crate) fn saved_state(data: &[u8]) {
    let mut bytes = sound_state().to_vec();
    for change in data.chunks_exact(3) {
        let at = usize::from(u16::from_le_bytes([change[0], change[1]])) % bytes.len();
        bytes[at] = change[2];
    }
    bytes.truncate(bytes.len() - usize::from(data.len() % 3 == 2));
    for bytes in [bytes, data.to_vec()] {
        let Ok(mut restored) = fresh().restore(&SavedState::from_bytes(bytes)) else { continue };
        for input in &inputs(&data[..data.len().min(120)]) {
            restored.push(input);
        }
        let _ = restored.snapshot();
        restored.close();
    }
}

/// A state after a short run of a bank of two packs, saved; made anew so that it never goes out of date.
fn sound_state() -> &'static [u8] {
    static STATE: OnceLock<Vec<u8>> = OnceLock::new();
    STATE.get_or_init(|| {
        let mut pipeline = fresh();
        let start = Stamp::from_secs(1_768_435_200);
        for second in 0..40 {
            for sender in [0, 1, own::BANK_SENDER] {
                for frame in sound_frames(sender) {
                    pipeline.push(&input(start.plus_secs(f64::from(second)), frame));
                }
            }
        }
        pipeline.save().unwrap().as_bytes().to_vec()
    })
}

/// A hello and every frame of a sender with values a quarter up from the lowest that can be.
fn sound_frames(sender: u8) -> impl Iterator<Item = Frame> {
    let of_bank = sender == own::BANK_SENDER;
    let frames = own::FRAMES.iter().filter(move |frame| match frame.sender {
        own::Sender::Pack => !of_bank,
        own::Sender::Bank => of_bank,
        own::Sender::Any => true,
    });
    let values = frames.map(move |frame| {
        own::encode(frame, 0, sender, |slot| {
            let (low, high) = slot.quantity.bounds();
            Value::Present((low + (high - low) / 4.0).round().clamp(low, high))
        })
    });
    std::iter::once(own::hello(sender)).chain(values)
}

/// Any bytes as a DBC: refused in words that a terminal may show, or a map of which every signal lies in its message.
pub(crate) fn dbc(data: &[u8]) {
    let harmless = |text: &str| assert_eq!(clean(text, usize::MAX), text);
    let read = match dbc::parse(data) {
        Ok(read) => DbcMap::new(read).expect("a file of this length has few messages"),
        Err(error) => {
            assert!((1..=20).contains(&error.problems.len()));
            return harmless(&error.to_string());
        }
    };
    read.dbc.notes.iter().for_each(|note| harmless(&note.to_string()));
    let bytes: Vec<u8> = data.iter().copied().chain([0; 64]).take(64).collect();
    for (number, message) in read.dbc.messages.iter().enumerate() {
        harmless(&message.name);
        for signal in &message.signals {
            assert!(signal.field.bytes().is_none_or(|bytes| bytes <= usize::from(message.length)), "{signal:?}");
            signal
                .states
                .iter()
                .map(|(_, name)| name)
                .chain([&signal.name, &signal.unit])
                .for_each(|text| harmless(text));
        }
        let frame = Frame::new(message.id, FrameKind::Fd(0), &bytes).expect("64 bytes");
        for (target, value) in read.map.values(number, &frame) {
            assert!(matches!(value, Value::Present(_)) && read.signal(target).is_some(), "{target:?} {value:?}");
        }
    }
}

/// Any text as a bank file: refused in words that a terminal may show, or a file of which the map can be made.
pub(crate) fn bank(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    match parse_bank(&text, |_| Err("no such file".into())) {
        Ok(file) => drop(file.map()),
        Err(error) => error.to_string().lines().for_each(|line| assert_eq!(clean(line, usize::MAX), line)),
    }
}

/// Any frames on an unknown bus: what is found can be read as the draft says it, and lies beside itself unchanged.
pub(crate) fn survey(data: &[u8]) {
    let mut survey = Survey::new();
    let mut at = Stamp::from_secs(1_768_435_200);
    // the bytes over and over, in frames of a few ids, so that there is something to look at
    for (number, record) in data.chunks(9).cycle().take(if data.is_empty() { 0 } else { 400 }).enumerate() {
        let turned: Vec<u8> = record.iter().map(|byte| byte.wrapping_add((number / 9) as u8)).skip(1).collect();
        let id = Id::Standard(u16::from(record[0] % 4));
        at = at.plus_nanos(1_i64 << (20 + record[0] % 16));
        survey.push(at, &Frame::new(id, FrameKind::Data, &turned).expect("up to eight bytes"));
    }
    let known = Known { capacity: Some(100.0), celsius: Some(20.0) };
    let found = survey.find(&known);
    let text = draft(&found, &known);
    if !found.roles.is_empty() {
        let file = parse_bank(&text, |_| Err("no such file".into())).expect("a draft is a bank file");
        assert!(file.map().is_some_and(|map| !beside(&found, &map).is_empty()));
    }
}

/// Any bytes as a whole table, its first line that has a column for the time as the heading: the rows become frames of
/// our own format whose values lie within their bounds or are none, in the order of time; what is refused says why in
/// words that a terminal may show.
pub(crate) fn convert(data: &[u8]) {
    let mut last = Stamp::MIN;
    for (table, bank) in table_layouts() {
        let mut lines = data.split(|byte| *byte == b'\n');
        let heading = lines.by_ref().map(|line| Converter::new(table, bank, TimeZone::UTC, line));
        let mut converter = match heading.take(200).find_map(Result::transpose) {
            Some(Ok(converter)) => converter,
            Some(Err(error)) => {
                let text = error.to_string();
                assert_eq!(clean(&text, usize::MAX), text);
                assert!(!text.contains("one of ;") && !text.ends_with("one of "), "{text}");
                continue;
            }
            None => continue,
        };
        for line in lines {
            let row = converter.row(line, |stamp, frame| {
                assert!(stamp >= last || last == Stamp::MIN, "{stamp} after {last}");
                last = stamp;
                let message = map().find(frame.id).filter(|_| frame.len() == 8);
                let hello = own::split(frame.id).is_some_and(|(group, _)| group == own::HELLO);
                assert!(message.is_some() || hello, "{frame:?}");
                message.into_iter().flat_map(|message| map().values(message, &frame)).for_each(|(slot, value)| {
                    let (low, high) = slot.quantity.bounds();
                    let is_beyond = matches!(value, Value::Present(number) if !(low..=high).contains(&number));
                    assert!(!is_beyond, "{slot:?} {value:?}");
                });
            });
            if let Err(reason) = row {
                assert!(!reason.words().is_empty());
            }
        }
        last = Stamp::MIN;
    }
}

/// How tables are laid out: times as a count and as stamps, marks found and told.
fn table_layouts() -> &'static [(Table, Bank)] {
    static LAYOUTS: OnceLock<Vec<(Table, Bank)>> = OnceLock::new();
    const COLUMNS: &str = "[[pack]]\ncells = 2\ncapacity = 100\n\
        [[column]]\nrole = \"cell-voltage\"\nnumber = \"1..2\"\nheading = \"Cell {1..2}\"\n\
        [[column]]\nrole = \"current\"\nheading = \"Current\"\ncurrent = \"discharge-positive\"\n\
        [[column]]\nrole = \"heater-on\"\nheading = \"Heater\"\n";
    LAYOUTS.get_or_init(|| {
        let heads = [
            "[table]\ncount = \"seconds\"\n",
            "[table]\ndecimal = \",\"\nseparator = \",\"\n",
            "[table]\nformat = \"%d.%m.%Y %H:%M:%S\"\nseparator = \"tab\"\n",
        ];
        let layout = |head: &str| {
            let file = parse_bank(&format!("{head}{COLUMNS}"), |_| Err("no such file".into())).expect("a bank file");
            (file.table.expect("a table"), file.bank)
        };
        heads.into_iter().map(layout).collect()
    })
}

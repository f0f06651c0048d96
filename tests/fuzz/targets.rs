//! What hostile bytes are thrown at. Each target takes any bytes and may neither panic nor grow; libFuzzer and
//! `tests/hostile.rs` call the same functions.

use cellwright::layout::{CompiledMap, own};
use cellwright::model::{Bank, Body, Frame, FrameKind, Id, Input, Reading, Stamp, Value, clean};
use cellwright::wire::Interfaces;
use cellwright::wire::envelope::{self, Deframer};
use cellwright::wire::textlog::{Line, LineParser, write_line};
use std::sync::OnceLock;

/// Name and function of every target.
pub(crate) const TARGETS: &[(&str, fn(&[u8]))] =
    &[("envelope", envelope), ("log_lines", log_lines), ("decoder", decoder), ("description", description)];

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

/// The frames as inputs, a second apart.
#[allow(dead_code)] // for the targets that run the pipeline
fn inputs(data: &[u8]) -> impl Iterator<Item = Input> {
    frames(data).zip(0..).map(|(frame, second)| Input { stamp: Stamp::from_secs(second), body: Body::Frame(frame) })
}

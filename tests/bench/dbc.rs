//! A DBC of 300 messages beside our own format: decoding the same bytes, turn by turn, and a whole `check` of the same log.

use crate::logs::dense;
use crate::on_core;
use cellwright::bank;
use cellwright::layout::dbc::{self, DbcMap};
use cellwright::layout::{CompiledMap, Field, Order, Target, own};
use cellwright::model::{Frame, FrameKind, Id, Quantity, Slot, Value};
use std::fmt::Write;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};

/// Messages of the DBC.
const MESSAGES: u32 = 300;
/// Packs of the dense log.
const PACKS: u8 = 4;
/// Frames that each side decodes in a turn, and turns.
const FRAMES: usize = 1 << 21;
const TURNS: usize = 9;

/// Frames a second of work through our own format and through the DBC, the fastest turn of each.
pub(crate) fn rates() -> (f64, f64) {
    let (ours, theirs) = frames();
    let map = DbcMap::new(dbc::parse(text().as_bytes()).expect("a DBC")).expect("few messages").map;
    let own = own::compile();
    assert_eq!(map.len(), MESSAGES as usize);
    let mut best = (0.0_f64, 0.0_f64);
    for _ in 0..TURNS {
        best = (best.0.max(rate(&own, &ours)), best.1.max(rate(&map, &theirs)));
    }
    best
}

fn rate<T: Target>(map: &CompiledMap<T>, frames: &[Frame]) -> f64 {
    let before = on_core(std::process::id());
    let (mut sum, mut values) = (0.0, 0_u64);
    for frame in frames.iter().cycle().take(FRAMES) {
        let Some(message) = map.find(black_box(frame.id)) else { panic!("{frame:?} is in the map") };
        for (_, value) in map.values(message, frame) {
            if let Value::Present(number) = value {
                sum += number;
                values += 1;
            }
        }
    }
    black_box((sum, values));
    FRAMES as f64 / (on_core(std::process::id()) - before).as_secs_f64()
}

/// Every frame of sixteen packs with values a third up from the lowest that can be; and the same bytes with the ids of
/// the DBC, all of its messages in turn.
fn frames() -> (Vec<Frame>, Vec<Frame>) {
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for round in 0..MESSAGES {
        for (kind, layout) in own::FRAMES.iter().enumerate() {
            let sender = if layout.sender == own::Sender::Bank { own::BANK_SENDER } else { (round % 16) as u8 };
            let part = (round / 16) as u8 % layout.repeat.max(1);
            let frame = own::encode(layout, part, sender, |slot| {
                let (low, high) = slot.quantity.bounds();
                Value::Present(low + (high - low) / 3.0)
            });
            ours.push(frame);
            let kinds = own::FRAMES.len() as u32;
            let of_kind = (MESSAGES - kind as u32).div_ceil(kinds);
            let id = Id::Extended(id(round % of_kind * kinds + kind as u32));
            theirs.push(Frame::new(id, FrameKind::Data, frame.data()).expect("eight bytes"));
        }
    }
    (ours, theirs)
}

/// The dense log as a bus of another kind sends it, frame by frame with other ids, and a bank file with a DBC of 300
/// messages that reads it. The frames in which the bank describes itself are in none of the messages.
pub(crate) fn foreign(days: &str) -> (PathBuf, PathBuf) {
    let own = dense(days);
    let (log, bank) = (own.with_extension("foreign.log"), own.with_extension("toml"));
    if !log.exists() {
        let text = fs::read_to_string(&own).expect("the log is there").replace(" 18FF", " 0CEE");
        fs::write(&log, text).expect("the log can be written");
    }
    let (dbc, file) = described();
    fs::write(bank.with_extension("dbc"), dbc).expect("the DBC can be written");
    fs::write(&bank, file.replace("DBC", &name_of(&bank.with_extension("dbc")))).expect("the bank file can be written");
    (log, bank)
}

fn name_of(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// A DBC of the frames that the four packs of the log send, four cells each, filled up with messages that never come, and a bank file
/// that gives each of its signals its role.
fn described() -> (String, String) {
    let mut dbc = String::new();
    let mut file = format!("dbc = \"DBC\"\n[[pack]]\ncount = {PACKS}\ncells = 4\ncapacity = 100\n");
    file += "sensors = [{ role = \"cell\", cell = 2 }, { role = \"case\" }]\n";
    let mut count = 0;
    for (layout, pack) in own::FRAMES.iter().flat_map(|layout| (0..PACKS).map(move |pack| (layout, pack))) {
        let slots: Vec<Slot> = layout.slots(0, pack).collect();
        if !layout.is_sent_by(pack) || slots.iter().all(|slot| role(slot).is_none()) {
            continue;
        }
        let id = 0x0CEE_0080 | u32::from(layout.group) << 8 | u32::from(pack);
        let _ = writeln!(dbc, "BO_ {} M{count}: 8 X", u64::from(id) | 1 << 31);
        for (number, (own, slot)) in layout.fields.iter().zip(&slots).enumerate() {
            let Field { start, len, scale, offset, .. } = own.field;
            let _ = writeln!(dbc, " SG_ S{number} : {start}|{len}@1+ ({scale},{offset}) [0|0] \"\" X");
            if let Some(role) = role(slot) {
                let one = format!("[[signal]]\nmessage = \"M{count}\"\nsignal = \"S{number}\"\nblank = \"two\"\n");
                let _ = writeln!(file, "{one}role = \"{role}\"\npack = {}", pack + 1);
                if matches!(slot.quantity, Quantity::CellVoltage | Quantity::Temperature) {
                    let _ = writeln!(file, "number = {}", slot.index + 1);
                }
            }
        }
        count += 1;
    }
    for message in count..MESSAGES {
        let _ = writeln!(dbc, "BO_ {} M{message}: 8 X", u64::from(id(message)) | 1 << 31);
        let _ = writeln!(dbc, " SG_ S0 : 0|16@1+ (1,0) [0|0] \"\" X");
    }
    (dbc, file)
}

/// The role of a value of a pack, where it has one and the log sends it.
fn role(slot: &Slot) -> Option<&'static str> {
    let sent = !matches!(slot.quantity, Quantity::CellBalancing | Quantity::SenderFrames);
    Some(bank::word_of(slot.quantity)).filter(|word| sent && !word.is_empty())
}

/// Scattered over the 29 bits, as the ids of a vehicle are.
fn id(message: u32) -> u32 {
    message.wrapping_mul(0x9E37_79B1) & 0x1FFF_FE00 | message
}

/// The DBC: each message has the fields of a frame of ours, every other one in Motorola order where whole bytes allow it.
fn text() -> String {
    let mut text = String::new();
    for message in 0..MESSAGES {
        let _ = writeln!(text, "BO_ {} M{message}: 8 X", u64::from(id(message)) | 1 << 31);
        let layout = &own::FRAMES[message as usize % own::FRAMES.len()];
        for (number, own) in layout.fields.iter().enumerate() {
            let Field { start, len, scale, offset, .. } = own.field;
            let big = message % 2 == 1 && start % 8 == 0 && len % 8 == 0;
            let order = if big { Order::Big } else { Order::Little };
            let (start, order) = if order == Order::Big { (start + 7, 0) } else { (start, 1) };
            let _ = writeln!(text, " SG_ S{number} : {start}|{len}@{order}+ ({scale},{offset}) [0|0] \"\" X");
        }
    }
    text
}

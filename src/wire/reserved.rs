//! The inputs that are no bus frames, as CAN FD frames on the interface `cellwright` of the text log.
//!
//! Each is a frame with the 11-bit id 1 (the version of this table). Byte 0 is the kind, byte 1 the number of
//! bytes that follow, then the fields, little-endian; 0xFF fills up to the next length that CAN FD has. A name
//! of an interface travels as text, so that channels are numbered alike whoever reads the recording.

mod notes;
mod parts;

pub use notes::Notes;
pub use parts::{MOST_FILE, digest};

use super::Interfaces;
use crate::model::input::{ControllerState, Loss};
use crate::model::{Body, Frame, FrameKind, Id, Rejection, Stamp, Subject};

/// Name of the interface in the text log; it takes no channel number.
pub const INTERFACE: &[u8] = b"cellwright";
/// Id of every reserved frame: the version of the layout.
pub const VERSION_ID: u16 = 1;
/// Most bytes after kind and count.
const MOST: usize = 62;

/// Kinds: byte 0.
mod kind {
    pub(super) const REJECTED: u8 = 1;
    pub(super) const LOST: u8 = 2;
    pub(super) const LINK: u8 = 3;
    pub(super) const CONTROLLER: u8 = 4;
    pub(super) const CLOCK_STEP: u8 = 5;
    pub(super) const SUSPEND: u8 = 6;
    pub(super) const GAP: u8 = 7;
    pub(super) const BANK_FILE: u8 = 8;
    pub(super) const ACKNOWLEDGE: u8 = 9;
    pub(super) const NOTE: u8 = 10;
    pub(super) const CLOSING: u8 = 11;
    pub(super) const BANK_TEXT: u8 = 12;
}

const LOSSES: [Loss; 3] = [Loss::Computer, Loss::Adapter, Loss::Sender];
const CONTROLLER_STATES: [ControllerState; 5] = [
    ControllerState::Active,
    ControllerState::Warning,
    ControllerState::Passive,
    ControllerState::BusOff,
    ControllerState::Stopped,
];

/// Lengths of a CAN FD frame above eight bytes (ISO 11898-1).
const FD_LENGTHS: [usize; 7] = [12, 16, 20, 24, 32, 48, 64];

/// The frames of an input that is no bus frame: one, up to four for a note, as many as it takes for a bank file.
/// Nothing for a bus frame.
pub fn encode(body: &Body, interfaces: &Interfaces, mut each: impl FnMut(&Frame)) {
    let mut send = |kind: u8, fields: &[&[u8]]| each(&frame(kind, fields));
    match body {
        Body::Frame(_) => {}
        Body::Rejected { reason, count } => {
            send(kind::REJECTED, &[&[place(&Rejection::ALL, reason)], &count.to_le_bytes()]);
        }
        Body::Lost { by, count } => send(kind::LOST, &[&[place(&LOSSES, by)], &count.to_le_bytes()]),
        Body::Link { channel, up } => {
            send(kind::LINK, &[&[u8::from(*up)], name(interfaces, *channel).as_bytes()]);
        }
        Body::Controller { channel, state } => {
            send(kind::CONTROLLER, &[&[place(&CONTROLLER_STATES, state)], name(interfaces, *channel).as_bytes()]);
        }
        Body::ClockStep { old } => send(kind::CLOCK_STEP, &[&old.nanos().to_le_bytes()]),
        Body::Suspend { secs } => send(kind::SUSPEND, &[&secs.to_le_bytes()]),
        Body::Gap { count } => send(kind::GAP, &[&count.to_le_bytes()]),
        Body::BankFile { digest, text } => {
            parts::split(text, |from, part| send(kind::BANK_TEXT, &[from, part]));
            send(kind::BANK_FILE, &[&digest.to_le_bytes()]);
        }
        Body::Acknowledge { rule, subject } => {
            let parts =
                [subject.pack, subject.cell, subject.sensor].map(|part| part.map_or(0, |n| n.saturating_add(1)));
            send(kind::ACKNOWLEDGE, &[&rule.to_le_bytes(), &parts]);
        }
        Body::Note(text) => notes::split(text, |part| send(kind::NOTE, &[part])),
        Body::Closing => send(kind::CLOSING, &[]),
    }
}

/// The input of a reserved frame; `None` for a part of a note or a bank file that is not yet whole.
///
/// # Errors
/// [`Rejection::BadInput`] for a kind, a length or a code that is not in the table;
/// what [`Interfaces::channel`] refuses.
pub fn decode(frame: &Frame, interfaces: &mut Interfaces, notes: &mut Notes) -> Result<Option<Body>, Rejection> {
    let (FrameKind::Fd(_), Id::Standard(VERSION_ID), [kind, count, fields @ ..]) = (frame.kind, frame.id, frame.data())
    else {
        return Err(Rejection::BadInput);
    };
    let fields = fields.get(..usize::from(*count)).ok_or(Rejection::BadInput)?;
    if *kind == kind::NOTE {
        return notes.take(fields);
    }
    match *kind {
        kind::BANK_TEXT => return notes.file.take(fields).map(|()| None),
        kind::BANK_FILE => return notes.file.end(u64::from_le_bytes(exact(fields)?)).map(Some),
        _ => {}
    }
    body(*kind, fields, interfaces).map(Some)
}

fn body(kind: u8, fields: &[u8], interfaces: &mut Interfaces) -> Result<Body, Rejection> {
    Ok(match (kind, fields) {
        (kind::REJECTED, [reason, count @ ..]) => {
            Body::Rejected { reason: coded(&Rejection::ALL, *reason)?, count: u32::from_le_bytes(exact(count)?) }
        }
        (kind::LOST, [by, count @ ..]) => {
            Body::Lost { by: coded(&LOSSES, *by)?, count: u32::from_le_bytes(exact(count)?) }
        }
        (kind::LINK, [up @ 0..=1, name @ ..]) => Body::Link { channel: interfaces.channel(name)?, up: *up == 1 },
        (kind::CONTROLLER, [state, name @ ..]) => {
            let state = coded(&CONTROLLER_STATES, *state)?;
            Body::Controller { channel: interfaces.channel(name)?, state }
        }
        (kind::CLOCK_STEP, _) => Body::ClockStep { old: Stamp::from_nanos(i64::from_le_bytes(exact(fields)?)) },
        (kind::SUSPEND, _) => Body::Suspend { secs: u32::from_le_bytes(exact(fields)?) },
        (kind::GAP, _) => Body::Gap { count: u32::from_le_bytes(exact(fields)?) },
        (kind::ACKNOWLEDGE, [low, high, pack, cell, sensor]) => {
            let [pack, cell, sensor] = [pack, cell, sensor].map(|part| part.checked_sub(1));
            Body::Acknowledge { rule: u16::from_le_bytes([*low, *high]), subject: Subject { pack, cell, sensor } }
        }
        (kind::CLOSING, []) => Body::Closing,
        _ => return Err(Rejection::BadInput),
    })
}

fn frame(kind: u8, fields: &[&[u8]]) -> Frame {
    let mut bytes = [0xFF; 64];
    let mut end = 2;
    for field in fields {
        let room = bytes.get_mut(end..).unwrap_or_default();
        let len = field.len().min(room.len());
        for (to, from) in room.iter_mut().zip(*field) {
            *to = *from;
        }
        end += len;
    }
    bytes[0] = kind;
    bytes[1] = (end - 2).min(MOST) as u8;
    let len = FD_LENGTHS.into_iter().find(|&len| end > 8 && end <= len).unwrap_or(end);
    Frame::new(Id::Standard(VERSION_ID), FrameKind::Fd(0), bytes.get(..len).unwrap_or_default())
        .unwrap_or_else(|| Frame::remote(Id::Standard(VERSION_ID), 0)) // never: at most 64 bytes are taken
}

fn name(interfaces: &Interfaces, channel: u8) -> std::borrow::Cow<'_, str> {
    interfaces.name(channel).map_or_else(|| format!("channel{channel}").into(), Into::into)
}

fn place<T: PartialEq>(all: &[T], one: &T) -> u8 {
    all.iter().position(|each| each == one).and_then(|at| u8::try_from(at).ok()).unwrap_or(u8::MAX)
}

fn coded<T: Copy>(all: &[T], code: u8) -> Result<T, Rejection> {
    all.get(usize::from(code)).copied().ok_or(Rejection::BadInput)
}

fn exact<const N: usize>(fields: &[u8]) -> Result<[u8; N], Rejection> {
    fields.try_into().map_err(|_| Rejection::BadInput)
}

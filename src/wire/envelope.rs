//! The envelope of frames on a serial line: length, checksum, COBS, a zero byte after each.
//!
//! Before COBS a record is: byte 0 the kind (bits 0–1: 0 data, 1 remote, 2 error, 3 FD; bit 2: 29-bit id; bit 3:
//! zero; bits 4–7: flags of an FD frame, else zero), byte 1 the length, bytes 2–5 the id, then the data, then
//! the checksum over all of that; numbers little-endian.

use crate::model::{Frame, FrameKind, Id, Rejection};
use crc::{CRC_16_IBM_3740, Crc};
use serde::{Deserialize, Serialize};

/// CRC-16/IBM-3740 (also known as CCITT-FALSE): check value 0x29B1 over "123456789", as the catalogue of
/// parametrised CRC algorithms of the RevEng project lists it.
const CHECKSUM: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);
/// Bytes before the data: kind, length, id.
const HEAD: usize = 6;
/// Longest record before COBS: head, 64 bytes, checksum.
const MOST_PLAIN: usize = HEAD + 64 + 2;
/// Longest record on the wire without its zero: COBS adds one byte to up to 254.
const MOST_STUFFED: usize = MOST_PLAIN + 1;
const EXTENDED: u8 = 1 << 2;

/// Adds a frame as one record with the zero byte at its end. The channel does not travel. A line that was
/// silent should be woken with a zero byte before the first record.
pub fn encode(frame: &Frame, out: &mut Vec<u8>) {
    let (id, width) = match frame.id {
        Id::Standard(id) => (u32::from(id), 0),
        Id::Extended(id) => (id, EXTENDED),
    };
    let kind = match frame.kind {
        FrameKind::Data => 0,
        FrameKind::Remote => 1,
        FrameKind::Error => 2,
        FrameKind::Fd(flags) => 3 | flags << 4,
    };
    let mut record = Vec::with_capacity(MOST_PLAIN);
    record.extend_from_slice(&[kind | width, frame.len() as u8]);
    record.extend_from_slice(&id.to_le_bytes());
    record.extend_from_slice(frame.data());
    record.extend_from_slice(&CHECKSUM.checksum(&record).to_le_bytes());
    let mut stuffed = [0; MOST_STUFFED];
    let len = cobs::encode(&record, &mut stuffed);
    out.extend(stuffed.iter().take(len));
    out.push(0);
}

/// Takes frames out of a stream of bytes, however it is cut. Plain state: it can be saved between two chunks.
/// Never holds more than one record; what is longer is refused and skipped up to the next zero byte.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Deframer {
    record: Vec<u8>,
    /// Bytes are skipped, and were counted or need not be, until the next zero.
    skipping: bool,
}

impl Deframer {
    /// Takes everything from the first byte on.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Drops what comes before the first zero byte without counting it: after a port is opened, the first
    /// record is rarely whole.
    #[must_use]
    pub fn after_opening() -> Self {
        Self { record: Vec::new(), skipping: true }
    }

    /// Takes the next bytes; calls `each` with every frame and every reason why a record was none.
    pub fn push(&mut self, bytes: &[u8], mut each: impl FnMut(Result<Frame, Rejection>)) {
        for &byte in bytes {
            if byte == 0 {
                if !self.skipping && !self.record.is_empty() {
                    each(open(&self.record));
                }
                self.record.clear();
                self.skipping = false;
            } else if !self.skipping {
                self.record.push(byte);
                if self.record.len() > MOST_STUFFED {
                    self.record.clear();
                    self.skipping = true;
                    each(Err(Rejection::Overlong));
                }
            }
        }
    }
}

/// The frame of a record.
fn open(stuffed: &[u8]) -> Result<Frame, Rejection> {
    let mut plain = [0; MOST_STUFFED];
    let report = cobs::decode(stuffed, &mut plain).map_err(|_| Rejection::BadCobs)?;
    let record = plain.get(..report.frame_size()).ok_or(Rejection::BadCobs)?;
    let (body, checksum) = record.split_last_chunk::<2>().ok_or(Rejection::BadLength)?;
    let (&[kind, len, a, b, c, d], data) = body.split_first_chunk::<HEAD>().ok_or(Rejection::BadLength)?;
    let is_remote = kind & 3 == 1;
    let expected = if is_remote { 0 } else { usize::from(len) };
    if data.len() != expected {
        return Err(Rejection::BadLength);
    }
    if CHECKSUM.checksum(body).to_le_bytes() != *checksum {
        return Err(Rejection::BadChecksum);
    }
    let id = id(kind, u32::from_le_bytes([a, b, c, d])).ok_or(Rejection::BadId)?;
    if is_remote {
        return if len <= 8 { Ok(Frame::remote(id, len)) } else { Err(Rejection::TooLong) };
    }
    let kind = match kind & 3 {
        0 => FrameKind::Data,
        2 => FrameKind::Error,
        _ => FrameKind::Fd(kind >> 4),
    };
    Frame::new(id, kind, data).ok_or(Rejection::TooLong)
}

/// The id, when it fits its width and no bit is set that means nothing.
fn id(kind: u8, id: u32) -> Option<Id> {
    let flags_without_fd = kind & 3 != 3 && kind >> 4 != 0;
    if kind & 1 << 3 != 0 || flags_without_fd {
        return None;
    }
    if kind & EXTENDED != 0 {
        return (id <= Id::EXTENDED_MAX).then_some(Id::Extended(id));
    }
    u16::try_from(id).ok().filter(|&id| id <= Id::STANDARD_MAX).map(Id::Standard)
}

#[cfg(test)]
mod tests;

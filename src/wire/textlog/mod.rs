//! One line of the plain CAN text log, as the Linux CAN tools write it: `(stamp) interface id#data`.
//!
//! The width of the id decides: 3 hex digits are an 11-bit id, 8 are a 29-bit one (or an error frame, with
//! 0x2000_0000 set). Lines on the interface `cellwright` are no bus frames but [reserved inputs](super::reserved).
//! What is read beyond what is written: µs stamps, '.' between bytes, lower case, a raw length code `_9` to
//! `_F` behind eight bytes (dropped: it says nothing about the data), ` R` or ` T` at the end, CRLF, a byte
//! order mark, names padded on the left. Not read: CAN XL.

pub(in crate::wire) mod digits;
mod frame;
mod write;

pub use write::write_line;

use super::Interfaces;
use super::reserved::{self, Notes};
use crate::model::input::Loss;
use crate::model::{Body, Input, Rejection, Stamp};
use serde::{Deserialize, Serialize};

/// What a line holds.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant)] // the large one is all but every line
pub enum Line {
    /// Nothing: a blank line, or a part of a note that goes on.
    Nothing,
    /// An input with its stamp.
    Input(Input),
    /// Something that came without a stamp: frames lost by the computer that wrote the log.
    Unstamped(Body),
}

/// What a reader of lines must remember between them: names of interfaces, and a note that is not yet whole.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineParser {
    /// Names by channel.
    pub interfaces: Interfaces,
    notes: Notes,
}

impl LineParser {
    /// Knows nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Reads one line, without its newline.
    ///
    /// # Errors
    /// [`Rejection`], which says why the line is nothing that is understood.
    #[inline]
    pub fn line(&mut self, line: &[u8]) -> Result<Line, Rejection> {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if line.first() != Some(&b'(') {
            return self.unusual_line(line);
        }
        let (stamp, rest) = digits::stamp(line)?;
        let (name, rest) = name(rest)?;
        if name == reserved::INTERFACE {
            return self.reserved_line(stamp, rest);
        }
        let frame = frame::parse(rest)?;
        let channel = self.interfaces.channel(name)?;
        Ok(Line::Input(Input { stamp, body: Body::Frame(frame.on(channel)) }))
    }

    /// Reads the most usual line, a classical frame with a 29-bit id and eight bytes, straight into `input`; returns
    /// whether it was one. Any other is for [`Self::line`].
    #[inline]
    pub fn usual_line(&mut self, line: &[u8], input: &mut Input) -> bool {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let Ok((stamp, rest)) = digits::stamp(line) else { return false };
        let Ok((name, rest)) = name(rest) else { return false };
        let Some((id, bytes)) = frame::usual(rest) else { return false };
        if name == reserved::INTERFACE {
            return false;
        }
        let Ok(channel) = self.interfaces.channel(name) else { return false };
        input.refill(stamp, (id, channel), bytes);
        true
    }

    /// Whether a note was begun and not finished.
    #[must_use]
    pub fn is_inside_note(&self) -> bool {
        self.notes.is_open()
    }

    #[cold]
    fn reserved_line(&mut self, stamp: Stamp, rest: &[u8]) -> Result<Line, Rejection> {
        let frame = frame::parse(rest).map_err(|_| Rejection::BadInput)?;
        let body = reserved::decode(&frame, &mut self.interfaces, &mut self.notes)?;
        Ok(body.map_or(Line::Nothing, |body| Line::Input(Input { stamp, body })))
    }

    #[cold]
    fn unusual_line(&mut self, line: &[u8]) -> Result<Line, Rejection> {
        let line = line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line).trim_ascii();
        if line.is_empty() {
            return Ok(Line::Nothing);
        }
        if let Some(rest) = line.strip_prefix(b"DROPCOUNT:") {
            return dropped(rest);
        }
        if line.first() == Some(&b'(') { self.line(line) } else { Err(Rejection::NoStamp) }
    }
}

/// `dropped 5 CAN frames on 'can0' socket (total drops 5)`: the first number counts.
fn dropped(rest: &[u8]) -> Result<Line, Rejection> {
    let start = rest.iter().position(u8::is_ascii_digit).ok_or(Rejection::Unsupported)?;
    let digits = rest.get(start..).unwrap_or_default();
    let end = digits.iter().position(|c| !c.is_ascii_digit()).unwrap_or(digits.len());
    let count = digits.get(..end).and_then(digits::decimal).ok_or(Rejection::Unsupported)?;
    let count = u32::try_from(count).unwrap_or(u32::MAX);
    Ok(Line::Unstamped(Body::Lost { by: Loss::Computer, count }))
}

/// Name of the interface, and what follows it and its blanks.
#[inline]
fn name(rest: &[u8]) -> Result<(&[u8], &[u8]), Rejection> {
    let after_stamp = skip_blanks(rest);
    if after_stamp.len() == rest.len() {
        return Err(Rejection::NoInterface);
    }
    let end = after_stamp.iter().position(|&c| is_blank(c)).unwrap_or(after_stamp.len());
    let (name, rest) = after_stamp.split_at_checked(end).ok_or(Rejection::NoInterface)?;
    if name.is_empty() {
        return Err(Rejection::NoInterface);
    }
    Ok((name, skip_blanks(rest)))
}

#[inline]
fn skip_blanks(mut text: &[u8]) -> &[u8] {
    while let [first, rest @ ..] = text
        && is_blank(*first)
    {
        text = rest;
    }
    text
}

#[inline]
const fn is_blank(c: u8) -> bool {
    matches!(c, b' ' | b'\t')
}

#[cfg(test)]
mod tests;

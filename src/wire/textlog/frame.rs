//! The frame of a line: `id#data`, `id##flags data`, `id#R`.

use super::digits::{eight_bytes, eight_hex_number, hex, hex_number};
use super::skip_blanks;
use crate::model::{Frame, FrameKind, Id, Rejection};

/// Bit of an id of eight digits that marks an error frame, as in SocketCAN.
pub(super) const ERROR_BIT: u32 = 0x2000_0000;

/// Reads a frame up to the end of the line.
#[inline]
pub(super) fn parse(text: &[u8]) -> Result<Frame, Rejection> {
    let (id, is_error, body) = id(text)?;
    if let Some((digits, rest)) = body.split_first_chunk::<16>()
        && rest.is_empty()
        && let Some(bytes) = eight_bytes(digits)
    {
        return eight(id, is_error, bytes);
    }
    unusual(id, is_error, body)
}

/// The usual frame: eight bytes and nothing behind them.
#[inline]
fn eight(id: Id, is_error: bool, bytes: [u8; 8]) -> Result<Frame, Rejection> {
    match id {
        Id::Extended(number) if !is_error => Ok(Frame::extended(number, bytes)),
        _ => new(id, if is_error { FrameKind::Error } else { FrameKind::Data }, &bytes),
    }
}

fn new(id: Id, kind: FrameKind, bytes: &[u8]) -> Result<Frame, Rejection> {
    Frame::new(id, kind, bytes).ok_or(Rejection::TooLong)
}

/// A 29-bit id, '#' and sixteen digits, and nothing behind them.
#[inline]
pub(super) fn usual(text: &[u8]) -> Option<(u32, [u8; 8])> {
    let (id, [b'#', body @ ..]) = text.split_first_chunk::<8>()? else { return None };
    let id = eight_hex_number(id).filter(|&number| number <= Id::EXTENDED_MAX)?;
    Some((id, eight_bytes(body.try_into().ok()?)?))
}

/// The id by its width, whether it is an error frame's, and what follows the '#'.
#[inline]
fn id(text: &[u8]) -> Result<(Id, bool, &[u8]), Rejection> {
    if let Some((digits, [b'#', body @ ..])) = text.split_first_chunk::<8>() {
        let number = eight_hex_number(digits).ok_or(Rejection::BadId)?;
        let is_error = number & ERROR_BIT != 0;
        let number = number & !ERROR_BIT;
        if number > Id::EXTENDED_MAX {
            return Err(Rejection::BadId);
        }
        return Ok((Id::Extended(number), is_error, body));
    }
    match text.split_first_chunk::<3>() {
        Some((digits, [b'#', body @ ..])) => {
            let number = hex_number(digits).ok_or(Rejection::BadId)?;
            let number = u16::try_from(number).ok().filter(|&n| n <= Id::STANDARD_MAX);
            Ok((Id::Standard(number.ok_or(Rejection::BadId)?), false, body))
        }
        // Five digits before the '#', priority and virtual channel, are CAN XL.
        _ if text.get(5) == Some(&b'#') && text.get(..5).and_then(hex_number).is_some() => Err(Rejection::Unsupported),
        _ => Err(Rejection::BadId),
    }
}

fn unusual(id: Id, is_error: bool, body: &[u8]) -> Result<Frame, Rejection> {
    match body {
        [b'#' | b'R' | b'r', ..] if is_error => Err(Rejection::BadId),
        [b'#', flags, data @ ..] => {
            let flags = hex(*flags).ok_or(Rejection::BadHex)?;
            let mut bytes = [0; 64];
            let (len, rest) = read_bytes(data, &mut bytes)?;
            end(rest)?;
            new(id, FrameKind::Fd(flags), bytes.get(..len).unwrap_or_default())
        }
        [b'R' | b'r', rest @ ..] => remote(id, rest),
        data => {
            let mut bytes = [0; 8];
            let (len, rest) = read_bytes(data, &mut bytes)?;
            end(if len == 8 { raw_length_code(rest)? } else { rest })?;
            new(id, if is_error { FrameKind::Error } else { FrameKind::Data }, bytes.get(..len).unwrap_or_default())
        }
    }
}

fn remote(id: Id, rest: &[u8]) -> Result<Frame, Rejection> {
    let (len, rest) = match rest {
        [digit @ b'0'..=b'8', rest @ ..] => (digit - b'0', rest),
        [b'9', ..] => return Err(Rejection::TooLong),
        _ => (0, rest),
    };
    end(if len == 8 { raw_length_code(rest)? } else { rest })?;
    Ok(Frame::remote(id, len))
}

/// Pairs of hex digits, with a '.' between bytes or not; how many bytes, and what follows.
fn read_bytes<'a>(mut text: &'a [u8], bytes: &mut [u8]) -> Result<(usize, &'a [u8]), Rejection> {
    let mut len = 0;
    loop {
        let digits = match text {
            [b'.', rest @ ..] if len > 0 => rest,
            _ => text,
        };
        let [first, rest @ ..] = digits else {
            return if digits.len() == text.len() { Ok((len, text)) } else { Err(Rejection::BadHex) };
        };
        let Some(high) = hex(*first) else {
            return if digits.len() == text.len() { Ok((len, text)) } else { Err(Rejection::BadHex) };
        };
        let [second, rest @ ..] = rest else { return Err(Rejection::BadHex) };
        let low = hex(*second).ok_or(Rejection::BadHex)?;
        *bytes.get_mut(len).ok_or(Rejection::TooLong)? = high << 4 | low;
        len += 1;
        text = rest;
    }
}

/// Skips `_9` to `_F`, the raw length code of a classical frame of eight bytes.
fn raw_length_code(text: &[u8]) -> Result<&[u8], Rejection> {
    match text {
        [b'_', code, rest @ ..] if hex(*code).is_some_and(|code| code > 8) => Ok(rest),
        [b'_', ..] => Err(Rejection::BadHex),
        _ => Ok(text),
    }
}

/// Nothing but blanks may follow, and 'R' (received) or 'T' (sent by the computer that wrote the log).
fn end(text: &[u8]) -> Result<(), Rejection> {
    let after = skip_blanks(text);
    let rest = match after {
        [b'R' | b'T', rest @ ..] if after.len() < text.len() => rest,
        _ => after,
    };
    if skip_blanks(rest).is_empty() { Ok(()) } else { Err(Rejection::BadHex) }
}

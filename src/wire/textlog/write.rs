//! The same log, written: nanosecond stamps, upper case, one line an input (a long note takes several).

use super::frame::ERROR_BIT;
use crate::model::{Body, Frame, FrameKind, Id, Input, NANOS_PER_SEC, Stamp};
use crate::wire::{Interfaces, reserved};
use std::io::Write;

const DIGITS: &[u8; 16] = b"0123456789ABCDEF";

/// Adds an input as whole lines. A channel without a name is written as `channel` and its number; a stamp
/// before 1970 is written as 1970. Read back, the lines give the same input.
pub fn write_line(out: &mut Vec<u8>, input: &Input, interfaces: &Interfaces) {
    match &input.body {
        Body::Frame(frame) => {
            write_stamp(out, input.stamp);
            match interfaces.name(frame.channel) {
                Some(name) => out.extend_from_slice(name.as_bytes()),
                None => {
                    let _ = write!(out, "channel{}", frame.channel); // a Vec takes every write
                }
            }
            write_frame(out, frame);
        }
        body => reserved::encode(body, interfaces, |frame| {
            write_stamp(out, input.stamp);
            out.extend_from_slice(reserved::INTERFACE);
            write_frame(out, frame);
        }),
    }
}

/// `(1769835600.250000000) `
fn write_stamp(out: &mut Vec<u8>, stamp: Stamp) {
    let nanos = stamp.nanos().max(0);
    let mut text = *b"(0000000000.000000000) ";
    put_decimal(&mut text[1..11], nanos / NANOS_PER_SEC);
    put_decimal(&mut text[12..21], nanos % NANOS_PER_SEC);
    out.extend_from_slice(&text);
}

fn put_decimal(text: &mut [u8], mut number: i64) {
    for digit in text.iter_mut().rev() {
        *digit = b'0' + (number % 10) as u8;
        number /= 10;
    }
}

/// ` 18FF1080#0011223344556677` and the end of the line.
fn write_frame(out: &mut Vec<u8>, frame: &Frame) {
    out.push(b' ');
    let is_error = frame.kind == FrameKind::Error;
    match frame.id {
        Id::Standard(id) if !is_error => put_hex(out, u32::from(id), 3),
        Id::Standard(id) => put_hex(out, u32::from(id) | ERROR_BIT, 8),
        Id::Extended(id) => put_hex(out, id | if is_error { ERROR_BIT } else { 0 }, 8),
    }
    out.push(b'#');
    match frame.kind {
        FrameKind::Remote => {
            out.push(b'R');
            if !frame.is_empty() {
                put_hex(out, frame.len() as u32, 1);
            }
        }
        FrameKind::Fd(flags) => {
            out.push(b'#');
            put_hex(out, u32::from(flags), 1);
        }
        FrameKind::Data | FrameKind::Error => {}
    }
    for &byte in frame.data() {
        out.extend_from_slice(&[DIGITS[usize::from(byte >> 4)], DIGITS[usize::from(byte & 0xF)]]);
    }
    out.push(b'\n');
}

fn put_hex(out: &mut Vec<u8>, number: u32, digits: u32) {
    for place in (0..digits).rev() {
        out.push(DIGITS[(number >> (place * 4) & 0xF) as usize]);
    }
}

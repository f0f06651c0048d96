//! What single frames say: a line for people, or an object for programs.

use super::signal::{decimals, signal_name};
use super::words::moment;
use crate::model::{Frame, FrameKind, Quantity, Slot, Stamp, Value};
use std::borrow::Cow;
use std::fmt::Write;

/// A signal of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    /// Which.
    pub slot: Slot,
    /// What it says.
    pub value: Value,
}

/// A frame with what it says.
#[derive(Debug, Clone, Copy)]
pub struct Line<'a> {
    /// Its moment.
    pub stamp: Stamp,
    /// The frame itself.
    pub frame: &'a Frame,
    /// Name of the interface it came over; made harmless.
    pub interface: &'a str,
    /// Name of the message; none when the map does not know it.
    pub message: Option<&'a str>,
    /// Its signals, in the order of the map.
    pub signals: &'a [Signal],
}

/// Writes frames out, and remembers how many decimals each quantity has.
#[derive(Debug, Clone)]
pub struct FrameText {
    decimals: Vec<usize>,
}

impl Default for FrameText {
    fn default() -> Self {
        Self { decimals: Quantity::ALL.iter().map(|quantity| decimals(*quantity)).collect() }
    }
}

impl FrameText {
    /// Appends the frame as a JSON object in one line. A value that is missing or invalid is `null`.
    pub fn ndjson(&self, out: &mut String, line: &Line) {
        ndjson(out, line, line.signals.iter().map(|signal| self.shown(signal)));
    }

    /// Appends the frame as a line for people. A value that is missing is a dash.
    pub fn text(&self, out: &mut String, line: &Line) {
        let stem = |shown: Shown<'static>| {
            let ending = shown.unit.to_ascii_lowercase();
            let stem = shown.name.strip_suffix(ending.as_str()).unwrap_or(&shown.name).trim_end_matches('_').to_owned();
            Shown { name: stem.into(), ..shown }
        };
        text(out, line, line.signals.iter().map(|signal| stem(self.shown(signal))));
    }

    fn shown(&self, signal: &Signal) -> Shown<'static> {
        let quantity = signal.slot.quantity;
        let digits = Some(self.decimals.get(quantity as usize).copied().unwrap_or(6));
        let name = signal_name(signal.slot).into();
        Shown { name, unit: quantity.unit(), digits, state: None, value: signal.value }
    }
}

/// A signal with its name, however it came by it.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown<'a> {
    /// Its name; harmless.
    pub name: Cow<'a, str>,
    /// Its unit; harmless, may be empty.
    pub unit: &'a str,
    /// Decimals; none for as many as the number has.
    pub digits: Option<usize>,
    /// Name of the state that the value stands for; harmless. For people only.
    pub state: Option<&'a str>,
    /// What it says.
    pub value: Value,
}

/// Appends a frame with these signals as a JSON object in one line. What is no finite number is `null`.
pub fn ndjson<'a>(out: &mut String, line: &Line, signals: impl Iterator<Item = Shown<'a>>) {
    // Writing to a string cannot fail, here and below.
    let _ = write!(out, "{{\"time\":\"{}\",\"interface\":", line.stamp);
    quote(out, line.interface);
    let _ = write!(out, ",\"id\":\"{}\",\"message\":", IdText(line.frame));
    match line.message {
        Some(message) => quote(out, message),
        None => out.push_str("null"),
    }
    out.push_str(",\"signals\":{");
    for (place, signal) in signals.enumerate() {
        out.push_str(if place > 0 { "," } else { "" });
        quote(out, &signal.name);
        out.push(':');
        match signal.value {
            Value::Present(value) if value.is_finite() => number(out, signal.digits, value),
            _ => out.push_str("null"),
        }
    }
    out.push_str("},\"data\":\"");
    hex(out, line.frame);
    out.push_str("\"}\n");
}

/// Appends a frame with these signals as a line for people. A value that is missing is a dash.
pub fn text<'a>(out: &mut String, line: &Line, signals: impl Iterator<Item = Shown<'a>>) {
    let micros = line.stamp.nanos().rem_euclid(1_000_000_000) / 1000;
    let _ = write!(out, "{}.{micros:06}  {}  {}  ", moment(line.stamp), line.interface, IdText(line.frame));
    out.push_str(line.message.unwrap_or_else(|| kind(line.frame)));
    if line.message.is_none() {
        out.push(' ');
        hex(out, line.frame);
    }
    for (place, signal) in signals.enumerate() {
        let _ = write!(out, "{} {} ", if place > 0 { "," } else { "" }, signal.name);
        match signal.value {
            Value::Present(value) => {
                number(out, signal.digits, value);
                let _ = write!(out, "{}{}", if signal.unit.is_empty() { "" } else { " " }, signal.unit);
            }
            Value::Missing => out.push('-'),
            Value::Invalid(raw) => {
                let _ = write!(out, "invalid (raw {raw:X})");
            }
        }
        if let Some(state) = signal.state {
            let _ = write!(out, " ({state})");
        }
    }
    out.push('\n');
}

/// Beyond these a number is written with an exponent.
const PLAIN: std::ops::Range<f64> = 1e-5..1e16;

fn number(out: &mut String, digits: Option<usize>, value: f64) {
    let start = out.len();
    let _ = match digits {
        Some(digits) => write!(out, "{value:.digits$}"),
        None if value == 0.0 || !value.is_finite() || PLAIN.contains(&value.abs()) => write!(out, "{value}"),
        None => write!(out, "{value:e}"),
    };
    let nought =
        out.get(start..).is_some_and(|text| text.starts_with('-') && !text.contains(|c| matches!(c, '1'..='9' | 'i')));
    if nought {
        out.remove(start);
    }
}

/// The id as the log writes it: for an error frame with the flag that marks it.
struct IdText<'a>(&'a Frame);

impl std::fmt::Display for IdText<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0.kind {
            FrameKind::Error => write!(f, "{:08X}", self.0.id.key() & 0x1FFF_FFFF | 0x2000_0000),
            _ => write!(f, "{}", self.0.id),
        }
    }
}

fn kind(frame: &Frame) -> &'static str {
    match frame.kind {
        FrameKind::Data => "unknown",
        FrameKind::Remote => "remote",
        FrameKind::Error => "error",
        FrameKind::Fd(_) => "unknown-fd",
    }
}

fn hex(out: &mut String, frame: &Frame) {
    for byte in frame.data() {
        let _ = write!(out, "{byte:02X}");
    }
}

/// A text as JSON.
fn quote(out: &mut String, text: &str) {
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Id;

    const AT: Stamp = Stamp::from_nanos(1_768_021_200_250_000_001);

    fn written(frame: &Frame, message: Option<&str>, signals: &[Signal]) -> [String; 2] {
        let line = Line { stamp: AT, frame, interface: "can0", message, signals };
        let (mut text, mut json) = (String::new(), String::new());
        FrameText::default().text(&mut text, &line);
        FrameText::default().ndjson(&mut json, &line);
        [text, json]
    }

    #[test]
    fn what_is_missing_or_invalid_is_no_number() {
        let frame = Frame::extended(0x18FF_1080, [1; 8]);
        let signal = |index, value| Signal { slot: Slot::at(0, Quantity::CellVoltage, index), value };
        let signals = [signal(0, Value::Present(3.3012)), signal(1, Value::Missing), signal(2, Value::Invalid(0xFFFE))];
        let [text, json] = written(&frame, Some("cell_voltages"), &signals);
        assert_eq!(
            text,
            "2026-01-10 05:00:00.250000  can0  18FF1080  cell_voltages pack1_cell1_voltage 3.3012 V, \
             pack1_cell2_voltage -, pack1_cell3_voltage invalid (raw FFFE)\n"
        );
        assert_eq!(
            json,
            "{\"time\":\"2026-01-10T05:00:00.250000001Z\",\"interface\":\"can0\",\"id\":\"18FF1080\",\
             \"message\":\"cell_voltages\",\"signals\":{\"pack1_cell1_voltage_v\":3.3012,\
             \"pack1_cell2_voltage_v\":null,\"pack1_cell3_voltage_v\":null},\"data\":\"0101010101010101\"}\n"
        );
    }

    #[test]
    fn a_frame_that_no_map_knows_shows_its_bytes() {
        let frame = Frame::new(Id::Standard(0x123), FrameKind::Data, &[0xDE, 0xAD]).unwrap();
        let [text, json] = written(&frame, None, &[]);
        assert_eq!(text, "2026-01-10 05:00:00.250000  can0  123  unknown DEAD\n");
        assert!(json.contains("\"id\":\"123\",\"message\":null,\"signals\":{},\"data\":\"DEAD\""), "{json}");
        let error = Frame::new(Id::Extended(4), FrameKind::Error, &[0; 8]).unwrap();
        assert!(written(&error, None, &[])[0].contains("  20000004  error 0000"));
    }

    #[test]
    fn every_object_is_json_whatever_the_interface_is_called() {
        let frame = Frame::remote(Id::Extended(1), 8);
        let line = Line { stamp: AT, frame: &frame, interface: "a\"\\b", message: None, signals: &[] };
        let mut out = String::new();
        FrameText::default().ndjson(&mut out, &line);
        let value: serde_json::Value = serde_json::from_str(&out).unwrap();
        assert_eq!(value["interface"], "a\"\\b");
        assert_eq!(value["data"], "");
    }

    #[test]
    fn a_nought_has_no_sign() {
        let mut out = String::new();
        number(&mut out, Some(3), -0.0001);
        assert_eq!(out, "0.000");
    }
}

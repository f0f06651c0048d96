//! `decode --dbc`: what a DBC makes of a log.

use super::super::output::Output;
use super::super::progress::Progress;
use super::super::{Exit, logs};
use super::{LOOK_EVERY, tell_refused};
use crate::config::{DecodeArgs, DecodeFormat};
use crate::layout::dbc::{self, DbcMap, MOST_BYTES, decimals};
use crate::model::{Body, Frame, FrameKind, Value, clean};
use crate::report::{Line, Shown, frame_ndjson, frame_text};
use anyhow::{Context, anyhow};
use std::fs::File;
use std::io::{Read, Write, stderr};
use std::path::Path;

/// Notes about the file that are told.
const NOTES: usize = 5;

/// Writes out every frame that the DBC describes.
pub(super) fn decode(args: &DecodeArgs, file: &Path) -> anyhow::Result<Exit> {
    let dbc = Reading::new(read(file)?);
    let mut reader = logs::open(std::slice::from_ref(&args.log))?;
    let mut output = Output::new();
    let mut progress = Progress::new("reading");
    let (mut out, mut values, mut count) = (String::new(), Vec::new(), Count::default());
    let mut inputs = 0_u64;
    while let Some(input) = reader.next()? {
        inputs += 1;
        if inputs.is_multiple_of(LOOK_EVERY) {
            let (done, total) = reader.progress();
            progress.show(done, total);
        }
        let Body::Frame(frame) = &input.body else { continue };
        values.clear();
        let Some(message) = dbc.frame(frame, &mut count, &mut values) else { continue };
        let interface = reader.interfaces().name(frame.channel).unwrap_or("-");
        let line = Line { stamp: input.stamp, frame, interface, message: Some(message), signals: &[] };
        out.clear();
        match args.format {
            DecodeFormat::Text => frame_text(&mut out, &line, values.drain(..)),
            DecodeFormat::Ndjson => frame_ndjson(&mut out, &line, values.drain(..)),
        }
        if !output.write(&out)? {
            return Ok(Exit::Clear);
        }
    }
    drop(progress);
    output.finish()?;
    tell_refused(&reader, inputs)?;
    // Nobody may be listening; the frames are out.
    let _ = writeln!(stderr(), "cellwright: {}", count.words());
    Ok(Exit::Clear)
}

/// Reads and compiles the DBC; what in it was skipped is said.
fn read(file: &Path) -> anyhow::Result<DbcMap> {
    let shown = clean(&file.to_string_lossy(), 200);
    let mut bytes = Vec::new();
    let opened = File::open(file).and_then(|open| open.take(MOST_BYTES as u64 + 1).read_to_end(&mut bytes));
    opened.with_context(|| format!("cannot read the DBC '{shown}'"))?;
    let dbc = dbc::parse(&bytes).map_err(|error| anyhow!("{shown}: {error}"))?;
    for note in dbc.notes.iter().take(NOTES) {
        let _ = writeln!(stderr(), "cellwright: {shown}: {note}");
    }
    if dbc.notes.len() > NOTES {
        let _ = writeln!(stderr(), "cellwright: {shown}: and {} more such lines", dbc.notes.len() - NOTES);
    }
    DbcMap::new(dbc).map_err(|error| anyhow!("{shown}: {error}"))
}

/// A DBC with the decimals of each signal.
struct Reading {
    dbc: DbcMap,
    /// By message, by signal.
    digits: Vec<Vec<Option<usize>>>,
}

impl Reading {
    fn new(dbc: DbcMap) -> Self {
        let of = |message: &dbc::Message| message.signals.iter().map(|signal| decimals(&signal.field)).collect();
        let digits = dbc.dbc.messages.iter().map(of).collect();
        Self { dbc, digits }
    }

    /// Name of the frame's message, its signals into `values`; none when the DBC makes nothing of it, which is counted.
    fn frame<'a>(&'a self, frame: &Frame, count: &mut Count, values: &mut Vec<Shown<'a>>) -> Option<&'a str> {
        if !matches!(frame.kind, FrameKind::Data | FrameKind::Fd(_)) {
            count.no_data += 1;
            return None;
        }
        let found = self.dbc.map.find(frame.id);
        let Some((number, message)) = found.and_then(|at| Some((at, self.dbc.dbc.messages.get(at)?))) else {
            count.unknown += 1;
            return None;
        };
        if frame.len() < usize::from(message.length) {
            count.too_short(frame, message);
            return None;
        }
        count.decoded += 1;
        for (target, value) in self.dbc.map.values(number, frame) {
            let Some(signal) = self.dbc.signal(target) else { continue };
            let digits = self.digits.get(number).and_then(|digits| *digits.get(usize::from(target.signal))?);
            let state = if signal.states.is_empty() { None } else { signal.field.get(frame.data()) };
            let state = state.filter(|_| matches!(value, Value::Present(_))).and_then(|raw| signal.state(raw));
            values.push(Shown { name: signal.name.as_str().into(), unit: &signal.unit, digits, state, value });
        }
        Some(&message.name)
    }
}

/// What became of the frames.
#[derive(Debug, Default)]
struct Count {
    decoded: u64,
    unknown: u64,
    short: u64,
    /// Remote and error frames.
    no_data: u64,
    /// What the first short frame was.
    first_short: Option<String>,
}

impl Count {
    fn too_short(&mut self, frame: &Frame, message: &dbc::Message) {
        self.short += 1;
        self.first_short.get_or_insert_with(|| {
            format!("{} {} with {} of {} bytes", frame.id, message.name, frame.len(), message.length)
        });
    }

    fn words(&self) -> String {
        let mut words =
            format!("frames decoded: {}; with ids that the DBC does not have: {}", self.decoded, self.unknown);
        if let Some(first) = &self.first_short {
            words += &format!("; refused, shorter than their message: {}, first {first}", self.short);
        }
        if self.no_data > 0 {
            words += &format!("; remote and error frames: {}", self.no_data);
        }
        words
    }
}

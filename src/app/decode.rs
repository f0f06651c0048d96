//! `decode`: what every frame of a log says.

mod dbc;

use super::output::Output;
use super::progress::Progress;
use super::{Exit, logs, setup};
use crate::config::{DecodeArgs, DecodeFormat};
use crate::model::Body;
use crate::report::{FrameText, Line, Signal};
use crate::source::log::LogReader;
use std::io::{Write, stderr};

/// Frames between two looks at how far it has come.
const LOOK_EVERY: u64 = 1 << 14;

/// Writes out every frame of the log.
pub(super) fn decode(args: &DecodeArgs) -> anyhow::Result<Exit> {
    if let Some(dbc) = &args.dbc {
        return dbc::decode(args, dbc);
    }
    let mut reader = logs::open(std::slice::from_ref(&args.log))?;
    let mut decoder = setup::setup(args.bank.as_deref(), args.dialect)?.decoder();
    let mut output = Output::new();
    let mut progress = Progress::new("reading");
    let frame_text = FrameText::default();
    let (mut out, mut signals) = (String::new(), Vec::new());
    let (mut frames, mut inputs) = (0_u64, 0_u64);
    while let Some(input) = reader.next()? {
        inputs += 1;
        let Body::Frame(frame) = &input.body else { continue };
        frames += 1;
        signals.clear();
        let heard = decoder.frame(input.stamp, frame, |slot, value| signals.push(Signal { slot, value }));
        let interface = reader.interfaces().name(frame.channel).unwrap_or("-");
        let line =
            Line { stamp: input.stamp, frame, interface, message: decoder.message(frame, &heard), signals: &signals };
        out.clear();
        match args.format {
            DecodeFormat::Text => frame_text.text(&mut out, &line),
            DecodeFormat::Ndjson => frame_text.ndjson(&mut out, &line),
        }
        if !output.write(&out)? {
            return Ok(Exit::Clear);
        }
        if frames.is_multiple_of(LOOK_EVERY) {
            let (done, total) = reader.progress();
            progress.show(done, total);
        }
    }
    drop(progress);
    output.finish()?;
    tell_refused(&reader, inputs)?;
    Ok(Exit::Clear)
}

/// Which lines of the log were refused; an error where not one was understood.
fn tell_refused(reader: &LogReader, inputs: u64) -> anyhow::Result<()> {
    if inputs == 0
        && let Some(why) = logs::not_a_log(reader)
    {
        anyhow::bail!(why);
    }
    if let Some(refused) = logs::refused(reader) {
        // Nobody may be listening; the frames are out.
        let _ = writeln!(stderr(), "cellwright: {refused}");
    }
    Ok(())
}

//! Prints what this program computes, for the scripts beside this file to compare with outside implementations.
//!
//! `reference envelope` turns lines of a text log into records of the serial envelope, in hex, one a line;
//! `reference open` turns such lines back into lines of a log; `reference curves` prints every published table
//! on a fine grid, with tabs between name, source, x and value; `reference ageing` prints how fast every published
//! model, and Arrhenius' law by its energy, ages a stored cell relative to 25 °C: name, °C, ratio.

use cellwright::curve::{AGEING, TABLES, arrhenius};
use cellwright::model::{Input, Stamp};
use cellwright::wire::Interfaces;
use cellwright::wire::envelope::{self, Deframer};
use cellwright::wire::textlog::{Line, LineParser, write_line};
use std::io::{self, BufRead, Write};

fn main() -> io::Result<()> {
    let command = std::env::args().nth(1).unwrap_or_default();
    let mut out = io::stdout().lock();
    match command.as_str() {
        "envelope" => envelopes(&mut out),
        "open" => open(&mut out),
        "curves" => curves(&mut out),
        "ageing" => ageing(&mut out),
        _ => Err(io::Error::other("expected: envelope, open, curves or ageing")),
    }
}

fn envelopes(out: &mut impl Write) -> io::Result<()> {
    let mut parser = LineParser::new();
    for line in io::stdin().lock().split(b'\n') {
        match parser.line(&line?) {
            Ok(Line::Input(Input { body: cellwright::model::Body::Frame(frame), .. })) => {
                let mut record = Vec::new();
                envelope::encode(&frame, &mut record);
                let hex: String = record.iter().map(|byte| format!("{byte:02x}")).collect();
                writeln!(out, "{hex}")?;
            }
            other => return Err(io::Error::other(format!("no bus frame: {other:?}"))),
        }
    }
    Ok(())
}

fn open(out: &mut impl Write) -> io::Result<()> {
    let mut interfaces = Interfaces::new();
    interfaces.channel(b"can0").map_err(|why| io::Error::other(why.code()))?;
    let mut deframer = Deframer::new();
    for line in io::stdin().lock().lines() {
        let line = line?;
        let bytes: Vec<u8> =
            (0..line.len() / 2).filter_map(|k| u8::from_str_radix(&line[2 * k..2 * k + 2], 16).ok()).collect();
        let mut written = Vec::new();
        deframer.push(&bytes, |found| match found {
            Ok(frame) => {
                let input = Input { stamp: Stamp::from_secs(0), body: cellwright::model::Body::Frame(frame) };
                write_line(&mut written, &input, &interfaces);
            }
            Err(why) => written.extend_from_slice(format!("{}\n", why.code()).as_bytes()),
        });
        out.write_all(&written)?;
    }
    Ok(())
}

fn curves(out: &mut impl Write) -> io::Result<()> {
    for table in TABLES {
        let (Some(first), Some(last)) = (table.points.first(), table.points.last()) else { continue };
        for step in 0..=1000 {
            let x = first.0 + (last.0 - first.0) * f64::from(step) / 1000.0;
            writeln!(out, "{}\t{}\t{x}\t{}", table.name, table.source, table.at(x))?;
        }
    }
    Ok(())
}

fn ageing(out: &mut impl Write) -> io::Result<()> {
    for celsius in (0..=60).map(f64::from) {
        for model in &AGEING {
            writeln!(out, "{}\t{celsius}\t{}", model.name, model.ratio(celsius))?;
        }
        for kilojoule in (10..=80).map(f64::from) {
            writeln!(out, "{kilojoule} kJ/mol\t{celsius}\t{}", arrhenius(celsius, kilojoule))?;
        }
    }
    Ok(())
}

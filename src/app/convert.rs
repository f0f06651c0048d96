//! `convert`: a table into a log of our own frames, by the columns that a bank file names.

use super::output::Output;
use super::progress::Progress;
use super::{Exit, setup};
use crate::bank::Table;
use crate::config::ConvertArgs;
use crate::convert::{Converter, Refusal};
use crate::model::{Bank, Body, Input, clean};
use crate::source::log::RawLines;
use crate::wire::{Interfaces, textlog};
use anyhow::{Context, bail};
use jiff::tz::{Offset, TimeZone};
use std::collections::BTreeMap;
use std::io::{Write, stderr};
use std::path::Path;

/// Lines in which the heading is looked for.
const HEADING_WITHIN: u64 = 200;
/// Rows that run backwards before a table is given up whose others are fewer.
const GIVE_UP_AFTER: u64 = 16;
/// Rows between two looks at how far it has come.
const LOOK_EVERY: u64 = 1 << 12;

/// Converts the table and says what was refused.
pub(super) fn convert(args: &ConvertArgs) -> anyhow::Result<Exit> {
    let file = setup::bank_file(&args.bank)?;
    let Some(table) = &file.table else {
        bail!("the bank file says nothing of a table; 'cellwright bank template' shows [table] and [[column]]");
    };
    let mut lines = match args.table.as_path() {
        path if path == Path::new("-") => RawLines::from_reader("the standard input", std::io::stdin())?,
        path => RawLines::open(path)?,
    };
    let converter = heading(&mut lines, table, &file.bank)?;
    let told = rows(&mut lines, converter)?;
    let _ = writeln!(stderr(), "cellwright: {}", told.words()); // nobody may be listening; the log is out
    if told.rows == 0 {
        bail!("not a single row gave a value");
    }
    told.runs_forwards()?;
    Ok(Exit::Clear)
}

/// Finds the heading, which may have lines before it.
fn heading(lines: &mut RawLines, table: &Table, bank: &Bank) -> anyhow::Result<Converter> {
    let zone = zone(table.zone.as_deref())?;
    let mut first = None;
    while let Some((number, line)) = lines.next()? {
        let Some(line) = line.filter(|line| !line.is_empty()) else { continue };
        if let Some(converter) =
            Converter::new(table, bank, zone.clone(), line).with_context(|| format!("line {number}"))?
        {
            return Ok(converter);
        }
        first.get_or_insert_with(|| clean(&String::from_utf8_lossy(line), 200));
        if number >= HEADING_WITHIN {
            break;
        }
    }
    let first = first.map_or("the table is empty".to_owned(), |line| format!("its first line is: {line}"));
    bail!("no line has a column headed '{}' for the time; {first}", clean(&table.time.heading, 60))
}

fn zone(name: Option<&str>) -> anyhow::Result<TimeZone> {
    let Some(name) = name.filter(|name| !name.eq_ignore_ascii_case("utc")) else { return Ok(TimeZone::UTC) };
    if let Some(offset) = fixed(name) {
        return Ok(TimeZone::fixed(offset));
    }
    TimeZone::get(name).with_context(|| {
        format!(
            "zone = '{}': expected UTC, +01:00, or a name that this system knows, such as Europe/Lisbon",
            clean(name, 60)
        )
    })
}

/// `+01:00`, `-0330`.
fn fixed(name: &str) -> Option<Offset> {
    let (sign, digits) = match name.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let digits = digits.replace(':', "");
    let number: i32 = digits.parse().ok().filter(|_| digits.len() == 4)?;
    Offset::from_seconds(sign * (number / 100 * 3600 + number % 100 * 60)).ok()
}

/// What became of the rows.
#[derive(Default)]
struct Told {
    rows: u64,
    frames: u64,
    bad_cells: u64,
    /// Count and first line of each reason.
    refused: BTreeMap<Refusal, (u64, u64)>,
}

impl Told {
    /// A table with the newest row first is no table to be read in its order, and what became of it no log.
    fn runs_forwards(&self) -> anyhow::Result<()> {
        let back = self.refused.get(&Refusal::TimeBack).map_or(0, |(count, _)| *count);
        if back > 0 && back >= self.rows {
            bail!(
                "the table runs backwards in time: {back} rows are earlier than one before them, and {} are not. Sort it \
                 by its time, the oldest row first, and convert it again; what was written is no log of it",
                self.rows
            );
        }
        Ok(())
    }

    fn words(&self) -> String {
        let mut words = format!("{} rows became {} frames", self.rows, self.frames);
        if self.bad_cells > 0 {
            words += &format!("; {} cells held no number that can be and went out as 'error'", self.bad_cells);
        }
        for (reason, (count, first)) in &self.refused {
            words += &format!("; {count} rows refused: {}, first in line {first}", reason.words());
        }
        words
    }
}

fn rows(lines: &mut RawLines, mut converter: Converter) -> anyhow::Result<Told> {
    let mut names = Interfaces::new();
    names.channel(b"table").map_err(|_| anyhow::anyhow!("the name of the interface is refused"))?;
    let (mut output, mut progress) = (Output::new(), Progress::new("converting"));
    let (mut told, mut text) = (Told::default(), Vec::new());
    let mut last = None;
    while let Some((number, line)) = lines.next()? {
        if line.is_some_and(<[u8]>::is_empty) {
            continue;
        }
        text.clear();
        let row = line.ok_or(Refusal::LongLine).and_then(|line| {
            converter.row(line, |stamp, frame| {
                last = Some(stamp);
                told.frames += 1;
                textlog::write_line(&mut text, &Input { stamp, body: Body::Frame(frame) }, &names);
            })
        });
        match row {
            Ok(()) => told.rows += 1,
            Err(reason) => {
                let (count, _) = told.refused.entry(reason).or_insert((0, number));
                *count += 1;
                if reason == Refusal::TimeBack && *count == GIVE_UP_AFTER {
                    told.runs_forwards()?;
                }
            }
        }
        if !output.write(std::str::from_utf8(&text).unwrap_or_default())? {
            return Ok(told);
        }
        if number.is_multiple_of(LOOK_EVERY) {
            let (done, total) = lines.progress();
            progress.show(done, total);
        }
    }
    text.clear();
    if let Some(stamp) = last {
        textlog::write_line(&mut text, &Input { stamp, body: Body::Closing }, &names);
    }
    output.write(std::str::from_utf8(&text).unwrap_or_default())?;
    output.finish()?;
    told.bad_cells = converter.bad_cells();
    Ok(told)
}

//! What a run starts from: the bank file and the limits that were named on the command line.

use crate::bank::{self, BankFile, overrides};
use crate::layout::dbc::MOST_BYTES;
use crate::model::limits::Limits;
use crate::model::{Dialect, clean};
use crate::pipeline::{Filed, FiledFrom, Pipeline, Setup};
use crate::wire::textlog::LineParser;
use anyhow::{Context, anyhow, bail};
use std::io::Read as _;
use std::path::Path;

/// So much of a file shows what it is, bytes.
const LOOKED_AT: u64 = 4096;
/// Largest file of limits, bytes.
const MOST: u64 = 1 << 20;

/// The limits in force with a bank file, or without one.
pub(super) fn limits(bank: Option<&Path>) -> anyhow::Result<Limits> {
    Ok(setup(bank, None)?.limits)
}

/// What a run starts from.
pub(super) fn setup(bank: Option<&Path>, dialect: Option<Dialect>) -> anyhow::Result<Setup> {
    let setup = Setup { dialect, ..Setup::default() };
    Ok(match bank {
        Some(path) => {
            let mut file = bank_file(path)?;
            // The log that `convert` makes of a table is in our own format, which goes beside signals but not beside "file".
            let of_table = file.table.is_some() && file.dialect == Some(Dialect::File);
            file.dialect = dialect.or(file.dialect.filter(|_| !of_table)); // so that a recording tells it too
            setup.with(Filed::new(&file).context("with every signal written out")?)
        }
        None => setup,
    })
}

/// What a live run starts from. A dialect that was told makes a bank file of one line, so that the recording has it.
pub(super) fn live(bank: Option<&Path>, dialect: Option<Dialect>) -> anyhow::Result<Setup> {
    match (bank, dialect) {
        (None, Some(_)) => Ok(Setup::default().with(Filed::new(&BankFile { dialect, ..BankFile::default() })?)),
        _ => setup(bank, dialect),
    }
}

/// Reads a bank file and the DBCs that it names, which are found from where it is.
pub(super) fn bank_file(path: &Path) -> anyhow::Result<BankFile> {
    let name = clean(&path.to_string_lossy(), 200);
    if let Some(what) = taken_for_a_bank_file(path) {
        bail!(
            "bank file '{name}': this is {what}, and no bank file. The log stands by itself, and --bank names a file that \
             describes the bank: 'cellwright bank template' prints one, 'cellwright survey LOG --format draft' drafts one \
             from a log"
        );
    }
    let text = read(path, bank::MOST_BYTES as u64).with_context(|| format!("bank file '{name}'"))?;
    let text = String::from_utf8(text).map_err(|_| anyhow!("bank file '{name}': this is no text in UTF-8"))?;
    let beside = path.parent().unwrap_or(Path::new(""));
    let dbc = |name: &str| read(&beside.join(name), MOST_BYTES as u64).map_err(|error| format!("{error:#}"));
    bank::parse(&text, dbc).map_err(|error| anyhow!("bank file '{name}', {error}"))
}

/// What a file is that was given for a bank file by mistake; none for what may be one, and for what cannot be read.
fn taken_for_a_bank_file(path: &Path) -> Option<&'static str> {
    let mut start = Vec::new();
    std::fs::File::open(path).ok()?.take(LOOKED_AT).read_to_end(&mut start).ok()?;
    // The first bytes of RFC 1952 (gzip) and RFC 8878 (Zstandard).
    if start.starts_with(&[0x1F, 0x8B]) || start.starts_with(&[0x28, 0xB5, 0x2F, 0xFD]) {
        return Some("a compressed file, such as a log");
    }
    let line = start.split(|byte| *byte == b'\n').next()?;
    (line.first() == Some(&b'(') && LineParser::new().line(line).is_ok()).then_some("a log")
}

/// The bytes of a file, if it is not too large.
fn read(path: &Path, most: u64) -> anyhow::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).context("it cannot be opened")?;
    file.take(most + 1).read_to_end(&mut bytes).context("it cannot be read")?;
    if bytes.len() as u64 > most {
        bail!("it is larger than {most} bytes");
    }
    Ok(bytes)
}

/// What is to be said about the bank file of a recording.
pub(super) fn about_file(pipeline: &Pipeline) -> Option<String> {
    match pipeline.filed_from() {
        FiledFrom::Nothing | FiledFrom::Told => None,
        FiledFrom::ToldInstead => {
            Some("the recording holds a bank file of its own; it is not used, since --bank names another".to_owned())
        }
        FiledFrom::Recorded => {
            Some("read by the bank file that the recording holds; --bank FILE uses another".to_owned())
        }
        FiledFrom::Broken(why) => Some(format!(
            "the bank file that the recording holds cannot be read and is not used: {why}; name one with --bank FILE"
        )),
    }
}

/// The limits with other numbers: `NAME=VALUE` each, and those of a file.
pub(super) fn other(base: &Limits, told: &[(String, f64)], file: Option<&Path>) -> anyhow::Result<Limits> {
    let mut limits = base.clone();
    if let Some(path) = file {
        let name = crate::model::clean(&path.to_string_lossy(), 200);
        let size = std::fs::metadata(path).with_context(|| format!("'{name}' cannot be read"))?.len();
        if size > MOST {
            bail!("'{name}' is too large for a file of limits ({size} bytes, at most {MOST})");
        }
        let text = std::fs::read_to_string(path).with_context(|| format!("'{name}' cannot be read"))?;
        for row in overrides::read(&text).with_context(|| name.clone())? {
            limits.set(&row.name, row.value).with_context(|| format!("{name}:{}", row.line))?;
        }
    }
    for (name, value) in told {
        limits.set(name, *value).context("--limit")?;
    }
    Ok(limits)
}

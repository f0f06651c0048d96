//! Opening what was named on the command line.

use crate::model::Rejection;
use crate::report::{FirstRefused, refusal};
use crate::source::log::{LogReader, ReadError};
use std::path::{Path, PathBuf};

/// Opens the logs in their order; a single `-` is the standard input.
pub(super) fn open(paths: &[PathBuf]) -> Result<LogReader, ReadError> {
    match paths {
        [only] if only == Path::new("-") => LogReader::from_reader("the standard input", std::io::stdin()),
        _ => LogReader::open(paths),
    }
}

/// The first line refused for each reason.
pub(super) fn first_refused(reader: &LogReader) -> Vec<FirstRefused> {
    reader.rejections().map(|row| FirstRefused { reason: row.reason, file: row.file.into(), line: row.line }).collect()
}

/// What is wrong with a log of which not a single line was understood; none when nothing was refused either.
pub(super) fn not_a_log(reader: &LogReader) -> Option<String> {
    let first = reader.rejections().min_by_key(|row| (row.line, row.reason))?;
    Some(format!(
        "not a single line of '{}' is a line of a plain CAN text log (line {}: {}); expected lines such as '(1768021200.000000) can0 18FF1080#F480F480F480F480'",
        first.file,
        first.line,
        refusal(first.reason)
    ))
}

/// What was refused, in one line; none when nothing was.
pub(super) fn refused(reader: &LogReader) -> Option<String> {
    let row = |(reason, count, file, line): (Rejection, u64, &str, u64)| {
        format!("{} {count}, first in line {line} of '{file}'", reason.code())
    };
    let rows: Vec<String> = reader.rejections().map(|r| row((r.reason, r.count, r.file, r.line))).collect();
    (!rows.is_empty()).then(|| format!("lines refused: {}", rows.join("; ")))
}

//! What can go wrong with a log as a whole. A bad line is no error: it is counted.

use std::io;

/// Why a log cannot be read, or not further.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// No file was named.
    #[error("no log was named; expected at least one file")]
    NoFiles,
    /// The file cannot be opened.
    #[error("cannot open the log '{name}': {source}; check the path and that you may read it")]
    Open {
        /// File, harmless to show.
        name: String,
        /// What the system says.
        source: io::Error,
    },
    /// Reading failed in the middle.
    #[error(
        "cannot read on in '{name}' after line {line}: {source}; everything up to there was read; check the disk or the link to it"
    )]
    Read {
        /// File or stream.
        name: String,
        /// Last line that was read whole.
        line: u64,
        /// What the system says.
        source: io::Error,
    },
    /// Packed in a way that is not read.
    #[error(
        "'{name}' is packed as {found}; expected a plain CAN text log, or one packed with gzip or zstd; unpack it first"
    )]
    Packing {
        /// File or stream.
        name: String,
        /// Name of the packing.
        found: &'static str,
    },
    /// Needs more memory to unpack than a log is given.
    #[error(
        "'{name}' (after line {line}) needs a zstd window of more than 8 MB; expected one of at most 8 MB, as levels up to 19 without '--long' make; unpack it first with 'zstd -d --long=31'"
    )]
    Window {
        /// File or stream.
        name: String,
        /// Last line that was read whole.
        line: u64,
    },
    /// A stream cannot go back.
    #[error("'{name}' is a stream and cannot be read again from line {line}; save it to a file first")]
    NotSeekable {
        /// Stream.
        name: String,
        /// Line that was asked for.
        line: u64,
    },
    /// The place that is sought is not there any more.
    #[error(
        "'{name}' is shorter than when it was read: line {line} ended at byte {offset}, which is no longer there; was it cut or replaced? open it again"
    )]
    Changed {
        /// File.
        name: String,
        /// Line that was asked for.
        line: u64,
        /// Where its end was, in bytes of the unpacked text.
        offset: u64,
    },
}

/// Why a log cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// There is something of that name already.
    #[error("'{name}' exists already and is not overwritten; choose another name or remove it")]
    Exists {
        /// File.
        name: String,
    },
    /// It cannot be made.
    #[error("cannot create the log '{name}': {source}; check that the directory exists and that you may write there")]
    Create {
        /// File.
        name: String,
        /// What the system says.
        source: io::Error,
    },
    /// It cannot be written to.
    #[error(
        "cannot write on to '{name}': {source}; what was written before is whole lines; check the space on the disk"
    )]
    Write {
        /// File.
        name: String,
        /// What the system says.
        source: io::Error,
    },
}

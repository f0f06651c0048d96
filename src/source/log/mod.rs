//! Log files: read, with whatever a power cut or a tool has done to them, and written.
//!
//! Files are read in chunks, never mapped (a log that is cut while it is mapped kills the reader). Packing is
//! told by the first bytes, not by the name. Memory is bounded whatever the file holds.

mod error;
mod lines;
mod open;
mod raw;
mod reader;
mod tally;
mod writer;

pub use error::{ReadError, WriteError};
pub use raw::RawLines;
pub use reader::{LogReader, Position};
pub use tally::Rejected;
pub use writer::LogWriter;

/// Longest line that is read; longer ones are counted and skipped.
pub const MOST_LINE: usize = 64 * 1024;

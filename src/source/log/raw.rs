//! The lines of a text file as they stand, whatever it is packed with: for tables.

use super::lines::Lines;
use super::open::{Fault, Origin, Text};
use super::{MOST_LINE, ReadError};
use std::io::Read;
use std::path::Path;

/// Bytes of one read.
const CHUNK: usize = 1 << 18;

/// Lines one after another, in bounded memory.
pub struct RawLines {
    origin: Origin,
    text: Text,
    lines: Lines,
    /// Lines given so far.
    line: u64,
    ended: bool,
}

impl RawLines {
    /// The lines of a file, plain, gzip or zstd.
    ///
    /// # Errors
    /// [`ReadError`] when it is not there, not readable or packed in an unknown way.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let origin = Origin::file(path)?;
        let text = origin.open(0, 0)?;
        Ok(Self { origin, text, lines: Lines::new(CHUNK), line: 0, ended: false })
    }

    /// The lines of a stream; `name` is for errors.
    ///
    /// # Errors
    /// [`ReadError`] when the first bytes cannot be read.
    pub fn from_reader(name: &str, from: impl Read + Send + 'static) -> Result<Self, ReadError> {
        let origin = Origin::stream(name);
        let text = origin.read(from)?;
        Ok(Self { origin, text, lines: Lines::new(CHUNK), line: 0, ended: false })
    }

    /// The next line without its end, and its number from 1; `None` for the line where it was longer than
    /// [`MOST_LINE`], which is then lost.
    ///
    /// # Errors
    /// [`ReadError`] when the file cannot be read on. An archive that is cut ends where it is cut.
    #[allow(clippy::type_complexity, clippy::should_implement_trait)] // an error ends the reading
    pub fn next(&mut self) -> Result<Option<(u64, Option<&[u8]>)>, ReadError> {
        let span = loop {
            if let Some(span) = self.lines.take() {
                break span;
            }
            if self.ended {
                match self.lines.rest() {
                    Some(span) => break span,
                    None => return Ok(None),
                }
            }
            match self.lines.fill(self.text.bytes()) {
                Ok(count) => self.ended = count == 0,
                Err(error) => match self.text.fault(error) {
                    Fault::Torn => self.ended = true,
                    Fault::Window => return Err(ReadError::Window { name: self.origin.name.clone(), line: self.line }),
                    Fault::Read(source) => {
                        return Err(ReadError::Read { name: self.origin.name.clone(), line: self.line, source });
                    }
                },
            }
        };
        self.line += 1;
        let bytes = self.lines.bytes(span);
        let bytes = bytes.strip_suffix(b"\r").unwrap_or(bytes);
        Ok(Some((self.line, Some(bytes).filter(|bytes| !span.dropped && bytes.len() < MOST_LINE))))
    }

    /// Bytes read of the file, and its size where it is known.
    #[must_use]
    pub fn progress(&self) -> (u64, Option<u64>) {
        (self.text.taken(), self.origin.size)
    }
}

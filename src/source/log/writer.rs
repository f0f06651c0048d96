//! A log, written: whole lines, plain or packed by the name's ending.

use super::WriteError;
use crate::model::{Input, clean};
use crate::wire::Interfaces;
use crate::wire::textlog::write_line;
use std::fs::File;
use std::io::{self, Write};
use std::path::Path;

/// Text that is written at once; packed, each piece is an archive of its own, so that a file that is cut loses
/// no more than one.
const PIECE: usize = 1 << 20;
/// Level of zstd: its own default.
const LEVEL: i32 = 3;

/// Writes a log. [`Self::finish`] tells whether all of it was written; a writer that is dropped tries to.
pub struct LogWriter {
    name: String,
    file: File,
    packing: Packing,
    text: Vec<u8>,
    packed: Vec<u8>,
}

#[derive(Clone, Copy)]
enum Packing {
    Plain,
    Gzip,
    Zstd,
}

impl LogWriter {
    /// A new file: packed with gzip when its name ends in `.gz`, with zstd when it ends in `.zst`.
    ///
    /// # Errors
    /// [`WriteError`] when the file exists or cannot be made.
    pub fn create(path: &Path) -> Result<Self, WriteError> {
        let name = clean(&path.to_string_lossy(), 4096);
        let packing = match path.extension().and_then(|ending| ending.to_str()) {
            Some("gz") => Packing::Gzip,
            Some("zst") => Packing::Zstd,
            _ => Packing::Plain,
        };
        match File::create_new(path) {
            Ok(file) => Ok(Self { name, file, packing, text: Vec::with_capacity(PIECE + 512), packed: Vec::new() }),
            Err(source) if source.kind() == io::ErrorKind::AlreadyExists => Err(WriteError::Exists { name }),
            Err(source) => Err(WriteError::Create { name, source }),
        }
    }

    /// Adds an input; it may be written later.
    ///
    /// # Errors
    /// [`WriteError::Write`].
    pub fn write(&mut self, input: &Input, interfaces: &Interfaces) -> Result<(), WriteError> {
        write_line(&mut self.text, input, interfaces);
        if self.text.len() >= PIECE { self.flush() } else { Ok(()) }
    }

    /// Writes all that waits.
    ///
    /// # Errors
    /// [`WriteError::Write`].
    pub fn flush(&mut self) -> Result<(), WriteError> {
        let written = self.write_piece();
        self.text.clear();
        written.map_err(|source| WriteError::Write { name: self.name.clone(), source })
    }

    /// Writes all that waits and ends the file.
    ///
    /// # Errors
    /// [`WriteError::Write`].
    pub fn finish(mut self) -> Result<(), WriteError> {
        self.flush()?;
        self.file.sync_all().map_err(|source| WriteError::Write { name: self.name.clone(), source })
    }

    fn write_piece(&mut self) -> io::Result<()> {
        if self.text.is_empty() {
            return Ok(());
        }
        self.packed.clear();
        match self.packing {
            Packing::Plain => return self.file.write_all(&self.text),
            Packing::Gzip => {
                let mut encoder = flate2::write::GzEncoder::new(&mut self.packed, flate2::Compression::default());
                encoder.write_all(&self.text)?;
                encoder.finish()?;
            }
            Packing::Zstd => zstd::stream::copy_encode(self.text.as_slice(), &mut self.packed, LEVEL)?,
        }
        self.file.write_all(&self.packed)
    }
}

impl Drop for LogWriter {
    fn drop(&mut self) {
        let _ = self.write_piece(); // `finish` reports; here there is nobody to tell
    }
}

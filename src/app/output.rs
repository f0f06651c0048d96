//! The standard output. Whoever reads it may go away: that is no error.

use anyhow::Context;
use std::io::{self, BufWriter, ErrorKind, StdoutLock, Write};

/// Bytes that are written at once.
const CHUNK: usize = 64 * 1024;

/// The standard output, in chunks.
pub(super) struct Output {
    out: BufWriter<StdoutLock<'static>>,
}

impl Output {
    pub(super) fn new() -> Self {
        Self { out: BufWriter::with_capacity(CHUNK, io::stdout().lock()) }
    }

    /// Writes a text; false when nobody reads any more.
    pub(super) fn write(&mut self, text: &str) -> anyhow::Result<bool> {
        settle(self.out.write_all(text.as_bytes()))
    }

    /// Writes what waits; false when nobody reads any more.
    pub(super) fn finish(mut self) -> anyhow::Result<bool> {
        settle(self.out.flush())
    }
}

/// Writes one text and no more.
pub(super) fn print(text: &str) -> anyhow::Result<()> {
    let mut output = Output::new();
    if output.write(text)? {
        output.finish()?;
    }
    Ok(())
}

fn settle(written: io::Result<()>) -> anyhow::Result<bool> {
    match written {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(false),
        Err(error) => Err(error).context("cannot write to the standard output; check the space on the disk"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reader_that_went_away_is_no_error_and_a_full_disk_is() {
        assert!(!settle(Err(ErrorKind::BrokenPipe.into())).unwrap());
        assert!(settle(Ok(())).unwrap());
        assert!(settle(Err(ErrorKind::StorageFull.into())).is_err());
    }
}

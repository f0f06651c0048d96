//! Whole lines onto a disk that may be full, and a look now and then whether it still is.

use super::recorder::{Piece, Shared};
use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Pieces, one a second, after which the disk is told to keep what it has over a power cut.
const KEEP_EVERY: u32 = 5;
/// How often a full disk is tried again.
const LOOK: Duration = Duration::from_secs(2);
/// Bytes that must find room before writing goes on.
const PROBE: usize = 16 << 10;

/// What lines are written to: a file, or a test's own.
pub(super) trait Tape: Send {
    /// Writes all of it.
    fn append(&mut self, text: &[u8]) -> io::Result<()>;
    /// Makes it end after so many bytes.
    fn cut(&mut self, len: u64) -> io::Result<()>;
    /// Keeps what was written over a power cut.
    fn keep(&mut self) -> io::Result<()>;
}

impl Tape for File {
    fn append(&mut self, text: &[u8]) -> io::Result<()> {
        self.write_all(text)
    }

    fn cut(&mut self, len: u64) -> io::Result<()> {
        self.set_len(len)?;
        self.seek(SeekFrom::Start(len)).map(drop)
    }

    fn keep(&mut self) -> io::Result<()> {
        match self.sync_data() {
            Err(error) if error.kind() == io::ErrorKind::InvalidInput => Ok(()), // a pipe or device keeps nothing
            other => other,
        }
    }
}

/// The thread that writes. While the disk is full it takes nothing but looks now and then whether there is room.
pub(super) fn write_tape(mut tape: Box<dyn Tape>, pieces: &Receiver<Piece>, shared: &Mutex<Shared>) {
    let (mut len, mut pieces_to_keep, mut failing) = (0_u64, 0, false);
    loop {
        match pieces.recv_timeout(LOOK) {
            Ok(piece) if failing => lose(shared, piece.inputs),
            Ok(piece) => match append(tape.as_mut(), &piece.text, len) {
                Ok(()) => {
                    len += piece.text.len() as u64;
                    pieces_to_keep += 1;
                }
                Err(error) => {
                    lose(shared, piece.inputs);
                    failing = fail(shared, &error);
                }
            },
            Err(RecvTimeoutError::Timeout) if failing && append(tape.as_mut(), &[b'\n'; PROBE], len).is_ok() => {
                failing = tape.cut(len).is_err();
                if !failing {
                    locked(shared).failing = None;
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                let _ = tape.keep(); // the last try; what was written is in the kernel's hands
                return;
            }
        }
        if pieces_to_keep >= KEEP_EVERY {
            pieces_to_keep = 0;
            if let Err(error) = tape.keep() {
                failing = fail(shared, &error);
            }
        }
    }
}

/// Writes all of it or nothing.
fn append(tape: &mut dyn Tape, text: &[u8], len: u64) -> io::Result<()> {
    tape.append(text).inspect_err(|_| {
        let _ = tape.cut(len); // half a line that cannot be cut is counted by whoever reads it
    })
}

fn lose(shared: &Mutex<Shared>, inputs: u32) {
    let mut shared = locked(shared);
    shared.missing = shared.missing.saturating_add(inputs);
}

fn fail(shared: &Mutex<Shared>, error: &io::Error) -> bool {
    locked(shared).failing = Some(error.to_string());
    true
}

fn locked(shared: &Mutex<Shared>) -> MutexGuard<'_, Shared> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

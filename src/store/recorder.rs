//! The recorder: every input into a text log, by a thread of its own, so that nothing waits for a disk.

use super::tape::{Tape, write_tape};
use crate::model::Input;
use crate::wire::Interfaces;
use crate::wire::textlog::write_line;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{SendError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

/// Pieces that may wait for the disk.
const MOST_PIECES: usize = 8;
/// Bytes that are handed over at once without being asked.
const PIECE: usize = 256 << 10;
/// Bytes that are gathered at most while the disk is slow; what comes then is counted, not kept.
const MOST_GATHERED: usize = 4 << 20;

/// Why a recording cannot be begun.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// There is such a file already.
    #[error("'{0}' is there already and is not overwritten: choose another name")]
    Exists(PathBuf),
    /// A name that promises a packed file.
    #[error("'{0}': a recording is plain text; give it a name that does not end in .gz or .zst")]
    Packed(PathBuf),
    /// The system refuses.
    #[error("cannot record to '{0}': {1}")]
    Create(PathBuf, #[source] io::Error),
}

/// How the recording is doing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum State {
    /// It is written.
    #[default]
    Good,
    /// It cannot be written, for this reason; inputs are counted instead.
    Failing(String),
    /// It can be written again; so many inputs are missing from it.
    Resumed(u32),
}

/// What thread and recorder tell each other.
#[derive(Debug, Default)]
pub(super) struct Shared {
    /// Why it cannot be written; none when it can.
    pub(super) failing: Option<String>,
    /// Inputs that are missing and not yet told.
    pub(super) missing: u32,
}

/// Lines with the number of inputs in them.
#[derive(Debug, Default)]
pub(super) struct Piece {
    pub(super) text: Vec<u8>,
    pub(super) inputs: u32,
}

/// A recording under way.
#[derive(Debug)]
pub struct Recorder {
    gathered: Piece,
    pieces: Option<SyncSender<Piece>>,
    shared: Arc<Mutex<Shared>>,
    thread: Option<JoinHandle<()>>,
    /// Something could not be kept, and the gap is not in the recording yet.
    broken: bool,
    /// The disk is waited for: what comes can wait as well.
    patient: bool,
}

impl Recorder {
    /// Begins a recording in a new file.
    ///
    /// # Errors
    /// [`RecordError`] when the file is there already or cannot be made.
    pub fn create(path: &Path) -> Result<Self, RecordError> {
        if path.extension().is_some_and(|end| end == "gz" || end == "zst") {
            return Err(RecordError::Packed(path.into()));
        }
        let file = File::create_new(path).map_err(|error| match error.kind() {
            io::ErrorKind::AlreadyExists => RecordError::Exists(path.into()),
            _ => RecordError::Create(path.into(), error),
        })?;
        Ok(Self::to(Box::new(file)))
    }

    /// Begins a recording on any tape.
    pub(super) fn to(tape: Box<dyn Tape>) -> Self {
        let (pieces, waiting) = sync_channel(MOST_PIECES);
        let shared = Arc::new(Mutex::new(Shared::default()));
        let told = Arc::clone(&shared);
        let thread = std::thread::spawn(move || write_tape(tape, &waiting, &told));
        Self {
            gathered: Piece::default(),
            pieces: Some(pieces),
            shared,
            thread: Some(thread),
            broken: false,
            patient: false,
        }
    }

    /// The same, but a slow disk is waited for: for sources that can wait, such as a log or a pipe.
    #[must_use]
    pub fn patient(self) -> Self {
        Self { patient: true, ..self }
    }

    /// Takes an input; it is written with the next [`Self::flush`].
    pub fn record(&mut self, input: &Input, interfaces: &Interfaces) {
        if self.broken || self.gathered.text.len() >= MOST_GATHERED {
            self.broken = true;
            let mut shared = self.shared.lock().unwrap_or_else(PoisonError::into_inner);
            shared.missing = shared.missing.saturating_add(1);
            return;
        }
        write_line(&mut self.gathered.text, input, interfaces);
        self.gathered.inputs += 1;
        if self.gathered.text.len() >= PIECE {
            self.flush();
        }
    }

    /// Hands what was taken to the thread that writes. To be called at least every two seconds.
    pub fn flush(&mut self) {
        if self.gathered.inputs == 0 {
            return;
        }
        let piece = std::mem::take(&mut self.gathered);
        if self.patient {
            if let Some(Err(SendError(back))) = self.pieces.as_ref().map(|pieces| pieces.send(piece)) {
                self.gathered = back;
            }
            return;
        }
        if let Some(Err(TrySendError::Full(back) | TrySendError::Disconnected(back))) =
            self.pieces.as_ref().map(|pieces| pieces.try_send(piece))
        {
            self.gathered = back;
        }
    }

    /// How it is doing. After [`State::Resumed`] the caller makes a gap of that count an input, and records it and
    /// what follows.
    pub fn state(&mut self) -> State {
        let mut shared = self.shared.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(why) = &shared.failing {
            self.broken = true;
            return State::Failing(why.clone());
        }
        if shared.missing == 0 {
            self.broken = false;
            return State::Good;
        }
        if self.gathered.inputs > 0 {
            return State::Good; // a slow disk: what is gathered goes first
        }
        self.broken = false;
        State::Resumed(std::mem::take(&mut shared.missing))
    }

    /// Writes all that was taken and ends. Returns how many inputs are missing from the recording that no gap in it
    /// tells of, and why.
    pub fn finish(mut self) -> Option<(u32, String)> {
        if let Some(pieces) = self.pieces.take() {
            let _ = pieces.send(std::mem::take(&mut self.gathered)); // a thread that has died has told why
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        let shared = self.shared.lock().unwrap_or_else(PoisonError::into_inner);
        let why = shared.failing.clone().unwrap_or_else(|| "the disk was too slow".to_owned());
        (shared.missing > 0).then_some((shared.missing, why))
    }
}

#[cfg(test)]
#[path = "recorder_tests.rs"]
mod tests;

//! What a source hands over, and the bounded queue it goes through.

use crate::model::{Body, Stamp};
use crate::wire::Interfaces;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::time::Duration;

/// Batches that wait at most. A source that finds the queue full waits, and what its kernel then drops is counted.
const MOST_WAITING: usize = 64;
/// How long a source waits before it tries a full queue again.
const RETRY: Duration = Duration::from_millis(2);

/// Everything that was ready at one source at one time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Batch {
    /// Which source, from 0.
    pub source: u8,
    /// What came, oldest first; the channels are the source's own.
    pub items: Vec<(Stamp, Body)>,
    /// The names of the source's channels, when they have changed.
    pub names: Option<Interfaces>,
    /// How the source is doing, when that has changed.
    pub status: Option<Status>,
    /// Nothing will come any more.
    pub ended: bool,
}

/// How a source is doing, in words for a person.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Status {
    /// Whether it delivers, or could.
    pub up: bool,
    /// One sentence; empty when there is nothing to say.
    pub text: String,
    /// What to do about it; empty when nothing.
    pub advice: String,
}

impl Status {
    /// It delivers, and there is this to say.
    #[must_use]
    pub fn good(text: impl Into<String>) -> Self {
        Self { up: true, text: text.into(), advice: String::new() }
    }

    /// It delivers, or could, but something should be done.
    #[must_use]
    pub fn doubtful(text: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { up: true, text: text.into(), advice: advice.into() }
    }

    /// It delivers nothing.
    #[must_use]
    pub fn bad(text: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { up: false, text: text.into(), advice: advice.into() }
    }
}

impl std::fmt::Display for Status {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)?;
        if self.advice.is_empty() { Ok(()) } else { write!(f, ". {}", self.advice) }
    }
}

/// The program no longer listens: the source ends.
#[derive(Debug, thiserror::Error)]
#[error("nobody listens any more")]
pub struct Gone;

/// Where a source puts its batches.
#[derive(Debug, Clone)]
pub struct Outlet {
    source: u8,
    queue: SyncSender<Batch>,
}

/// The queue of all sources.
#[must_use]
pub fn queue() -> (SyncSender<Batch>, Receiver<Batch>) {
    sync_channel(MOST_WAITING)
}

impl Outlet {
    /// The outlet of source `source`.
    #[must_use]
    pub fn new(source: u8, queue: SyncSender<Batch>) -> Self {
        Self { source, queue }
    }

    /// Hands a batch over; waits without blocking the other sources while the queue is full.
    ///
    /// # Errors
    /// [`Gone`] when the program ends.
    pub async fn send(&self, batch: Batch) -> Result<(), Gone> {
        let mut batch = Batch { source: self.source, ..batch };
        loop {
            match self.queue.try_send(batch) {
                Ok(()) => return Ok(()),
                Err(TrySendError::Disconnected(_)) => return Err(Gone),
                Err(TrySendError::Full(back)) => batch = back,
            }
            tokio::time::sleep(RETRY).await;
        }
    }

    /// Hands a batch over from a thread of its own; blocks while the queue is full.
    ///
    /// # Errors
    /// [`Gone`] when the program ends.
    pub fn send_blocking(&self, batch: Batch) -> Result<(), Gone> {
        self.queue.send(Batch { source: self.source, ..batch }).map_err(|_| Gone)
    }

    /// Says how the source is doing.
    ///
    /// # Errors
    /// [`Gone`] when the program ends.
    pub async fn say(&self, status: Status) -> Result<(), Gone> {
        self.send(Batch { status: Some(status), ..Batch::default() }).await
    }
}

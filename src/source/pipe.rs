//! A text log that arrives while it is written: on standard input or from a file. Its lines keep their stamps.

use super::{Batch, Gone, Outlet, Status};
use crate::model::{Body, Stamp};
use crate::source::log::{LogReader, ReadError};
use crate::wire::Interfaces;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Inputs handed over at once.
const MOST_AT_ONCE: usize = 1024;

/// A read that gives less has caught up with whoever writes: the next one waits a little, for fewer wakes.
const FEW: usize = 4096;
const PAUSE: Duration = Duration::from_millis(40);

/// Reads a stream to its end, on a thread of its own. What was read is handed over before a read that may wait.
///
/// # Errors
/// [`Gone`] when the program ends.
pub fn run(name: &str, from: impl Read + Send + 'static, outlet: &Outlet) -> Result<(), Gone> {
    let waiting = Arc::new(Mutex::new(Waiting::default()));
    let tap = Tap { from, waiting: Arc::clone(&waiting), outlet: outlet.clone(), last: usize::MAX };
    drain(name, LogReader::from_reader(name, tap), &waiting, outlet)
}

/// Reads a log file to its end, on a thread of its own.
///
/// # Errors
/// [`Gone`] when the program ends.
pub fn run_file(path: &Path, outlet: &Outlet) -> Result<(), Gone> {
    let waiting = Arc::new(Mutex::new(Waiting::default()));
    let name = path.display().to_string();
    drain(&name, LogReader::open(&[PathBuf::from(path)]), &waiting, outlet)
}

/// What was read and not yet handed over.
#[derive(Debug, Default)]
struct Waiting {
    items: Vec<(Stamp, Body)>,
    names: Interfaces,
    told: usize,
}

impl Waiting {
    fn batch(&mut self) -> Option<Batch> {
        let fresh = self.names.len() > self.told;
        self.told = self.names.len();
        let items = std::mem::take(&mut self.items);
        (fresh || !items.is_empty()).then(|| Batch {
            items,
            names: fresh.then(|| self.names.clone()),
            ..Batch::default()
        })
    }
}

fn take(waiting: &Mutex<Waiting>) -> Option<Batch> {
    waiting.lock().unwrap_or_else(PoisonError::into_inner).batch()
}

fn drain(
    name: &str,
    reader: Result<LogReader, ReadError>,
    waiting: &Mutex<Waiting>,
    outlet: &Outlet,
) -> Result<(), Gone> {
    let name = crate::model::clean(name, 200);
    let failed = |error: ReadError| Status::bad(error.to_string(), String::new());
    let mut last = Status::good(format!("{name}: the input has ended"));
    match reader {
        Err(error) => last = failed(error),
        Ok(mut reader) => loop {
            match reader.next() {
                Ok(Some(input)) => {
                    let mut held = waiting.lock().unwrap_or_else(PoisonError::into_inner);
                    if reader.interfaces().len() > held.names.len() {
                        held.names = reader.interfaces().clone();
                    }
                    held.items.push((input.stamp, input.body));
                    if held.items.len() >= MOST_AT_ONCE
                        && let Some(batch) = held.batch()
                    {
                        drop(held);
                        outlet.send_blocking(batch)?;
                    }
                }
                Ok(None) => break,
                Err(error) => {
                    last = failed(error);
                    break;
                }
            }
        },
    }
    let rest = take(waiting).unwrap_or_default();
    outlet.send_blocking(Batch { status: Some(last), ended: true, ..rest })
}

/// Hands over what was read before each read that may wait.
struct Tap<R> {
    from: R,
    waiting: Arc<Mutex<Waiting>>,
    outlet: Outlet,
    /// Bytes of the last read.
    last: usize,
}

impl<R: Read> Read for Tap<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if let Some(batch) = take(&self.waiting) {
            self.outlet.send_blocking(batch).map_err(|_| io::Error::from(io::ErrorKind::BrokenPipe))?;
        }
        if self.last < FEW {
            std::thread::sleep(PAUSE);
        }
        self.last = self.from.read(buffer)?;
        Ok(self.last)
    }
}

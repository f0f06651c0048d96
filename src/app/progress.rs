//! How far it has come, in percent on the standard error: only on a terminal, at most ten times a second.

use std::io::{IsTerminal, Write, stderr};
use std::time::{Duration, Instant};

/// Between two pictures.
const EVERY: Duration = Duration::from_millis(100);

/// Shows how far it has come.
pub(super) struct Progress {
    /// What is being done, as in 'reading'.
    what: &'static str,
    /// When the next picture is due; none when nobody watches.
    due: Option<Instant>,
    shown: bool,
}

impl Progress {
    /// For something that takes a while; silent unless the standard error is a terminal.
    pub(super) fn new(what: &'static str) -> Self {
        let due = stderr().is_terminal().then(|| now() + EVERY);
        Self { what, due, shown: false }
    }

    /// So much of it is done; `total` is not known for a stream.
    pub(super) fn show(&mut self, done: u64, total: Option<u64>) {
        let Some(due) = self.due else { return };
        let now = now();
        if now < due {
            return;
        }
        self.due = Some(now + EVERY);
        self.shown = true;
        // A terminal that cannot be written to does not matter here.
        let _ = write!(stderr(), "\r{}\x1b[K", line(self.what, done, total));
    }

    /// Leaves the line as it was, for something else to be said.
    pub(super) fn clear(&mut self) {
        if std::mem::take(&mut self.shown) {
            let _ = write!(stderr(), "\r\x1b[K");
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.clear();
    }
}

fn line(what: &str, done: u64, total: Option<u64>) -> String {
    match total.filter(|total| *total > 0) {
        Some(total) => format!("{what}: {} %", done.min(total) * 100 / total),
        None => format!("{what}: {} MB", done / 1_000_000),
    }
}

/// The clock is read to draw no more often than the eye needs; nothing of the data depends on it.
#[allow(clippy::disallowed_methods)]
fn now() -> Instant {
    Instant::now()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percent_by_bytes_and_megabytes_of_a_stream() {
        assert_eq!(line("reading", 500, Some(1000)), "reading: 50 %");
        assert_eq!(line("reading", 2000, Some(1000)), "reading: 100 %", "a log that grows while it is read");
        assert_eq!(line("reading", 7_400_000, None), "reading: 7 MB");
        assert_eq!(line("reading", 0, Some(0)), "reading: 0 MB");
    }
}

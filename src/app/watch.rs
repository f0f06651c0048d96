//! `watch`: live sources into the live driver, with or without a screen.

mod screen;
pub(super) mod sources;

use super::clock::SystemClock;
use super::live::{Live, Said};
use super::{Exit, output};
use crate::config::{WatchArgs, WatchFormat};
use crate::model::{Snapshot, clean};
use crate::report::{self, Report};
use crate::source::{Batch, Clock, Moment};
use crate::store::{RecordError, Recorder};
use anyhow::Context;
use sources::Source;
use std::io::{IsTerminal, Write, stderr, stdout};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

/// How long is waited for a source before time is let pass, ms: the clock is looked at this often at least.
const TURN: Duration = Duration::from_millis(200);

/// Batches taken in one turn: a log that comes as fast as it can must not pile up.
const MOST_AT_ONCE: usize = 32;

/// Watches the sources, or lists what there is.
pub(super) fn watch(args: &WatchArgs) -> anyhow::Result<Exit> {
    if args.sources.is_empty() {
        output::print(&sources::list())?;
        return Ok(Exit::Clear);
    }
    let sources = sources::named(&args.sources, args.ports)?;
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let (recorder, said) = recorder(args)?;
    let stop = stop_on_signals()?;
    let batches = sources::start(&sources, &clock)?;
    let kinds: Vec<_> = sources.iter().map(Source::kind).collect();
    let setup = super::setup::live(args.bank.as_deref(), args.dialect)?;
    let live = Live::new(clock.now(), &kinds, setup.clone(), recorder);
    let mut run = Run { live, batches, clock, stop, ends: None };
    run.ends = args.duration.map(|secs| run.clock.now().steady.saturating_add((secs * 1e9) as i64));
    said.iter().for_each(tell);
    if args.format.is_some() || !stdout().is_terminal() {
        return headless(run, args);
    }
    let recording = args.record.as_deref().filter(|_| run.live.is_recording());
    let mut run = screen::show(run, recording, setup.limits)?;
    run.turn(Duration::ZERO).iter().for_each(tell);
    if let Some(said) = run.live.finish(run.now()) {
        tell(&said);
    }
    screen::last_words(&run);
    Ok(Exit::of(&run.live.snapshot(), args.fail_on.into()))
}

/// A run under way.
pub(super) struct Run {
    pub(super) live: Live,
    batches: Receiver<Batch>,
    clock: Arc<dyn Clock>,
    stop: Arc<AtomicBool>,
    /// Steady time at which it ends by itself.
    ends: Option<i64>,
}

impl Run {
    /// Waits for the sources a little while and takes what they delivered.
    pub(super) fn turn(&mut self, wait: Duration) -> Vec<Said> {
        let first = match self.batches.recv_timeout(wait) {
            Ok(batch) => Some(batch),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => {
                std::thread::sleep(wait);
                None
            }
        };
        let now = self.clock.now();
        let more = self.batches.try_iter().take(MOST_AT_ONCE);
        self.live.turn(now, first.into_iter().chain(more))
    }

    /// Whether it is to end: a signal, the time that was asked for, or the end of every source.
    pub(super) fn is_over(&self) -> bool {
        let timed_out = self.ends.is_some_and(|ends| self.clock.now().steady >= ends);
        timed_out || self.stop.load(Ordering::Relaxed) || self.live.is_over()
    }

    pub(super) fn now(&self) -> Moment {
        self.clock.now()
    }
}

fn headless(mut run: Run, args: &WatchArgs) -> anyhow::Result<Exit> {
    let mut changes = run.live.changes();
    let every = args.every.map(|secs| (secs * 1e9) as i64);
    let mut due = every.map(|every| run.now().steady.saturating_add(every));
    let is_stream = args.format == Some(WatchFormat::Ndjson);
    let mut listening = true;
    while listening && !run.is_over() {
        let mut wait = TURN;
        if let Some(due) = due {
            wait = wait.min(Duration::from_nanos((due - run.now().steady).max(0) as u64));
        }
        run.turn(wait).iter().for_each(tell);
        if !is_stream {
            continue;
        }
        if run.live.changes() != changes {
            changes = run.live.changes();
            listening = line(&run, "change")?;
        }
        if let (Some(at), Some(every)) = (due, every)
            && run.now().steady >= at
        {
            due = Some(at.saturating_add(every).max(run.now().steady));
            listening &= line(&run, "snapshot")?;
        }
    }
    run.turn(Duration::ZERO).iter().for_each(tell);
    if let Some(said) = run.live.finish(run.clock.now()) {
        tell(&said);
    }
    let snapshot = run.live.snapshot();
    if listening {
        end(&run, &snapshot, args.format)?;
    }
    Ok(Exit::of(&snapshot, args.fail_on.into()))
}

fn end(run: &Run, snapshot: &Snapshot, format: Option<WatchFormat>) -> anyhow::Result<()> {
    match format {
        None => output::print(&with_report(run, snapshot, report::text)),
        Some(WatchFormat::Json) => output::print(&with_report(run, snapshot, report::json)),
        Some(WatchFormat::Ndjson) => line(run, "end").map(drop),
    }
}

fn with_report(run: &Run, snapshot: &Snapshot, write: impl Fn(&Report) -> String) -> String {
    let interfaces: Vec<String> = run.live.names().iter().map(Into::into).collect();
    write(&Report { snapshot, first_refused: &[], interfaces: &interfaces })
}

/// Writes one object as a line at once; false when nobody reads any more.
fn line(run: &Run, event: &str) -> anyhow::Result<bool> {
    let text = with_report(run, &run.live.snapshot(), |report| report::line(report, event));
    let mut out = stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(false),
        Err(error) => Err(error).context("cannot write to the standard output"),
    }
}

/// A sentence for the person, on the standard error: the standard output is for data.
pub(super) fn tell(said: &Said) {
    let text = clean(&said.status().to_string(), 2000);
    if !text.is_empty() {
        let _ = writeln!(stderr(), "cellwright: {text}"); // nobody may be listening; the run goes on
    }
}

/// The recorder that was asked for. A file that is there already is wrong usage; a disk that refuses is said, and
/// watching goes on.
fn recorder(args: &WatchArgs) -> anyhow::Result<(Option<Recorder>, Option<Said>)> {
    let Some(path) = &args.record else { return Ok((None, None)) };
    match Recorder::create(path) {
        Ok(recorder) => Ok((Some(recorder), None)),
        Err(error @ RecordError::Create(..)) => {
            let text = format!("{error}; watching goes on without a recording");
            let advice = "Name a place that can be written to, and start again";
            Ok((None, Some(Said::Run(crate::source::Status::bad(text, advice)))))
        }
        Err(error) => Err(error.into()),
    }
}

/// A flag that SIGINT, SIGTERM and SIGHUP raise.
pub(super) fn stop_on_signals() -> anyhow::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&stop)).context("signals cannot be caught")?;
    }
    Ok(stop)
}

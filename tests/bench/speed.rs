//! Speed and memory of the whole program beside python-can and cantools decoding the same frames, in one run.
//!
//! `cargo bench --bench speed` prints; `-- --gate` leaves out the slow and large logs and fails when the ratio or
//! the memory is worse than promised. Needs the Python environment of `.ci/run reference` (or CELLWRIGHT_PYTHON).

mod dbc;
mod logs;
mod picture;

use logs::{PROGRAM, dense, head, log};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

/// Times that this program must be faster than python-can with cantools.
const RATIO: f64 = 25.0;
/// Most memory, whatever the log's length, KiB.
const MOST_KIB: u64 = 64 * 1024;
/// Part of the speed of our own format that a DBC of 300 messages must reach.
const DBC: f64 = 0.8;
/// Frames that both sides decode.
const BOTH: usize = 400_000;

struct Run {
    frames: u64,
    level: String,
    /// From start to exit.
    took: Duration,
    /// On a core, all threads together.
    worked: Duration,
    peak_kib: u64,
}

impl Run {
    /// Frames a second of the least.
    fn rate(&self) -> f64 {
        self.frames as f64 / self.least().as_secs_f64()
    }

    /// From start to exit or on the cores, whichever is less: neighbours lengthen the one, and two threads that share a
    /// core the other.
    fn least(&self) -> Duration {
        self.took.min(self.worked)
    }
}

#[allow(clippy::disallowed_methods)] // a bench measures with a clock
pub(crate) fn now() -> Instant {
    Instant::now()
}

/// `check` of a log: time from start to exit, highest memory, and what it said.
fn check(log: &Path) -> Run {
    check_with(log, None)
}

/// The same, with a bank file.
fn check_with(log: &Path, bank: Option<&Path>) -> Run {
    let out = log.with_extension("json");
    let stdout = fs::File::create(&out).unwrap();
    let start = now();
    let mut child = Command::new(PROGRAM)
        .args(["check", "--format", "json"])
        .arg(log)
        .args(bank.map(|bank| format!("--bank={}", bank.display())))
        .stdin(Stdio::null())
        .stdout(stdout)
        .spawn()
        .unwrap();
    let (mut peak_kib, mut worked) = (0, Duration::ZERO);
    let status = loop {
        peak_kib = peak_kib.max(high_water(child.id()));
        worked = worked.max(on_core(child.id()));
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        std::thread::sleep(Duration::from_millis(1));
    };
    let took = start.elapsed();
    assert!(matches!(status.code(), Some(0 | 1 | 3)), "check failed: {status}");
    let said: serde_json::Value = serde_json::from_slice(&fs::read(out).unwrap()).unwrap();
    let frames = said["input"]["frames"].as_u64().expect("check tells how many frames it read");
    let level = said["verdict"]["level"].as_str().unwrap_or("?").to_owned();
    Run { frames, level, took, worked, peak_kib }
}

/// The fastest of three: neighbours disturb, never help.
fn best(log: &Path) -> Run {
    (0..3).map(|_| check(log)).min_by_key(Run::least).unwrap()
}

fn faster(a: Run, b: Run) -> Run {
    if a.least() <= b.least() { a } else { b }
}

/// Highest resident memory of a process so far, KiB; 0 once it has gone.
fn high_water(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// Time that all threads of a process have spent on a core; zero once it has gone.
pub(crate) fn on_core(process: u32) -> Duration {
    let Ok(threads) = fs::read_dir(format!("/proc/{process}/task")) else { return Duration::ZERO };
    let nanos = threads.flatten().filter_map(|thread| {
        let text = fs::read_to_string(thread.path().join("schedstat")).ok()?;
        text.split_whitespace().next()?.parse::<u64>().ok()
    });
    Duration::from_nanos(nanos.sum())
}

/// The other side: frames and seconds of work of its loop alone, without its start.
fn other_side(log: &Path) -> Result<(u64, f64), String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = std::env::var_os("CELLWRIGHT_PYTHON").map_or(root.join("target/venv/bin/python"), PathBuf::from);
    let script = root.join("tests/bench/other_side.py");
    let done = Command::new(&python).arg(script).arg(log).arg(root.join("fixtures/own-format.dbc")).output();
    let done = done.map_err(|e| format!("{}: {e}; run `bash .ci/run reference` once", python.display()))?;
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    let words: Vec<f64> = said.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    match words[..] {
        [frames, seconds] if done.status.success() => Ok((frames as u64, seconds)),
        _ => Err(format!("the other side failed: {said}{}", String::from_utf8_lossy(&done.stderr))),
    }
}

/// Both sides turn by turn, the fastest of each: this program's run, and the frames a second of the other side.
fn beside_the_other_side(log: &Path) -> Result<(Run, f64), String> {
    let mut ours = check(log);
    let mut theirs = 0.0f64;
    for _ in 0..3 {
        let (frames, seconds) = other_side(log)?;
        theirs = theirs.max(frames as f64 / seconds);
        ours = (0..4).map(|_| check(log)).fold(ours, faster);
    }
    Ok((ours, theirs))
}

fn show(what: &str, log: &Path, run: &Run) {
    let megabytes = fs::metadata(log).unwrap().len() as f64 / 1e6;
    println!(
        "{what:<34} {:>9} frames {megabytes:>7.0} MB {:>8.3} s: {:>6.2} M frames/s; {:>7.3} s of work: {:>6.2} M \
         frames/s {:>6.1} MB peak, {}",
        run.frames,
        run.took.as_secs_f64(),
        run.frames as f64 / run.took.as_secs_f64() / 1e6,
        run.worked.as_secs_f64(),
        run.frames as f64 / run.worked.as_secs_f64() / 1e6,
        run.peak_kib as f64 / 1024.0,
        run.level
    );
}

fn main() -> ExitCode {
    let gate = std::env::args().any(|word| word == "--gate");
    let mut failed = Vec::new();
    let mut peak = 0;

    let day = dense("0.5");
    let run = best(&day);
    show("half a day, four packs, every 0.1 s", &day, &run);
    let per_second = run.frames as f64 / 43_200.0;
    println!("{:<34} {per_second:>9.0} frames a second of the log", "");
    assert!(per_second >= 100.0, "the log is thinner than 100 frames/s: {per_second}");
    peak = peak.max(run.peak_kib);

    let (both, _) = head(&day, BOTH);
    match beside_the_other_side(&both) {
        Ok((ours, theirs)) => {
            show("the same frames, this program", &both, &ours);
            let ratio = ours.rate() / theirs;
            println!(
                "{:<34} {:>9} frames {:>24} {:.3} M frames/s",
                "python-can + cantools",
                ours.frames,
                "",
                theirs / 1e6
            );
            println!("{:<34} {ratio:>9.0} times faster (promised: {RATIO})", "");
            if ratio < RATIO {
                failed.push(format!("{ratio:.1} times faster than python-can + cantools, promised {RATIO}"));
            }
        }
        Err(why) => failed.push(why),
    }

    let (own, dbc) = dbc::rates();
    let part = dbc / own;
    println!(
        "decoding through a DBC of 300 messages {:.1} M frames/s, our own format {:.1}: {part:.2} of it (promised: {DBC})",
        dbc / 1e6,
        own / 1e6
    );
    if part < DBC {
        failed.push(format!("a DBC has {part:.2} of the speed of our own format, promised {DBC}"));
    }

    let (foreign, bank) = dbc::foreign("0.5");
    let turns = (0..3).map(|_| (check(&day), check_with(&foreign, Some(&bank))));
    let (own, through) = turns.reduce(|a, b| (faster(a.0, b.0), faster(a.1, b.1))).expect("three turns");
    show("the same frames through that DBC", &foreign, &through);
    let part = through.rate() / own.rate();
    println!("`check` through the DBC: {part:.2} of the speed of our own format (promised: {DBC})");
    assert_eq!(through.frames, own.frames, "the same frames");
    if part < DBC {
        failed.push(format!("`check` through a DBC has {part:.2} of the speed of our own format, promised {DBC}"));
    }

    let year = log("365", "60");
    let run = best(&year);
    show("a year, a set a minute", &year, &run);
    peak = peak.max(run.peak_kib);

    let mut shown = day;
    if !gate {
        let large = dense("2");
        let run = check(&large);
        show("a large log", &large, &run);
        peak = peak.max(run.peak_kib);
        shown = large;
    }
    for arguments in [vec!["demo"], vec!["replay", shown.to_str().unwrap()]] {
        let what = format!("first picture of `{}`", arguments[0]);
        match picture::first_picture(&arguments) {
            Ok(took) => println!("{what:<34} {:>9.0} ms", took.as_secs_f64() * 1e3),
            Err(why) => println!("{what:<34} none: {why}"),
        }
    }
    if peak > MOST_KIB {
        failed.push(format!("{:.1} MB of memory, promised 64", peak as f64 / 1024.0));
    }
    for why in &failed {
        println!("WORSE THAN PROMISED: {why}");
    }
    if failed.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

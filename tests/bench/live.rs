//! What listening costs: processor time and memory of `watch` at 100 and 4 000 frames/s, on a pseudo-terminal and
//! through a pipe. Prints what it measures; fails only when a frame is lost or memory grows.
//!
//! `cargo bench --bench live`

#![allow(clippy::disallowed_methods)] // the sender keeps its pace by the clock

#[allow(dead_code, reason = "the stories use the rest")]
#[path = "../live/aids.rs"]
mod aids;

use aids::{Adapter, Watch, cpu_seconds, frames, log, records};
use std::fs;
use std::io::Write;
use std::process::Stdio;
use std::time::{Duration, Instant};

fn main() {
    for (per_second, secs) in [(100_usize, 20_usize), (4000, 20)] {
        serial(per_second, secs);
        pipe(per_second, secs);
    }
    memory();
}

/// Calls `send` with the number of frames that are due, so many a second.
fn pace(per_second: usize, secs: usize, mut send: impl FnMut(usize)) {
    let (start, mut sent) = (Instant::now(), 0);
    while sent < per_second * secs {
        let due = ((start.elapsed().as_secs_f64() * per_second as f64) as usize).min(per_second * secs);
        if due > sent {
            send(due - sent);
            sent = due;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn told(watch: &mut Watch, what: &str, expected: usize, before: f64, start: Instant) {
    let (used, passed) = (cpu_seconds(watch.child.id()) - before, start.elapsed().as_secs_f64());
    watch.stop();
    let said: serde_json::Value = serde_json::from_str(&watch.out()).expect("one document");
    let frames = said["input"]["frames"].as_u64().unwrap();
    println!("{what}: {:.2} % of a core, {frames} of {expected} frames", used / passed * 100.0);
    assert_eq!(frames, expected as u64, "frames were lost");
}

fn serial(per_second: usize, secs: usize) {
    let mut adapter = Adapter::plug_in();
    let port = adapter.port.to_str().unwrap().to_owned();
    let mut watch = Watch::start(&[&port, "--baud", "115200", "--format", "json"]);
    watch.wait_for("open, waiting");
    adapter.send(&[0]);
    let mut source = frames();
    let (before, start) = (cpu_seconds(watch.child.id()), Instant::now());
    pace(per_second, secs, |count| adapter.send(&records(source.by_ref().take(count))));
    told(&mut watch, &format!("serial, {per_second} frames/s"), per_second * secs, before, start);
}

fn pipe(per_second: usize, secs: usize) {
    let text = log(per_second * secs, per_second as f64);
    let mut lines = text.split_inclusive(|byte| *byte == b'\n');
    let dir = tempfile::tempdir().unwrap();
    let mut watch = Watch::start_in(dir, &["-", "--format", "json"], Stdio::piped(), &[]);
    let mut stdin = watch.child.stdin.take().unwrap();
    let (before, start) = (cpu_seconds(watch.child.id()), Instant::now());
    pace(per_second, secs, |count| stdin.write_all(&lines.by_ref().take(count).collect::<Vec<_>>().concat()).unwrap());
    told(&mut watch, &format!("pipe, {per_second} frames/s"), per_second * secs, before, start);
}

/// A million frames through a pipe, recorded, as fast as they are taken.
fn memory() {
    let dir = tempfile::tempdir().unwrap();
    let mut watch = Watch::start_in(dir, &["-", "--format", "json", "--record", "r.log"], Stdio::piped(), &[]);
    let mut stdin = watch.child.stdin.take().unwrap();
    let text = log(1_000_000, 100.0);
    let (mut early, start) = (0, Instant::now());
    for (number, piece) in text.chunks(text.len() / 10).enumerate() {
        stdin.write_all(piece).unwrap();
        if number == 1 {
            early = resident_kib(watch.child.id());
        }
    }
    let late = resident_kib(watch.child.id());
    let took = start.elapsed().as_secs_f64();
    drop(stdin);
    watch.ended();
    println!("memory after 200 000 frames {early} KiB, after a million {late} KiB, in {took:.1} s");
    assert!(late < early + 8 * 1024, "memory grows");
}

fn resident_kib(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

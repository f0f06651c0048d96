use crate::aids::{Watch, check, log, signal};
use rustix::process::Signal;
use std::fs;
use std::io::Write;
use std::process::Stdio;
use std::time::{Duration, Instant};

/// Killed at any moment: whole lines but for the last, and no more than five seconds of them missing.
#[test]
fn killed_at_forty_moments_a_recording_lacks_less_than_five_seconds() {
    let mut runs = Vec::new();
    for number in 0..40_u64 {
        let dir = tempfile::tempdir().unwrap();
        let mut watch = Watch::start_in(dir, &["-", "--format", "json", "--record", "r.log"], Stdio::piped(), &[]);
        let stdin = watch.child.stdin.take().unwrap();
        let lives = Duration::from_millis(1500 + (number * 7919) % 3000);
        runs.push((watch, stdin, lives, 0_usize));
    }
    let text = log(1000, 100.0);
    let lines: Vec<&[u8]> = text.split_inclusive(|byte| *byte == b'\n').collect();
    let start = Instant::now();
    for ten in lines.chunks(10) {
        for (watch, stdin, lives, sent) in &mut runs {
            if start.elapsed() < *lives {
                let _ = stdin.write_all(&ten.concat());
                *sent += ten.len();
            } else if watch.child.try_wait().unwrap().is_none() {
                signal(watch.child.id(), Signal::KILL);
                watch.child.wait().unwrap();
            }
        }
        std::thread::sleep(Duration::from_millis(100));
        if start.elapsed() > Duration::from_secs(6) {
            break;
        }
    }
    for (watch, _, _, sent) in &runs {
        let record = watch.dir.path().join("r.log");
        let kept = fs::read_to_string(&record).unwrap();
        let whole = kept.matches('\n').count();
        assert!(sent - whole <= 500, "{sent} sent, {whole} kept: more than five seconds are missing");
        if whole > 0 {
            let said: serde_json::Value = serde_json::from_slice(&check(&record).stdout).unwrap();
            assert_eq!(said["input"]["frames"], whole);
        }
    }
}

#[test]
fn a_file_that_is_there_is_never_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("r.log"), "precious").unwrap();
    let mut watch = Watch::start_in(dir, &["-", "--record", "r.log"], Stdio::null(), &[]);
    assert_eq!(watch.ended(), 2);
    assert!(watch.said().contains("is there already and is not overwritten"), "{}", watch.said());
    assert_eq!(fs::read_to_string(watch.dir.path().join("r.log")).unwrap(), "precious");
}

#[test]
fn a_place_that_cannot_be_written_is_said_and_watching_goes_on() {
    let mut watch = Watch::start(&["-", "--format", "json", "--record", "/proc/no/r.log"]);
    assert_eq!(watch.ended(), 3, "the input was empty");
    assert!(watch.said().contains("watching goes on without a recording"), "{}", watch.said());
}

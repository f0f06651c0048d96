use crate::aids::{Watch, check, log};
use std::fs;
use std::io::Write;
use std::process::Stdio;
use std::time::Duration;

fn start(words: &[&str]) -> (Watch, std::process::ChildStdin) {
    let dir = tempfile::tempdir().unwrap();
    let mut watch = Watch::start_in(dir, words, Stdio::piped(), &[]);
    let stdin = watch.child.stdin.take().unwrap();
    (watch, stdin)
}

/// The log, what came through the pipe, and the recording of that: one finding of all three.
#[test]
fn a_piped_log_equals_its_recording_and_the_log_itself() {
    let mut text = log(20_000, 50.0);
    text.extend_from_slice(b"no line at all\n(1769836100.000000000) can0 12#\n");
    text.extend(log(300, 10.0)); // the clock goes back here
    let (mut watch, mut stdin) = start(&["-", "--format", "json", "--record", "r.log"]);
    for piece in text.chunks(4999) {
        stdin.write_all(piece).unwrap();
    }
    drop(stdin);
    let code = watch.ended();
    let said = watch.equals_its_recording(code);
    assert_eq!(said["input"]["frames"], 20_300);
    let original = watch.dir.path().join("original.log");
    fs::write(&original, &text).unwrap();
    let mut direct: serde_json::Value = serde_json::from_slice(&check(&original).stdout).unwrap();
    direct["input"]["rejected_first"] = serde_json::json!({}); // of the file that was read, which the pipe is not
    assert_eq!(said, direct);
}

/// The frames are those of the marine standard: a check that did not know what was forced would read them.
#[test]
fn a_dialect_that_was_forced_is_in_the_recording() {
    let (mut watch, mut stdin) = start(&["-", "--dialect", "rv-c", "--format", "json", "--record", "r.log"]);
    for second in 0..60 {
        writeln!(stdin, "(17698356{second:02}.000000) can0 19F21401#0001053200FFFFFF").unwrap();
    }
    drop(stdin);
    let code = watch.ended();
    let said = watch.equals_its_recording(code);
    assert_eq!(said["input"]["buses"][0]["dialects"], serde_json::json!(["rv-c"]));
    assert_eq!(said["verdict"]["level"], "not-known");
}

#[test]
fn what_is_written_while_it_runs_is_seen_at_once() {
    let (mut watch, mut stdin) = start(&["-", "--format", "ndjson", "--every", "500ms"]);
    assert_eq!(watch.ended(), 2, "a wrong duration is wrong usage");
    assert!(watch.said().contains("expected a time such as"), "{}", watch.said());
    let _ = stdin.flush();
    (watch, stdin) = start(&["-", "--format", "ndjson", "--every", "0.3"]);
    for piece in log(400, 20.0).chunks(1000) {
        stdin.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(50));
    }
    crate::aids::wait("a snapshot", || watch.out().lines().count() >= 2, || watch.said());
    let code = watch.stop();
    let out = watch.out();
    let lines: Vec<serde_json::Value> = out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert!(lines.iter().all(|line| line["schema"] == 1 && line["verdict"]["level"].is_string()));
    assert!(lines.iter().any(|line| line["event"] == "snapshot"));
    let last = lines.last().unwrap();
    assert_eq!((&last["event"], &last["input"]["frames"]), (&"end".into(), &400.into()));
    assert!((0..=3).contains(&code));
}

#[test]
fn a_reader_that_goes_away_ends_the_run_quietly() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("a.log"), log(400, 20.0)).unwrap();
    let line = r#"(cat a.log; sleep 3) | "$0" watch - --format ndjson --every 0.2 2>said | head -n 1; echo "${PIPESTATUS[1]}""#;
    let program = env!("CARGO_BIN_EXE_cellwright");
    let ran = std::process::Command::new("bash").args(["-c", line, program]).current_dir(dir.path()).output().unwrap();
    let out = String::from_utf8(ran.stdout).unwrap();
    let (object, code) = out.trim_end().rsplit_once('\n').expect("an object and the exit code");
    assert!(serde_json::from_str::<serde_json::Value>(object).is_ok(), "{out}");
    assert!(["0", "1", "3"].contains(&code), "{out}");
    assert_eq!(fs::read_to_string(dir.path().join("said")).unwrap(), "", "nothing to complain of");
}

#[test]
fn a_run_ends_by_itself_after_the_time_that_was_asked_for() {
    let (mut watch, stdin) = start(&["-", "--format", "json", "--for", "1"]);
    assert_eq!(watch.ended(), 3, "nothing is known");
    drop(stdin);
    let said: serde_json::Value = serde_json::from_str(&watch.out()).unwrap();
    assert_eq!(said["verdict"]["level"], "not-known");
}

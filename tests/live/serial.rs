use crate::aids::{Adapter, Watch, cpu_seconds, frames, records, wait};
use cellwright::model::{Body, Stamp};
use cellwright::source::{Batch, Clock, Moment, Outlet, queue, serial};
use std::fs;
use std::os::unix::fs::symlink;
use std::sync::Arc;
use std::time::Duration;

fn start(adapter: &Adapter, more: &[&str]) -> Watch {
    let port = adapter.port.to_str().unwrap().to_owned();
    let mut words = vec![port.as_str(), "--format", "json", "--record", "r.log"];
    words.extend(more);
    let watch = Watch::start(&words);
    watch.wait_for("open, waiting for the first record");
    watch
}

/// Cut anywhere, with garbage between.
#[test]
fn what_came_over_a_serial_line_equals_its_recording() {
    let mut adapter = Adapter::plug_in();
    let mut watch = start(&adapter, &["--baud", "115200"]);
    adapter.send(&[0]);
    let bytes = records(frames().take(600));
    for (number, piece) in bytes.chunks(37).enumerate() {
        adapter.send(piece);
        if number == 40 {
            adapter.send(&[0, 7, 7, 7, 0, 0xFF, 0]);
        }
        std::thread::sleep(Duration::from_millis(4));
    }
    watch.wait_for("listening at 115200 bit/s");
    watch.wait_for_lines(598);
    let code = watch.stop();
    let said = watch.equals_its_recording(code);
    let frames = said["input"]["frames"].as_u64().unwrap();
    assert!((598..=600).contains(&frames), "the garbage costs the record that it fell into: {frames}");
    assert!(said["input"]["decoded"].as_u64().unwrap() > 590);
    assert!(said["input"]["rejected"].as_object().is_some_and(|all| !all.is_empty()));
    assert_eq!(adapter.heard(), b"", "nothing was ever written to the port");
}

#[test]
fn the_rate_is_found_by_listening_and_a_wrong_one_is_said() {
    let mut adapter = Adapter::plug_in();
    let mut watch = start(&adapter, &[]);
    let good = records(frames().take(20));
    let speak = |adapter: &mut Adapter, rate: u32| {
        // At another rate bits fall together into other bytes.
        let garbage: Vec<u8> = good.iter().map(|byte| byte.rotate_left(3) | 0x81).collect();
        let heard = rate == 38_400;
        adapter.send(if heard { &good } else { &garbage });
    };
    for _ in 0..200 {
        let rate = rate(&watch.said());
        speak(&mut adapter, rate);
        std::thread::sleep(Duration::from_millis(40));
        if watch.said().contains("listening at 38400 bit/s") {
            break;
        }
    }
    watch.wait_for("listening at 38400 bit/s");
    let code = watch.stop();
    let said = watch.equals_its_recording(code);
    assert!(said["input"]["frames"].as_u64().unwrap() > 0);

    let mut fixed = start(&adapter, &["--baud", "9600"]);
    for _ in 0..10 {
        speak(&mut adapter, 9600);
        std::thread::sleep(Duration::from_millis(40));
    }
    fixed.wait_for("wrong rate or another protocol. Leave out --baud to have the rate found by listening");
    fixed.stop();
}

/// The rate that the listener tries next, from what it says last.
fn rate(said: &str) -> u32 {
    let tried = said.lines().filter_map(|line| line.split("bytes arrive at ").nth(1)?.split(' ').next()?.parse().ok());
    let last: Option<u32> = tried.reduce(|_, later| later);
    let next = last.and_then(|last| serial::RATES.iter().position(|rate| *rate == last)).map_or(0, |at| at + 1);
    serial::RATES[next % serial::RATES.len()]
}

#[test]
fn a_hang_up_is_said_and_costs_nothing() {
    let mut adapter = Adapter::plug_in();
    let mut watch = start(&adapter, &["--baud", "115200"]);
    adapter.send(&records(frames().take(5)));
    std::thread::sleep(Duration::from_millis(300));
    drop(adapter);
    watch.wait_for("the port is gone");
    let before = cpu_seconds(watch.child.id());
    std::thread::sleep(Duration::from_secs(2));
    let used = cpu_seconds(watch.child.id()) - before;
    assert!(used < 0.2, "{used} s of processor in 2 s of nothing");
    let code = watch.stop();
    watch.equals_its_recording(code);
}

#[test]
fn a_port_in_use_a_missing_one_and_none_at_all_have_their_own_sentences() {
    let adapter = Adapter::plug_in();
    let mut first = start(&adapter, &["--baud", "115200"]);
    let port = adapter.port.to_str().unwrap().to_owned();
    let mut second = Watch::start(&[&port, "--format", "json"]);
    second.wait_for("another program has this port");
    second.stop();
    first.stop();
    let mut missing = Watch::start(&["/dev/ttyUSB77", "--format", "json"]);
    missing.wait_for("there is no such port. Plug the adapter in");
    assert_eq!(missing.stop(), 3, "nothing is known");
    let mut wrong = Watch::start(&["/dev/null", "--format", "json"]);
    wrong.wait_for("this is no serial port");
    wrong.stop();
}

struct Tick;

impl Clock for Tick {
    fn now(&self) -> Moment {
        Moment { wall: Stamp::from_secs(1_769_835_600), steady: 0, awake: 0 }
    }
}

/// Each time the kernel gives another name; the adapter's own name leads there.
#[test]
fn an_adapter_is_unplugged_and_replugged_a_hundred_times() {
    let dir = tempfile::tempdir().unwrap();
    let names = dir.path().join("by-id");
    fs::create_dir(&names).unwrap();
    let link = names.join("usb-adapter");
    let (sender, batches) = queue();
    let outlet = Outlet::new(0, sender);
    let options = serial::Options { path: link.clone(), rate: Some(115_200), names: dir.path().to_path_buf() };
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let _ = runtime.block_on(serial::run(options, outlet, Arc::new(Tick)));
    });
    let (mut frames_heard, mut ups, mut downs) = (0, 0, 0);
    let one = records(frames().take(1));
    for round in 0..100 {
        let mut adapter = Adapter::plug_in();
        let _ = fs::remove_file(&link);
        symlink(&adapter.port, &link).unwrap();
        let (seen_frames, seen_downs) = (frames_heard, downs);
        let mut take = |batch: Batch| {
            for (_, body) in batch.items {
                match body {
                    Body::Frame(_) => frames_heard += 1,
                    Body::Link { up: true, .. } => ups += 1,
                    Body::Link { up: false, .. } if round > 0 || ups > 0 => downs += 1,
                    _ => {}
                }
            }
            (frames_heard, ups, downs)
        };
        let mut state = (seen_frames, 0, seen_downs);
        while state.1 <= round {
            state = take(batches.recv_timeout(Duration::from_secs(20)).expect("the port is opened"));
        }
        while state.0 == seen_frames {
            adapter.send(&[0]);
            adapter.send(&one);
            if let Ok(batch) = batches.recv_timeout(Duration::from_millis(200)) {
                state = take(batch);
            }
        }
        fs::remove_file(&link).unwrap();
        drop(adapter);
        while state.2 == seen_downs {
            state = take(batches.recv_timeout(Duration::from_secs(20)).expect("the hang-up is told"));
        }
    }
    assert_eq!((ups, downs), (100, 100));
}

#[test]
fn text_on_the_line_is_told_from_a_wrong_rate() {
    let mut adapter = Adapter::plug_in();
    let mut watch = start(&adapter, &["--baud", "115200"]);
    adapter.send(&b"AT+GCAP\r\n".repeat(60));
    wait("text", || watch.said().contains("text arrives at 115200 bit/s"), || watch.said());
    watch.stop();
}

//! Serial-line CAN adapters that behave, misbehave or are none: an adapter is opened to listen only, or not at all.

use crate::aids::{Adapter, Watch, frames};
use cellwright::model::{Frame, Id};
use cellwright::wire::serial_can::{SetUp, Speed};
use std::io::Read;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// What the adapter is told, one command after another.
fn commands(adapter: &Adapter) -> Receiver<Vec<u8>> {
    let mut reader = adapter.reader();
    let (sender, commands) = channel();
    std::thread::spawn(move || {
        let (mut command, mut byte) = (Vec::new(), [0]);
        loop {
            if !reader.read(&mut byte).is_ok_and(|count| count == 1) {
                std::thread::sleep(Duration::from_millis(2)); // nobody has opened the port yet
                continue;
            }
            command.push(byte[0]);
            if byte[0] == b'\r' && sender.send(std::mem::take(&mut command)).is_err() {
                return;
            }
        }
    });
    commands
}

/// Every command that may be written at all.
fn is_listed(command: &[u8]) -> bool {
    let mut listed = vec![SetUp::Close, SetUp::Stamp, SetUp::Listen];
    listed.extend(Speed::ALL.iter().map(|speed| SetUp::Speed(*speed)));
    listed.iter().any(|each| each.bytes() == command)
}

fn start(adapter: &Adapter, more: &[&str]) -> Watch {
    let port = adapter.port.to_str().unwrap().to_owned();
    let mut words = vec![port.as_str(), "--adapter", "--format", "json", "--record", "r.log"];
    words.extend(more);
    Watch::start(&words)
}

/// A line of the protocol with a stamp.
fn line(frame: &Frame, millis: usize) -> String {
    let Id::Extended(id) = frame.id else { panic!("our own frames have 29 bits") };
    let data: String = frame.data().iter().map(|byte| format!("{byte:02X}")).collect();
    format!("T{id:08X}{}{data}{:04X}\r", frame.len(), millis % 60_000)
}

/// Answers every command until the adapter is listening at the right speed; what it was told.
fn set_up(adapter: &mut Adapter, commands: &Receiver<Vec<u8>>, speed: &[u8]) -> Vec<Vec<u8>> {
    let mut told: Vec<Vec<u8>> = Vec::new();
    loop {
        let command = commands.recv_timeout(Duration::from_secs(20)).expect("a command");
        adapter.send(b"\r");
        told.push(command);
        if let [.., before, last] = told.as_slice()
            && last == b"L\r"
            && before == speed
        {
            return told;
        }
    }
}

#[test]
fn an_adapter_is_set_up_from_the_list_and_what_it_hears_equals_its_recording() {
    let mut adapter = Adapter::plug_in();
    let commands = commands(&adapter);
    let mut watch = start(&adapter, &["--can-speed", "500"]);
    let told = set_up(&mut adapter, &commands, b"S6\r");
    assert_eq!(told, [b"Z1\r".to_vec(), b"C\r".to_vec(), b"Z1\r".to_vec(), b"S6\r".to_vec(), b"L\r".to_vec()]);
    watch.wait_for("listening only, 500 kbit/s");
    let mut bytes = Vec::new();
    for (number, frame) in frames().take(400).enumerate() {
        bytes.extend(line(&frame, 59_000 + number * 5).bytes());
        if number == 100 {
            bytes.extend(b"T18FF\rsw130000\re1s\rhello\r\x07");
        }
    }
    for piece in bytes.chunks(61) {
        adapter.send(piece);
        std::thread::sleep(Duration::from_millis(3));
    }
    let code = watch.stop();
    let said = watch.equals_its_recording(code);
    let input = &said["input"];
    assert_eq!((input["frames"].as_u64(), input["error_frames"].as_u64()), (Some(400), Some(1)), "{input}");
    let rejected = input["rejected"].as_object().unwrap();
    assert_eq!((rejected["bad_length"].as_u64(), rejected["unsupported"].as_u64()), (Some(1), Some(1)), "{input}");
    let more: Vec<_> = commands.try_iter().collect();
    assert_eq!(more, [] as [Vec<u8>; 0], "nothing is written once it listens");
}

#[test]
fn the_speed_is_found_by_listening_alone() {
    let mut adapter = Adapter::plug_in();
    let commands = commands(&adapter);
    let mut watch = start(&adapter, &[]);
    // At every other speed the adapter hears only broken bits, and says so or nothing.
    let mut told = set_up(&mut adapter, &commands, b"S5\r");
    adapter.send(b"e1f\re1s\r");
    told.extend(set_up(&mut adapter, &commands, b"S6\r"));
    told.extend(set_up(&mut adapter, &commands, b"S4\r"));
    for (number, frame) in frames().take(50).enumerate() {
        adapter.send(line(&frame, number).as_bytes());
        std::thread::sleep(Duration::from_millis(5));
    }
    watch.wait_for("no frames at 500 kbit/s, trying the next speed");
    watch.wait_for("listening only, 125 kbit/s");
    assert!(told.iter().all(|command| is_listed(command)), "{told:?}");
    let code = watch.stop();
    watch.equals_its_recording(code);
}

#[test]
fn an_adapter_that_will_not_listen_only_is_not_opened() {
    let mut adapter = Adapter::plug_in();
    let commands = commands(&adapter);
    let mut watch = start(&adapter, &["--can-speed", "250"]);
    let mut told = Vec::new();
    while !watch.said().contains("refuses to listen only; it is not opened") {
        let command = commands.recv_timeout(Duration::from_secs(20)).expect("it is tried");
        adapter.send(if command == b"L\r" { b"\x07" } else { b"\r" });
        told.push(command);
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(told.contains(&b"L\r".to_vec()) && told.iter().all(|command| is_listed(command)), "{told:?}");
    assert_eq!(watch.stop(), 3, "nothing is known");
}

/// A survey takes the same words as a watch, tells the adapter no more, and says how the adapter is doing.
#[test]
fn a_survey_listens_through_an_adapter_as_a_watch_does() {
    let mut adapter = Adapter::plug_in();
    let commands = commands(&adapter);
    let port = adapter.port.to_str().unwrap().to_owned();
    let words = [&port, "--adapter", "--can-speed", "500", "--for", "1h", "--format", "json"];
    let mut survey = Watch::survey(&words);
    let told = set_up(&mut adapter, &commands, b"S6\r");
    assert!(told.iter().all(|command| is_listed(command)), "{told:?}");
    survey.wait_for("listening only, 500 kbit/s");
    for (number, frame) in frames().take(200).enumerate() {
        adapter.send(line(&frame, number * 5).as_bytes());
        std::thread::sleep(Duration::from_millis(2));
    }
    assert_eq!(survey.stop(), 3, "so short a time says nothing: {}", survey.said());
    let found: serde_json::Value = serde_json::from_str(&survey.out()).expect("a document");
    assert_eq!(found["frames"], 200, "{found}");
    let more: Vec<_> = commands.try_iter().collect();
    assert_eq!(more, [] as [Vec<u8>; 0], "nothing is written once it listens");
}

#[test]
fn what_is_no_adapter_has_its_own_sentence() {
    let silent = Adapter::plug_in();
    let commands = commands(&silent);
    let mut watch = start(&silent, &["--can-speed", "250"]);
    watch.wait_for("nothing answers; a serial-line CAN adapter would");
    let told: Vec<_> = commands.try_iter().collect();
    assert!(told.iter().all(|command| is_listed(command)), "{told:?}");
    watch.stop();
    drop(silent);

    let mut garbage = Adapter::plug_in();
    let mut watch = start(&garbage, &["--can-speed", "250"]);
    for _ in 0..400 {
        garbage.send(b"\xF0\x00login:\x9Fmore");
        std::thread::sleep(Duration::from_millis(10));
        if watch.said().contains("serial-line CAN adapter") {
            break;
        }
    }
    watch.wait_for("serial-line CAN adapter");
    watch.stop();
}

#[test]
fn a_pulled_adapter_is_said_to_be_gone() {
    let mut adapter = Adapter::plug_in();
    let mut watch = start(&adapter, &["--can-speed", "250"]);
    while !watch.said().contains("listening only, 250 kbit/s") {
        adapter.send(b"\r");
        std::thread::sleep(Duration::from_millis(20));
    }
    drop(adapter);
    watch.wait_for("the port is gone");
    let code = watch.stop();
    watch.equals_its_recording(code);
}

//! The live screen in a terminal of its own.

use crate::aids::{Adapter, check, frames, records};
use portable_pty::{CommandBuilder, PtySize, native_pty_system};
use std::fs;
use std::io::{Read, Write};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

struct Terminal {
    screen: Arc<Mutex<vt100::Parser>>,
    keys: Box<dyn Write + Send>,
    child: Box<dyn portable_pty::Child + Send + Sync>,
    _master: Box<dyn portable_pty::MasterPty + Send>,
}

impl Terminal {
    fn run(dir: &std::path::Path, words: &[&str]) -> Self {
        let size = PtySize { rows: 30, cols: 120, ..PtySize::default() };
        let pair = native_pty_system().openpty(size).unwrap();
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_cellwright"));
        command.args(words);
        command.cwd(dir);
        command.env("TERM", "xterm-256color");
        command.env("LC_ALL", "C.UTF-8");
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let screen = Arc::new(Mutex::new(vt100::Parser::new(30, 120, 0)));
        let (mut reader, drawn) = (pair.master.try_clone_reader().unwrap(), Arc::clone(&screen));
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut buffer) {
                drawn.lock().unwrap().process(&buffer[..count]);
            }
        });
        Self { screen, keys: pair.master.take_writer().unwrap(), child, _master: pair.master }
    }

    fn shows(&self, words: &str) {
        let start = Instant::now();
        let text = || self.screen.lock().unwrap().screen().contents();
        while !text().contains(words) {
            assert!(start.elapsed() < Duration::from_secs(20), "'{words}' is never shown:\n{}", text());
            std::thread::sleep(Duration::from_millis(30));
        }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
    }
}

#[test]
fn a_bank_is_watched_noted_and_recorded_from_the_keys() {
    let dir = tempfile::tempdir().unwrap();
    let mut adapter = Adapter::plug_in();
    let port = adapter.port.to_str().unwrap().to_owned();
    let mut terminal = Terminal::run(dir.path(), &["watch", &port, "--baud", "115200"]);
    terminal.shows("open, waiting for the first record");
    terminal.shows("live, not recorded");
    adapter.send(&[0]);
    let mut source = frames();
    let bank = records(source.by_ref().take(120));
    adapter.send(&bank);
    terminal.shows("listening at 115200 bit/s");
    terminal.shows("V");
    terminal.press(" ");
    terminal.shows("This is live: there is nothing to play");
    terminal.press("r");
    terminal.shows("recorded in cellwright-");
    terminal.press("m");
    terminal.press("shore plugged in");
    terminal.shows("note: shore plugged in_");
    terminal.press("\r");
    adapter.send(&records(source.take(120)));
    terminal.press("d");
    terminal.shows("note: shore plugged in");
    terminal.press("q");
    let ended = terminal.child.wait().unwrap();
    assert!([0, 1, 3].contains(&ended.exit_code()), "{ended:?}");
    let recorded = fs::read_dir(dir.path()).unwrap().flatten().map(|entry| entry.path()).next().expect("a recording");
    let said: serde_json::Value = serde_json::from_slice(&check(&recorded).stdout).unwrap();
    assert_eq!(said["notes"][0]["text"], "shore plugged in");
    assert!(said["input"]["frames"].as_u64().unwrap() > 0);
}

#[test]
fn an_unplugged_adapter_is_seen_at_once_and_its_finding_can_be_marked_as_seen() {
    let dir = tempfile::tempdir().unwrap();
    let mut adapter = Adapter::plug_in();
    let port = adapter.port.to_str().unwrap().to_owned();
    let mut terminal = Terminal::run(dir.path(), &["watch", &port, "--baud", "115200", "--record", "r.log"]);
    terminal.shows("open, waiting for the first record");
    adapter.send(&[0]);
    adapter.send(&records(frames().take(60)));
    terminal.shows("listening at 115200 bit/s");
    drop(adapter);
    terminal.shows("the port is gone");
    terminal.shows("link down");
    terminal.press("a");
    terminal.shows("stale-data");
    terminal.press("x");
    std::thread::sleep(Duration::from_millis(700));
    terminal.press("q");
    terminal.child.wait().unwrap();
    let said: serde_json::Value = serde_json::from_slice(&check(&dir.path().join("r.log")).stdout).unwrap();
    let findings = said["findings"].as_array().unwrap();
    assert!(findings.iter().any(|finding| finding["acknowledged"] == true), "{findings:?}");
}

//! A bank to listen to, a serial adapter that can be unplugged, and the program.

use cellwright::model::{Body, Frame, Input, Stamp};
use cellwright::sim::{Options, Simulation};
use cellwright::wire::{Interfaces, envelope, textlog};
use portable_pty::{MasterPty, PtySize, native_pty_system};
use rustix::process::{Pid, Signal, kill_process};
use std::fs;
use std::io::{Read, Write};
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Frames of an invented bank, round and round.
pub(crate) fn frames() -> impl Iterator<Item = Frame> {
    let once: Vec<Frame> = Simulation::new("cold-morning", Options { days: Some(0.02), ..Options::default() })
        .expect("a scenario")
        .filter_map(|input| if let Body::Frame(frame) = input.body { Some(frame) } else { None })
        .collect();
    once.into_iter().cycle()
}

/// A log of the same bank, so many frames, so many a second.
pub(crate) fn log(count: usize, per_second: f64) -> Vec<u8> {
    let mut names = Interfaces::new();
    names.channel(b"can0").unwrap();
    let mut text = Vec::new();
    for (number, frame) in frames().take(count).enumerate() {
        let stamp = Stamp::from_secs(1_769_835_600).plus_secs(number as f64 / per_second);
        textlog::write_line(&mut text, &Input { stamp, body: Body::Frame(frame.on(0)) }, &names);
    }
    text
}

pub(crate) fn records(frames: impl Iterator<Item = Frame>) -> Vec<u8> {
    let mut bytes = Vec::new();
    frames.for_each(|frame| envelope::encode(&frame, &mut bytes));
    bytes
}

/// A serial adapter: what is written here arrives at the port.
pub(crate) struct Adapter {
    /// Holds the link, and goes before the port does: the number of a port that is gone is given to another test's, and a
    /// program that waits for its own would open that.
    _dir: TempDir,
    master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    pub(crate) port: PathBuf,
}

impl Adapter {
    pub(crate) fn plug_in() -> Self {
        let pair = native_pty_system().openpty(PtySize::default()).expect("a pseudo-terminal");
        let dir = tempfile::tempdir().expect("a folder");
        let port = dir.path().join("port");
        symlink(pair.master.tty_name().expect("it has a name"), &port).expect("a link");
        let writer = pair.master.take_writer().expect("a writer");
        Self { _dir: dir, master: pair.master, writer, port }
    }

    pub(crate) fn send(&mut self, bytes: &[u8]) {
        self.writer.write_all(bytes).expect("the port takes it");
    }

    /// What the program writes.
    pub(crate) fn reader(&self) -> Box<dyn Read + Send> {
        self.master.try_clone_reader().expect("a reader")
    }

    /// What came back, which must be nothing.
    pub(crate) fn heard(&self) -> Vec<u8> {
        let mut reader = self.reader();
        let (sender, bytes) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let mut buffer = [0; 64];
            if let Ok(count) = reader.read(&mut buffer) {
                let _ = sender.send(buffer[..count].to_vec());
            }
        });
        bytes.recv_timeout(Duration::from_millis(300)).unwrap_or_default()
    }
}

/// The program under way.
pub(crate) struct Watch {
    pub(crate) child: Child,
    pub(crate) dir: tempfile::TempDir,
}

impl Watch {
    pub(crate) fn start(words: &[&str]) -> Self {
        let dir = tempfile::tempdir().unwrap();
        Self::start_in(dir, words, Stdio::null(), &[])
    }

    pub(crate) fn start_in(dir: tempfile::TempDir, words: &[&str], stdin: Stdio, before: &[&str]) -> Self {
        Self::start_as("watch", dir, words, stdin, before)
    }

    /// The same listening, for a survey.
    pub(crate) fn survey(words: &[&str]) -> Self {
        Self::start_as("survey", tempfile::tempdir().unwrap(), words, Stdio::null(), &[])
    }

    fn start_as(command: &str, dir: tempfile::TempDir, words: &[&str], stdin: Stdio, before: &[&str]) -> Self {
        let program = env!("CARGO_BIN_EXE_cellwright");
        let mut line: Vec<&str> = before.to_vec();
        line.extend([program, command]);
        line.extend(words);
        let out = fs::File::create(dir.path().join("out")).unwrap();
        let err = fs::File::create(dir.path().join("err")).unwrap();
        let child = Command::new(line[0])
            .args(&line[1..])
            .current_dir(dir.path())
            .stdin(stdin)
            .stdout(out)
            .stderr(err)
            .spawn()
            .unwrap_or_else(|error| panic!("'{}' cannot be run ({error}): install it", line[0]));
        Self { child, dir }
    }

    pub(crate) fn said(&self) -> String {
        fs::read_to_string(self.dir.path().join("err")).unwrap()
    }

    pub(crate) fn out(&self) -> String {
        fs::read_to_string(self.dir.path().join("out")).unwrap()
    }

    pub(crate) fn wait_for(&self, words: &str) {
        wait(words, || self.said().contains(words), || self.said());
    }

    /// Waits until so many lines are in its recording.
    pub(crate) fn wait_for_lines(&self, count: usize) {
        let lines =
            || fs::read(self.dir.path().join("r.log")).unwrap_or_default().iter().filter(|b| **b == b'\n').count();
        wait("a recording of what was sent", || lines() >= count, || format!("{} lines", lines()));
    }

    /// Ends it by a signal; its exit code.
    pub(crate) fn stop(&mut self) -> i32 {
        std::thread::sleep(Duration::from_millis(400)); // what was sent last arrives
        signal(self.child.id(), Signal::INT);
        self.ended()
    }

    pub(crate) fn ended(&mut self) -> i32 {
        self.child.wait().unwrap().code().expect("it ends by itself")
    }

    /// The live run and a check of its recording say the same, byte for byte.
    pub(crate) fn equals_its_recording(&self, code: i32) -> serde_json::Value {
        let checked = check(&self.dir.path().join("r.log"));
        assert_eq!(self.out(), String::from_utf8(checked.stdout).unwrap());
        assert_eq!(Some(code), checked.status.code());
        serde_json::from_str(&self.out()).expect("one document")
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) fn check(log: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_cellwright")).args(["check", "--format", "json"]).arg(log).output().unwrap()
}

pub(crate) fn signal(process: u32, signal: Signal) {
    let process = Pid::from_raw(i32::try_from(process).unwrap()).unwrap();
    kill_process(process, signal).unwrap();
}

pub(crate) fn wait(what: &str, done: impl Fn() -> bool, said: impl Fn() -> String) {
    let start = Instant::now();
    while !done() {
        assert!(start.elapsed() < Duration::from_secs(60), "'{what}' never came; said: {}", said());
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Processor time that a process has used, in seconds (clock ticks of 10 ms).
pub(crate) fn cpu_seconds(process: u32) -> f64 {
    let stat = fs::read_to_string(format!("/proc/{process}/stat")).unwrap();
    let fields: Vec<&str> = stat.rsplit(") ").next().unwrap().split(' ').collect();
    let ticks = |at: usize| fields[at].parse::<f64>().unwrap();
    (ticks(11) + ticks(12)) / 100.0
}

//! The program, run as an ordinary user.

use std::fs::{self, File};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const NOBODY: u32 = 65534;

/// A run of `watch` under way.
pub(crate) struct Watch {
    child: Child,
    name: &'static str,
}

/// What a run left.
pub(crate) struct Ended {
    pub(crate) code: i32,
    pub(crate) json: String,
    pub(crate) said: String,
    pub(crate) record: PathBuf,
}

impl Watch {
    /// Starts `watch SOURCES… --format json --record …` and waits until it says that it listens.
    pub(crate) fn start(name: &'static str, sources: &[&str]) -> Self {
        let watch = Self::begin(name, sources, &[]);
        watch.wait_for("listening");
        watch
    }

    /// The same without waiting, with something in front, such as strace.
    pub(crate) fn begin(name: &'static str, sources: &[&str], before: &[&str]) -> Self {
        let record = path(name, "log");
        let _ = fs::remove_file(&record);
        Self::begin_recording(name, sources, before, &record)
    }

    pub(crate) fn begin_recording(name: &'static str, sources: &[&str], before: &[&str], record: &Path) -> Self {
        let mut words: Vec<&str> = before.to_vec();
        words.extend(["cellwright", "watch"]);
        words.extend(sources);
        words.extend(["--format", "json", "--record", record.to_str().unwrap()]);
        let out = File::create(path(name, "json")).unwrap();
        let err = File::create(path(name, "said")).unwrap();
        let child = Command::new(words[0])
            .args(&words[1..])
            .uid(NOBODY)
            .gid(NOBODY)
            .stdin(Stdio::null())
            .stdout(out)
            .stderr(err)
            .spawn()
            .expect("the program starts");
        Self { child, name }
    }

    pub(crate) fn id(&self) -> i32 {
        self.child.id() as i32
    }

    pub(crate) fn said(&self) -> String {
        fs::read_to_string(path(self.name, "said")).unwrap_or_default()
    }

    pub(crate) fn wait_for(&self, words: &str) {
        let start = Instant::now();
        while !self.said().contains(words) {
            assert!(start.elapsed() < Duration::from_secs(30), "'{words}' was never said, but: {}", self.said());
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Waits until the last that it said is that it listens.
    pub(crate) fn wait_again(&self) {
        let start = Instant::now();
        while !self.said().lines().last().unwrap_or_default().contains("listening") {
            assert!(start.elapsed() < Duration::from_secs(30), "it never listens again: {}", self.said());
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Ends it once so many frames stand in the recording.
    pub(crate) fn stop_after(self, frames: usize) -> Ended {
        let start = Instant::now();
        let recorded = || fs::read_to_string(path(self.name, "log")).unwrap_or_default();
        while recorded().lines().filter(|line| !line.contains(") cellwright ")).count() < frames
            && start.elapsed() < Duration::from_secs(20)
        {
            std::thread::sleep(Duration::from_millis(200));
        }
        self.stop()
    }

    /// Ends it by a signal, as a person would.
    pub(crate) fn stop(mut self) -> Ended {
        std::thread::sleep(Duration::from_millis(600)); // what was sent last arrives
        signal(self.target(), "INT");
        let code = self.child.wait().unwrap().code().expect("it ends by itself");
        let json = fs::read_to_string(path(self.name, "json")).unwrap();
        Ended { code, json, said: self.said(), record: path(self.name, "log") }
    }

    /// The program itself, also behind strace.
    pub(crate) fn target(&self) -> i32 {
        let children = fs::read_to_string(format!("/proc/{0}/task/{0}/children", self.id())).unwrap_or_default();
        children.split_whitespace().next().and_then(|id| id.parse().ok()).unwrap_or(self.id())
    }
}

pub(crate) fn signal(id: i32, name: &str) {
    let sent = Command::new("kill").args([&format!("-{name}"), &id.to_string()]).status().unwrap();
    assert!(sent.success());
}

pub(crate) fn path(name: &str, end: &str) -> PathBuf {
    Path::new("/tmp").join(format!("{name}.{end}"))
}

/// What `check` says of a recording.
pub(crate) fn check(record: &Path) -> (i32, String) {
    let output =
        Command::new("cellwright").args(["check", "--format", "json"]).arg(record).uid(NOBODY).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    (output.status.code().unwrap(), String::from_utf8(output.stdout).unwrap_or_else(|_| panic!("{said}")))
}

impl Ended {
    /// The live run's own findings, byte for byte, and its exit code.
    pub(crate) fn equals_its_recording(&self) {
        let (code, json) = check(&self.record);
        assert_eq!(self.json, json, "the recording says something else");
        assert_eq!(self.code, code);
    }

    pub(crate) fn number(&self, field: &str) -> u64 {
        let value: serde_json::Value = serde_json::from_str(&self.json).expect("one document");
        value["input"][field].as_u64().unwrap_or_else(|| panic!("no {field} in {}", self.json))
    }

    pub(crate) fn recorded(&self) -> String {
        fs::read_to_string(&self.record).unwrap()
    }
}

//! Instructions per frame of `check`, counted by callgrind, against the figure in `instructions.toml`.
//!
//! Two logs of different length are counted and the difference divided, so that the start does not count. Fails when
//! the figure is more than a tenth above the recorded one; `-- --record` records it. Needs valgrind.

mod logs;

use logs::{PROGRAM, dense, head};
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

/// Most that the figure may be above the recorded one.
const MOST: f64 = 1.10;
/// Lines of the two logs.
const SHORT: usize = 50_000;
const LONG: usize = 250_000;

#[derive(Serialize, Deserialize)]
struct Recorded {
    /// Instructions per frame.
    instructions_per_frame: f64,
    /// Compiler with which it was counted.
    rustc: String,
}

fn record() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/instructions.toml")
}

/// Instructions of a whole `check`.
fn count(log: &Path) -> f64 {
    let done = Command::new("valgrind")
        .args(["--tool=callgrind", "--callgrind-out-file=/dev/null", PROGRAM, "check", "--format", "json"])
        .arg(log)
        .stdin(Stdio::null())
        .output()
        .expect("valgrind is not installed");
    let said = String::from_utf8_lossy(&done.stderr);
    let line = said.lines().find_map(|line| line.split("Collected :").nth(1));
    let line = line.unwrap_or_else(|| panic!("callgrind did not count ({}): {said}", done.status));
    line.trim().parse().expect("callgrind's count is a number")
}

fn rustc() -> String {
    let done = Command::new("rustc").arg("--version").output().expect("rustc runs");
    String::from_utf8_lossy(&done.stdout).trim().to_owned()
}

fn main() -> ExitCode {
    let dense = dense("0.05");
    let ((short, fewer), (long, more)) = (head(&dense, SHORT), head(&dense, LONG));
    assert!(more > fewer, "the log is too short: {more} lines");
    let found = (count(&long) - count(&short)) / (more - fewer) as f64;
    println!("{found:.0} instructions a frame");
    if std::env::args().any(|word| word == "--record") {
        let recorded = Recorded { instructions_per_frame: found.round(), rustc: rustc() };
        fs::write(record(), toml::to_string(&recorded).unwrap()).unwrap();
        return ExitCode::SUCCESS;
    }
    let recorded: Recorded = toml::from_str(&fs::read_to_string(record()).unwrap()).unwrap();
    let ratio = found / recorded.instructions_per_frame;
    println!("{ratio:.3} times the recorded {:.0} ({})", recorded.instructions_per_frame, recorded.rustc);
    if ratio > MOST {
        println!("more than {MOST} times: find out why, or record it with a reason (`-- --record`)");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

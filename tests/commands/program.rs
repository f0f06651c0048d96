//! Runs the program and keeps what it said.

use std::process::{Command, Stdio};

/// What a run left behind.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Ran {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

/// The program, ready to be run in an empty environment.
pub(crate) fn command(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cellwright"));
    command.args(args).env_clear().stdin(Stdio::null());
    command
}

/// Runs the program to its end.
pub(crate) fn cellwright(args: &[&str]) -> Ran {
    let done = command(args).output().expect("the program starts");
    Ran {
        code: done.status.code().expect("no signal ended it"),
        out: String::from_utf8(done.stdout).expect("its output is UTF-8"),
        err: String::from_utf8(done.stderr).expect("its complaints are UTF-8"),
    }
}

/// A directory of its own for a test, gone at the end.
pub(crate) struct Desk(tempfile::TempDir);

impl Desk {
    pub(crate) fn new() -> Self {
        Self(tempfile::tempdir().expect("a directory for the test"))
    }

    /// A path on the desk, as text.
    pub(crate) fn path(&self, name: &str) -> String {
        self.0.path().join(name).to_str().expect("a path in UTF-8").to_owned()
    }

    /// Puts a file there; returns its path.
    pub(crate) fn put(&self, name: &str, bytes: impl AsRef<[u8]>) -> String {
        std::fs::write(self.0.path().join(name), bytes).expect("the file is written");
        self.path(name)
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.0.path().join(name)).expect("the file is read")
    }
}

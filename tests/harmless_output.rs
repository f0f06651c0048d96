//! A log full of escape sequences and marks that turn the writing direction leaves none of them in any output.

use cellwright::model::{Body, Input, Stamp, clean};
use cellwright::source::log::LogWriter;
use cellwright::wire::Interfaces;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

const EVIL: &str = "\x1b[2J\x1b]0;x\x07\u{202e}dlrow\u{2066}\u{200f}\u{9b}31m\r";

/// A log whose names, notes, broken lines and own file name are hostile; some frames of it are sound.
fn hostile_log(folder: &Path) -> PathBuf {
    let path = folder.join(format!("bank{}.log", EVIL.replace(['/', '\0'], "")));
    let mut text = Vec::new();
    for number in 0..50 {
        let name = format!("can{}{EVIL}", number % 4).replace([' ', '\r'], "");
        text.extend(format!("(1768435200.{number:06}) {name} 18FF0080#4357574C01FFFFFF\n").bytes());
        text.extend(format!("(1768435200.{number:06}) {name} 18FF1080#D65CD65CD65CD65C\n").bytes());
        text.extend(format!("(1768435200.{number:06}) {EVIL}\n{EVIL}\n(1.0) {EVIL} 12#{EVIL}\n").bytes());
    }
    text.extend(note_lines(folder));
    std::fs::write(&path, text).unwrap();
    path
}

/// A remark as a recorder writes it, with its text made hostile behind the recorder's back.
fn note_lines(folder: &Path) -> Vec<u8> {
    let path = folder.join("note.log");
    let mut writer = LogWriter::create(&path).unwrap();
    let stamp = Stamp::from_secs(1_768_435_300);
    let note = "a remark ABCDEFGH of somebody".to_owned();
    writer.write(&Input { stamp, body: Body::Note(note) }, &Interfaces::new()).unwrap();
    writer.finish().unwrap();
    let text = std::fs::read_to_string(&path).unwrap();
    let plain = hex(b"ABCDEFGH");
    assert!(text.contains(&plain), "{text}");
    text.replace(&plain, &hex("\x1b[1m\u{202e}x".as_bytes())).into_bytes()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

fn run(arguments: &[&str], log: &Path) -> Output {
    let program = env!("CARGO_BIN_EXE_cellwright");
    Command::new(program).args(arguments).arg(log).stdin(Stdio::null()).output().unwrap()
}

fn assert_harmless(what: &str, bytes: &[u8]) {
    let text = std::str::from_utf8(bytes).unwrap_or_else(|error| panic!("{what} is no text: {error}"));
    for line in text.lines() {
        assert_eq!(clean(line, usize::MAX), line, "{what}");
        let escaped = line.to_lowercase();
        for code in ["\\u001b", "\\u202e", "\\u2066", "\\u009b"] {
            assert!(!escaped.contains(code), "{what} hides {code} in an escape that a reader of JSON undoes: {line}");
        }
    }
}

#[test]
fn no_command_passes_on_what_a_terminal_would_obey() {
    let folder = tempfile::tempdir().unwrap();
    let log = hostile_log(folder.path());
    let commands: [&[&str]; 4] =
        [&["check"], &["check", "--format", "json"], &["decode"], &["decode", "--format", "ndjson"]];
    for arguments in commands {
        let output = run(arguments, &log);
        assert!(output.stdout.len() > 200, "{arguments:?} said nothing: {output:?}");
        assert_harmless(&format!("{arguments:?}, standard output"), &output.stdout);
        assert_harmless(&format!("{arguments:?}, standard error"), &output.stderr);
    }
}

#[test]
fn an_error_about_a_hostile_file_name_is_harmless_too() {
    let missing = PathBuf::from(format!("there-is-none-{EVIL}.log"));
    for command in ["check", "decode", "replay"] {
        let output = run(&[command], &missing);
        assert_eq!(output.status.code(), Some(2), "{command}: {output:?}");
        assert!(!output.stderr.is_empty(), "{command} says nothing");
        assert_harmless(&format!("{command}, standard error"), &output.stderr);
    }
}

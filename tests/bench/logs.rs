//! Logs to measure with, written by the program's own simulated bank and kept under `target/bench/`.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The program as cargo built it for this bench.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_cellwright");

/// A file in the cache.
pub(crate) fn cached(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/bench");
    fs::create_dir_all(&folder).unwrap();
    folder.join(name)
}

/// A log of the healthy bank; its name tells days and spacing, so that another choice is another file.
pub(crate) fn log(days: &str, sample: &str) -> PathBuf {
    let path = cached(&format!("healthy-{days}-days-{sample}-s-{}.log", fingerprint()));
    if !path.exists() {
        let part = path.with_extension("part");
        let _ = fs::remove_file(&part); // of a run that was stopped; the program overwrites no log
        let arguments = ["demo", "healthy-week", "--days", days, "--sample", sample, "--log"];
        let done = Command::new(PROGRAM).args(arguments).arg(&part).stdin(Stdio::null()).status().unwrap();
        assert!(done.success(), "demo --log failed: {done}");
        fs::rename(part, &path).unwrap();
    }
    path
}

/// The same with three more packs that say what the first says: ten sets a second of one pack are fewer than a hundred
/// frames a second, of four they are more.
pub(crate) fn dense(days: &str) -> PathBuf {
    let one = log(days, "0.1");
    let path = one.with_extension("four-packs.log");
    if !path.exists() {
        let part = path.with_extension("part");
        let mut out = BufWriter::new(File::create(&part).unwrap());
        for line in BufReader::new(File::open(one).unwrap()).lines() {
            let line = line.unwrap();
            writeln!(out, "{line}").unwrap();
            let of_pack_1 = line.split_once('#').is_some_and(|(head, _)| head.ends_with("80"));
            if of_pack_1 {
                for other in ["81#", "82#", "83#"] {
                    writeln!(out, "{}", line.replacen("80#", other, 1)).unwrap();
                }
            }
        }
        out.flush().unwrap();
        fs::rename(part, &path).unwrap();
    }
    path
}

/// Size and moment of the program: another build may write another log.
fn fingerprint() -> String {
    let about = fs::metadata(PROGRAM).unwrap();
    let modified = about.modified().unwrap().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs();
    format!("{:x}{:x}", about.len(), modified)
}

/// The first lines of a log as a log of its own, and how many there were.
pub(crate) fn head(log: &Path, lines: usize) -> (PathBuf, usize) {
    let path = log.with_extension(format!("{lines}.log"));
    let mut out = BufWriter::new(File::create(&path).unwrap());
    let mut count = 0;
    for line in BufReader::new(File::open(log).unwrap()).split(b'\n').take(lines) {
        out.write_all(&line.unwrap()).unwrap();
        out.write_all(b"\n").unwrap();
        count += 1;
    }
    out.flush().unwrap();
    (path, count)
}

//! The same log gives the same findings, however its bytes come: chunks of any size, packed, cut into files, saved and
//! restored anywhere.

use cellwright::model::{Input, Snapshot};
use cellwright::pipeline::{Pipeline, SavedState, Setup};
use cellwright::sim::{Options, Simulation};
use cellwright::source::log::{LogReader, LogWriter};
use cellwright::wire::Interfaces;
use proptest::prelude::*;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use tempfile::TempDir;

/// What a run ends in: the saved state byte for byte, and all that can be shown.
#[derive(Debug, PartialEq)]
struct End {
    state: SavedState,
    shown: Snapshot,
}

fn end(mut pipeline: Pipeline) -> End {
    pipeline.close();
    End { state: pipeline.save().unwrap(), shown: pipeline.snapshot() }
}

fn pipeline() -> Pipeline {
    Pipeline::new(Setup::default())
}

fn run(mut reader: LogReader) -> End {
    let mut pipeline = pipeline();
    while let Some(input) = reader.next().unwrap() {
        pipeline.push(&input);
    }
    end(pipeline)
}

fn open(paths: &[&Path]) -> LogReader {
    LogReader::open(&paths.iter().map(|path| PathBuf::from(*path)).collect::<Vec<_>>()).unwrap()
}

/// Two days of a bank in which something is found, as a log in every packing.
struct Logs {
    _folder: TempDir,
    plain: PathBuf,
    gz: PathBuf,
    zst: PathBuf,
    expected: End,
}

static LOGS: LazyLock<Logs> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    let [plain, gz, zst] = ["day.log", "day.log.gz", "day.log.zst"].map(|name| folder.path().join(name));
    for path in [&plain, &gz, &zst] {
        write(path);
    }
    let expected = run(open(&[&plain]));
    assert!(!expected.shown.findings.is_empty(), "a log in which nothing is found proves nothing here");
    Logs { _folder: folder, plain, gz, zst, expected }
});

fn write(path: &Path) {
    let mut interfaces = Interfaces::new();
    interfaces.channel(b"can0").unwrap();
    let options = Options { seed: 3, days: Some(2.0), sample: Some(30.0) };
    let mut writer = LogWriter::create(path).unwrap();
    for input in Simulation::new("lost-sensor", options).unwrap() {
        writer.write(&input, &interfaces).unwrap();
    }
    writer.finish().unwrap();
}

#[test]
fn packed_or_plain() {
    assert!(run(open(&[&LOGS.gz])) == LOGS.expected, "gzip");
    assert!(run(open(&[&LOGS.zst])) == LOGS.expected, "zstd");
}

#[test]
fn chunks_of_any_size() {
    for size in [1, 2, 3, 7, 46, 100, 4096, 1 << 22] {
        assert!(run(open(&[&LOGS.plain]).with_chunk(size)) == LOGS.expected, "chunks of {size}");
    }
}

#[test]
fn cut_into_several_files() {
    let text = fs::read_to_string(&LOGS.plain).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let folder = tempfile::tempdir().unwrap();
    for pieces in [2, 3, 10] {
        let mut paths = Vec::new();
        for (number, part) in lines.chunks(lines.len().div_ceil(pieces)).enumerate() {
            let path = folder.path().join(format!("{pieces}-{number}.log"));
            fs::write(&path, part.concat()).unwrap();
            paths.push(path);
        }
        assert_eq!(paths.len(), pieces);
        assert!(run(LogReader::open(&paths).unwrap()) == LOGS.expected, "{pieces} files");
    }
}

/// A pipe that gives a few bytes at a time, never twice as many.
struct Trickle(Vec<u8>, usize);

impl Read for Trickle {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.1 = self.1 * 5 % 997 + 1;
        let count = self.1.min(buffer.len()).min(self.0.len());
        buffer[..count].copy_from_slice(&self.0[..count]);
        self.0.drain(..count);
        Ok(count)
    }
}

#[test]
fn through_a_pipe_that_trickles() {
    let text = fs::read(&LOGS.zst).unwrap();
    assert!(run(LogReader::from_reader("a pipe", Trickle(text, 1)).unwrap()) == LOGS.expected);
}

/// Reads so many inputs, saves, and goes on in a new pipeline with a new reader that seeks to the same place.
fn interrupted(path: &Path, after: &[usize]) -> End {
    let mut reader = open(&[path]);
    let mut running = pipeline();
    let mut count = 0;
    while let Some(input) = reader.next().unwrap() {
        running.push(&input);
        count += 1;
        if after.contains(&count) {
            let position = reader.position();
            let bytes = running.save().unwrap().as_bytes().to_vec();
            running = pipeline().restore(&SavedState::from_bytes(bytes)).unwrap();
            reader = open(&[path]);
            reader.seek(&position).unwrap();
        }
    }
    end(running)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn saved_and_restored_anywhere(places in prop::collection::vec(1usize..40_000, 1..5), packed: bool) {
        let path = if packed { &LOGS.gz } else { &LOGS.plain };
        prop_assert!(interrupted(path, &places) == LOGS.expected, "saved after {:?} inputs", places);
    }
}

#[test]
fn the_log_holds_as_many_inputs_as_the_places_chosen_above() {
    let mut reader = open(&[&LOGS.plain]);
    let mut count = 0;
    while reader.next().unwrap().is_some() {
        count += 1;
    }
    assert!((20_000..400_000).contains(&count), "{count} inputs");
}

#[test]
fn the_simulated_bank_run_directly_is_the_log_read_back() {
    let options = Options { seed: 3, days: Some(2.0), sample: Some(30.0) };
    let inputs: Vec<Input> = Simulation::new("lost-sensor", options).unwrap().collect();
    let mut pipeline = pipeline();
    for input in &inputs {
        pipeline.push(input);
    }
    assert!(end(pipeline) == LOGS.expected);
}

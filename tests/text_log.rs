//! Logs as they really come: cut off, packed, mixed up, hostile. Whatever happened to them, the good lines are
//! read, the bad ones are counted with their reason and their first place, and how the bytes came changes nothing.

use cellwright::model::input::Loss;
use cellwright::model::{Body, Input, Rejection, Stamp};
use cellwright::source::log::{LogReader, LogWriter, Position, ReadError, WriteError};
use cellwright::wire::Interfaces;
use proptest::prelude::*;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

/// What a log said: inputs in short, refusals as (reason, count, first line), names of interfaces.
#[derive(Debug, Clone, PartialEq)]
struct Said {
    inputs: Vec<String>,
    refused: Vec<(Rejection, u64, u64)>,
    interfaces: Vec<String>,
}

impl Said {
    fn inputs(&self) -> Vec<&str> {
        self.inputs.iter().map(String::as_str).collect()
    }
}

/// '1.500 can0 123#1122', '2.000 rejected bad_id 1', '3.000 clock step from 9.000'.
fn short(input: &Input, interfaces: &Interfaces) -> String {
    let secs = |stamp: Stamp| format!("{:.3}", stamp.nanos() as f64 * 1e-9);
    let what = match &input.body {
        Body::Frame(frame) => {
            let bytes: String = frame.data().iter().map(|byte| format!("{byte:02X}")).collect();
            format!("{} {}#{bytes}", interfaces.name(frame.channel).unwrap(), frame.id)
        }
        Body::Rejected { reason, count } => format!("rejected {} {count}", reason.code()),
        Body::Lost { by: Loss::Computer, count } => format!("lost {count}"),
        Body::ClockStep { old } => format!("clock step from {}", secs(*old)),
        other => format!("{other:?}"),
    };
    format!("{} {what}", secs(input.stamp))
}

fn drain(reader: &mut LogReader) -> Result<Said, ReadError> {
    let mut inputs = Vec::new();
    while let Some(input) = reader.next()? {
        inputs.push(short(&input, reader.interfaces()));
    }
    let refused = reader.rejections().map(|row| (row.reason, row.count, row.line)).collect();
    Ok(Said { inputs, refused, interfaces: reader.interfaces().iter().map(String::from).collect() })
}

/// Reads bytes in one go, and proves that smaller pieces say the same.
fn read(bytes: &[u8]) -> Said {
    let in_chunks = |chunk| {
        let reader = LogReader::from_reader("a pipe", Cursor::new(bytes.to_vec())).unwrap();
        drain(&mut reader.with_chunk(chunk)).unwrap()
    };
    let whole = in_chunks(1 << 20);
    for chunk in [1, 7, 4096] {
        assert_eq!(in_chunks(chunk), whole, "chunks of {chunk}");
    }
    whole
}

fn file(dir: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn zstd(bytes: &[u8]) -> Vec<u8> {
    zstd::encode_all(bytes, 3).unwrap()
}

/// Lines as the writer of python-can 4.6.1 prints them. Two things are lost on its side: the length that a remote
/// frame asks for, and the class of an error frame, which becomes 0x80.
#[test]
fn lines_of_python_can_are_read() {
    let said = read(
        b"(1769835600.250000) can0 123#1122 R\n(1769835600.250001) can0 18FF1080#0001020304050607 R\n\
          (1769835601.000000) vcan1 00000123# T\n(1769835602.000000) can0 7FF#R R\n\
          (1769835603.000000) can0 18FF1080##1AAAAAAAAAAAAAAAAAAAAAAAA R\n\
          (1769835604.000000) can0 20000080#0020000000008000\n(1769835605.000000) can3 100#01 R\n",
    );
    assert_eq!(
        said.inputs(),
        [
            "1769835600.250 can0 123#1122",
            "1769835600.250 can0 18FF1080#0001020304050607",
            "1769835601.000 vcan1 00000123#",
            "1769835602.000 can0 7FF#",
            "1769835603.000 can0 18FF1080#AAAAAAAAAAAAAAAAAAAAAAAA",
            "1769835604.000 can0 00000080#0020000000008000",
            "1769835605.000 can3 100#01"
        ]
    );
    assert_eq!(said.refused, []);
}

#[test]
fn a_mark_at_the_beginning_and_ends_of_lines_from_another_system_change_nothing() {
    let plain = read(b"(1.500000) can0 123#1122\n(2.000000) can0 7FF#\n");
    assert_eq!(plain.inputs(), ["1.500 can0 123#1122", "2.000 can0 7FF#"]);
    assert_eq!(read(b"\xEF\xBB\xBF(1.500000) can0 123#1122\r\n\r\n(2.000000) can0 7FF#\r\n"), plain);
}

#[test]
fn a_power_cut_leaves_nul_bytes_and_the_next_boot_writes_on() {
    let mut log = b"(5.0) can0 123#11\n(6.0) can0 12".to_vec();
    log.extend_from_slice(&[0; 100_000]);
    log.extend_from_slice(b"(7.0) can0 123#22\n(8.0) can0 123#33\n");
    log.extend_from_slice(&[0; 4096]);
    let said = read(&log);
    assert_eq!(
        said.inputs(),
        [
            "5.000 can0 123#11",
            "5.000 rejected nuls 1",
            "7.000 can0 123#22",
            "8.000 can0 123#33",
            "8.000 rejected nuls 1"
        ]
    );
    assert_eq!(said.refused, [(Rejection::Nuls, 2, 2)]);
}

#[test]
fn a_line_of_a_hundred_kilobytes_is_one_refusal_and_the_next_line_is_read() {
    let mut log = b"(5.0) can0 123#11\n(6.0) can0 ".to_vec();
    log.extend_from_slice(&[b'x'; 100_000]);
    log.extend_from_slice(b"\n(7.0) can0 123#22\n");
    let said = read(&log);
    assert_eq!(said.inputs(), ["5.000 can0 123#11", "5.000 rejected long_line 1", "7.000 can0 123#22"]);
    assert_eq!(said.refused, [(Rejection::LongLine, 1, 2)]);
}

#[test]
fn a_line_is_long_from_its_first_byte_beyond_64_kib() {
    for (padding, refused) in [(65_536 - 17, vec![]), (65_536 - 16, vec![(Rejection::LongLine, 1, 1)])] {
        let log = format!("(5.0) can0{}123#11\n", " ".repeat(padding + 1));
        assert_eq!(log.len(), 17 + padding + 1);
        assert_eq!(read(log.as_bytes()).refused, refused);
    }
}

#[test]
fn a_torn_tail_is_counted_and_a_tail_that_only_lacks_its_newline_is_read() {
    let torn = read(b"(5.0) can0 123#11\n(6.0) can0 123#1");
    assert_eq!(torn.inputs(), ["5.000 can0 123#11", "5.000 rejected torn_tail 1"]);
    assert_eq!(torn.refused, [(Rejection::TornTail, 1, 2)]);
    assert_eq!(read(b"(5.0) can0 123#11\n(6.0) can0 123#22").inputs(), ["5.000 can0 123#11", "6.000 can0 123#22"]);
}

#[test]
fn names_made_to_hurt_a_terminal_come_out_harmless() {
    let said = read("(5.0) can\x1b[2J\u{202e}0 123#11\n(6.0) \x07\u{9b}31m 123#22\n".as_bytes());
    assert_eq!(said.interfaces, ["can\u{fffd}[2J\u{fffd}0", "\u{fffd}\u{fffd}31m"]);
    assert_eq!(said.refused, []);
}

#[test]
fn a_note_with_escape_sequences_is_read_without_them() {
    let note = Input { stamp: Stamp::from_secs(5), body: Body::Note("seen\x1b]0;x\x07 \u{202e}by Mate".into()) };
    let mut line = Vec::new();
    cellwright::wire::textlog::write_line(&mut line, &note, &Interfaces::new());
    let clean = "Note(\"seen\u{fffd}]0;x\u{fffd} \u{fffd}by Mate\")";
    assert_eq!(read(&line).inputs(), [format!("5.000 {clean}")]);
    // The same with the bytes of the escape sequence in the recording itself.
    let raw = b"(5.0) cellwright 001##00A0700011B5B326D41FF\n";
    assert_eq!(read(raw).inputs(), ["5.000 Note(\"\u{fffd}[2mA\")"]);
}

#[test]
fn time_that_goes_back_a_little_stands_still_and_a_lot_is_a_step() {
    let said = read(b"(5.000000) can0 123#11\n(4.960000) can1 123#22\n(4.950000) can1 123#23\n(4.949999) can0 123#33\n(9.0) can0 123#44\n");
    assert_eq!(
        said.inputs(),
        [
            "5.000 can0 123#11",
            "5.000 can1 123#22",
            "5.000 can1 123#23",
            "4.950 clock step from 5.000",
            "4.950 can0 123#33",
            "9.000 can0 123#44"
        ]
    );
}

#[test]
fn two_boots_in_one_file_are_one_step_back() {
    let said = read(b"(1769835600.0) can0 123#11\n(12.5) can0 123#22\n(13.5) can0 123#33\n");
    assert_eq!(
        said.inputs(),
        [
            "1769835600.000 can0 123#11",
            "12.500 clock step from 1769835600.000",
            "12.500 can0 123#22",
            "13.500 can0 123#33"
        ]
    );
}

#[test]
fn a_recorded_step_does_not_make_a_second_one() {
    let step = "cellwright 001##0050800F2052A01000000FFFF"; // from 5 s
    let said = read(format!("(5.0) can0 123#11\n(2.0) {step}\n(2.0) can0 123#22\n").as_bytes());
    assert_eq!(said.inputs(), ["5.000 can0 123#11", "2.000 clock step from 5.000", "2.000 can0 123#22"]);
}

#[test]
fn what_comes_before_the_first_stamp_waits_for_it() {
    let said = read(
        b"hello\nworld\nDROPCOUNT: dropped 2 CAN frames on 'can0' socket (total drops 2)\n(x) can0 1#\n(5.0) can0 123#11\nDROPCOUNT: dropped 1 CAN frame on 'can0' socket (total drops 3)\n",
    );
    assert_eq!(
        said.inputs(),
        [
            "5.000 rejected no_stamp 2",
            "5.000 rejected bad_stamp 1",
            "5.000 lost 2",
            "5.000 can0 123#11",
            "5.000 lost 1"
        ]
    );
    assert_eq!(said.refused, [(Rejection::NoStamp, 2, 1), (Rejection::BadStamp, 1, 4)]);
}

#[test]
fn a_file_without_any_stamp_says_nothing_but_what_was_refused() {
    let said = read(b"time,volts\n1,13.3\n");
    assert_eq!(said.inputs(), Vec::<&str>::new());
    assert_eq!(said.refused, [(Rejection::NoStamp, 2, 1)]);
    assert_eq!(read(b""), Said { inputs: vec![], refused: vec![], interfaces: vec![] });
}

#[test]
fn the_sixty_fifth_interface_is_refused() {
    let log: String = (0..66).map(|n| format!("(5.0) can{n} 123#11\n")).collect();
    let said = read(log.as_bytes());
    assert_eq!(said.interfaces.len(), 64);
    assert_eq!(said.refused, [(Rejection::TooManyInterfaces, 2, 65)]);
}

#[test]
fn a_note_that_never_ends_is_counted() {
    // Part 0 of 2, then the log goes on without the rest.
    let said = read(b"(5.0) cellwright 001##00A03000241FFFF\n(6.0) can0 123#11\n");
    assert_eq!(said.inputs(), ["6.000 can0 123#11", "6.000 rejected bad_input 1"]);
}

/// A log of two thousand lines with something of everything in it.
fn long_log() -> Vec<u8> {
    let mut log = b"\xEF\xBB\xBFgarbage\n".to_vec();
    for n in 0..2000u64 {
        let secs = 1_769_835_600 + n - if n > 1000 { 300 } else { 0 };
        let line = match n % 97 {
            13 => format!("({secs}.000000) can0 12#11\n"),
            14 => format!("({secs}.000000)  vcan7  18FF1080##1{}\r\n", "AB".repeat(48)),
            15 => format!("({secs}.000000) cellwright 001##00B00FF\n"),
            16 => "\0\0\0\n".into(),
            _ => format!("({secs}.{:09}) can0 18FF1080#{n:016X}\n", n * 1000),
        };
        log.extend_from_slice(line.as_bytes());
    }
    log
}

#[test]
fn plain_packed_or_cut_into_files_a_log_says_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let log = long_log();
    let expected = read(&log);
    assert!(expected.inputs.len() > 1900);
    // Cut at the ends of lines.
    let cut = |at: usize| at + log[at..].iter().position(|&c| c == b'\n').unwrap() + 1;
    let (a, b) = (cut(log.len() / 5), cut(log.len() / 2));
    let [first, second, third] = [&log[..a], &log[a..b], &log[b..]];
    let two_members = [gzip(first), gzip(&log[a..])].concat();
    let two_frames = [zstd(&log[..b]), zstd(third)].concat();
    let name = |name: &str, bytes: &[u8]| file(dir.path(), name, bytes);
    // Names say nothing: the packing is told by the first bytes.
    let ways = [
        vec![name("plain.zst", &log)],
        vec![name("gz.log", &gzip(&log))],
        vec![name("members.gz", &two_members)],
        vec![name("zst.gz", &zstd(&log))],
        vec![name("frames.zst", &two_frames)],
        vec![name("1", first), name("2.gz", &gzip(second)), name("3.zst", &zstd(third))],
    ];
    for paths in ways {
        for chunk in [1, 7, 4096, 1 << 20] {
            let mut reader = LogReader::open(&paths).unwrap().with_chunk(chunk);
            let said = drain(&mut reader).unwrap();
            assert_eq!(said.inputs, expected.inputs, "{paths:?} in chunks of {chunk}");
            assert_eq!(said.interfaces, expected.interfaces);
            let counts =
                |said: &Said| said.refused.iter().map(|(reason, count, _)| (*reason, *count)).collect::<Vec<_>>();
            assert_eq!(counts(&said), counts(&expected));
            let (done, total) = reader.progress();
            assert_eq!(Some(done), total, "everything was read");
        }
    }
}

#[test]
fn a_torn_archive_gives_what_it_has_and_the_next_file_is_read() {
    let dir = tempfile::tempdir().unwrap();
    let log = long_log();
    let expected = read(&log).inputs;
    let next = file(dir.path(), "next", b"(1769840000.0) can0 123#11\n");
    for (name, packed) in [("gz", gzip(&log)), ("zst", zstd(&log))] {
        let torn = file(dir.path(), name, &packed[..packed.len() * 2 / 3]);
        let read =
            |chunk| drain(&mut LogReader::open(&[torn.clone(), next.clone()]).unwrap().with_chunk(chunk)).unwrap();
        let said = read(1 << 20);
        let good = said.inputs.len() - 2;
        assert_eq!(said.inputs[..good], expected[..good], "{name}");
        assert!(said.inputs[good].ends_with("rejected torn_archive 1"), "{name}: {}", said.inputs[good]);
        assert_eq!(said.inputs[good + 1], "1769840000.000 can0 123#11");
        for chunk in [1, 7, 4096] {
            assert_eq!(read(chunk), said, "{name} in chunks of {chunk}");
        }
    }
}

#[test]
fn a_spoilt_checksum_of_an_archive_is_counted() {
    let mut packed = gzip(b"(5.0) can0 123#11\n");
    let end = packed.len() - 6;
    packed[end] ^= 0xFF;
    let said = read(&packed);
    assert_eq!(said.inputs(), ["5.000 can0 123#11", "5.000 rejected torn_archive 1"]);
}

#[test]
fn a_zstd_window_of_more_than_8_mb_is_refused_with_what_to_do() {
    let long = |log: u32| {
        let mut encoder = zstd::Encoder::new(Vec::new(), 1).unwrap();
        encoder.window_log(log).unwrap();
        encoder.write_all(b"(5.0) can0 123#11\n").unwrap();
        encoder.finish().unwrap()
    };
    assert_eq!(read(&long(23)).inputs(), ["5.000 can0 123#11"]);
    let mut reader = LogReader::from_reader("a.zst", Cursor::new(long(24))).unwrap();
    let error = drain(&mut reader).unwrap_err();
    assert_eq!(
        error.to_string(),
        "'a.zst' (after line 0) needs a zstd window of more than 8 MB; expected one of at most 8 MB, as levels up to 19 without '--long' make; unpack it first with 'zstd -d --long=31'"
    );
}

#[test]
fn errors_say_what_was_expected_and_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let open = |paths: &[PathBuf]| LogReader::open(paths).err().unwrap().to_string();
    assert_eq!(open(&[]), "no log was named; expected at least one file");
    let missing = open(&["no\x1b[1m.log".into()]);
    assert!(missing.starts_with("cannot open the log 'no\u{fffd}[1m.log': No such file"), "{missing}");
    let is_dir = open(&[dir.path().into()]);
    assert!(is_dir.contains("is a directory"), "{is_dir}");
    let xz = file(dir.path(), "a.xz", b"\xFD7zXZ\0rest");
    assert!(
        open(&[xz]).ends_with(
            "is packed as xz; expected a plain CAN text log, or one packed with gzip or zstd; unpack it first"
        )
    );
}

#[test]
fn from_any_position_reading_goes_on_exactly_there() {
    let dir = tempfile::tempdir().unwrap();
    let log = long_log();
    let cut = log.len() / 2;
    let cut = cut + log[cut..].iter().position(|&c| c == b'\n').unwrap() + 1;
    let ways = [
        vec![file(dir.path(), "a", &log)],
        vec![file(dir.path(), "b", &log[..cut]), file(dir.path(), "c", &gzip(&log[cut..]))],
        vec![file(dir.path(), "d", &zstd(&log))],
    ];
    for paths in ways {
        let mut reader = LogReader::open(&paths).unwrap().with_chunk(999);
        let (mut places, mut inputs) = (Vec::new(), Vec::new());
        loop {
            if inputs.len() % 137 == 0 || inputs.len() > 1960 {
                places.push((inputs.len(), reader.position()));
            }
            let Some(input) = reader.next().unwrap() else { break };
            inputs.push(input);
        }
        let refused: Vec<_> = reader.rejections().map(|row| (row.reason, row.count, row.line)).collect();
        let mut other = LogReader::open(&paths).unwrap();
        for (count, place) in places.iter().rev() {
            for reader in [&mut reader, &mut other] {
                reader.seek(place).unwrap();
                let mut rest = Vec::new();
                while let Some(input) = reader.next().unwrap() {
                    rest.push(input);
                }
                assert_eq!(rest, inputs[*count..], "from input {count}");
                assert_eq!(
                    reader.rejections().map(|row| (row.reason, row.count, row.line)).collect::<Vec<_>>(),
                    refused
                );
            }
        }
    }
}

#[test]
fn a_pipe_cannot_go_back_and_a_file_that_was_cut_says_so() {
    let log = b"(5.0) can0 123#11\n(6.0) can0 123#22\n";
    let mut pipe = LogReader::from_reader("a pipe", Cursor::new(log.to_vec())).unwrap();
    pipe.next().unwrap();
    assert_eq!(pipe.progress(), (18, None));
    let error = pipe.seek(&pipe.position()).unwrap_err();
    assert_eq!(error.to_string(), "'a pipe' is a stream and cannot be read again from line 1; save it to a file first");

    let dir = tempfile::tempdir().unwrap();
    let path = file(dir.path(), "a.log", log);
    let mut reader = LogReader::open(std::slice::from_ref(&path)).unwrap();
    while reader.next().unwrap().is_some() {}
    reader.seek(&reader.position()).unwrap();
    let mut again = LogReader::open(std::slice::from_ref(&path)).unwrap();
    again.next().unwrap();
    let place = again.position();
    std::fs::write(&path, b"(5.0)").unwrap();
    assert!(matches!(again.seek(&place), Err(ReadError::Changed { line: 1, offset: 18, .. })));
}

#[test]
fn a_named_pipe_is_opened_once_and_read_to_its_end() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("pipe");
    rustix::fs::mkfifoat(rustix::fs::CWD, &path, rustix::fs::Mode::RUSR | rustix::fs::Mode::WUSR).unwrap();
    let writing = std::thread::spawn({
        let path = path.clone();
        move || std::fs::write(path, b"(5.0) can0 123#11\n(6.0) can0 123#22\n").unwrap()
    });
    let mut reader = LogReader::open(&[path]).unwrap();
    assert_eq!(drain(&mut reader).unwrap().inputs(), ["5.000 can0 123#11", "6.000 can0 123#22"]);
    writing.join().unwrap();
    let start = Position::default();
    assert!(matches!(reader.seek(&start), Err(ReadError::NotSeekable { line: 0, .. })));
}

#[test]
fn what_is_written_is_read_back_and_nothing_is_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let log = long_log();
    let expected = read(&log);
    for name in ["a.log", "a.log.gz", "a.log.zst"] {
        let path = dir.path().join(name);
        let mut reader = LogReader::from_reader("log", Cursor::new(log.clone())).unwrap();
        let mut writer = LogWriter::create(&path).unwrap();
        while let Some(input) = reader.next().unwrap() {
            writer.write(&input, reader.interfaces()).unwrap();
        }
        writer.finish().unwrap();
        let said = drain(&mut LogReader::open(std::slice::from_ref(&path)).unwrap()).unwrap();
        assert_eq!((said.inputs, said.interfaces), (expected.inputs.clone(), expected.interfaces.clone()), "{name}");
        assert_eq!(said.refused, [], "what was refused stands in the recording as inputs");
        assert!(matches!(LogWriter::create(&path), Err(WriteError::Exists { .. })));
    }
}

/// Bytes that look a little like a log.
fn hostile() -> impl Strategy<Value = Vec<u8>> {
    let piece = prop_oneof![
        2 => prop::collection::vec(any::<u8>(), 0..60),
        6 => "\\([0-9]{1,10}\\.[0-9]{1,9}\\) {1,2}(can0|can1|cellwright) [0-9A-F]{3}##?[0-9A-F.R]{0,20}[\r]?\n".prop_map(String::into_bytes),
        2 => "\\([0-4]\\.[0-9]\\) can0 123#11\n".prop_map(String::into_bytes),
        1 => "\\([0-4]\\.[0-9]\\) cellwright 001##0(0A030[0-3]02|050800000000000000|0100|0B)[0-9A-F]{0,4}\n".prop_map(String::into_bytes),
        1 => Just(vec![0; 10]),
        1 => Just(b"\n".to_vec()),
    ];
    prop::collection::vec(piece, 0..40).prop_map(|pieces| pieces.concat())
}

proptest! {
    #[test]
    fn any_bytes_are_read_the_same_in_chunks_of_any_size_and_never_backwards(bytes in hostile(), chunk in 1usize..100) {
        let open = || LogReader::from_reader("x", Cursor::new(bytes.clone())).unwrap();
        let (mut whole, mut cut) = (open(), open().with_chunk(chunk));
        let mut last = None;
        loop {
            let input = whole.next().unwrap();
            prop_assert_eq!(&input, &cut.next().unwrap());
            let Some(input) = input else { break };
            let is_step = matches!(input.body, Body::ClockStep { .. });
            prop_assert!(is_step || Some(input.stamp) >= last, "{:?} after {:?}", input, last);
            last = Some(input.stamp);
        }
        prop_assert!(whole.rejections().eq(cut.rejections()));
        prop_assert_eq!(whole.interfaces(), cut.interfaces());
    }

    #[test]
    fn what_was_read_and_is_written_is_read_the_same(bytes in hostile()) {
        let mut reader = LogReader::from_reader("x", Cursor::new(bytes)).unwrap();
        let (mut inputs, mut text) = (Vec::new(), Vec::new());
        while let Some(input) = reader.next().unwrap() {
            cellwright::wire::textlog::write_line(&mut text, &input, reader.interfaces());
            inputs.push(input);
        }
        let mut again = LogReader::from_reader("y", Cursor::new(text)).unwrap();
        let mut back = Vec::new();
        while let Some(input) = again.next().unwrap() {
            back.push(input);
        }
        prop_assert_eq!(back, inputs);
        prop_assert_eq!(again.rejections().count(), 0);
    }

    #[test]
    fn packed_bytes_that_are_spoilt_anywhere_never_panic(place: prop::sample::Index, bit in 0..8u8, zst: bool) {
        let log = long_log();
        let mut packed = if zst { zstd(&log) } else { gzip(&log) };
        let place = place.index(packed.len() - 6) + 6; // the magic number stays
        packed[place] ^= 1 << bit;
        let mut reader = LogReader::from_reader("x", Cursor::new(packed)).unwrap();
        while let Ok(Some(_)) = reader.next() {}
    }
}

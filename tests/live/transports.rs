//! One bank over three transports, under one clock of the test's own: the findings are the same.

use crate::aids::records;
use cellwright::app::live::Live;
use cellwright::model::{Body, Frame, Input, Snapshot, Stamp};
use cellwright::pipeline::Setup;
use cellwright::sim::{Options, Simulation};
use cellwright::source::{Batch, Kind, Moment, Outlet, pipe, queue};
use cellwright::wire::envelope::Deframer;
use cellwright::wire::{Interfaces, textlog};

/// Twenty minutes of the cold morning, around the start of the alternator.
fn morning() -> Vec<(Stamp, Frame)> {
    let all = Simulation::new("cold-morning", Options::default()).expect("a scenario");
    let begin = all.start().plus_secs(445.0 * 60.0);
    all.skip_while(|input| input.stamp < begin)
        .take_while(|input| input.stamp < begin.plus_secs(1200.0))
        .filter_map(|input| if let Body::Frame(frame) = input.body { Some((input.stamp, frame)) } else { None })
        .collect()
}

fn at(stamp: Stamp) -> Moment {
    Moment { wall: stamp, steady: stamp.nanos(), awake: stamp.nanos() }
}

fn named(name: &[u8]) -> Batch {
    let mut names = Interfaces::new();
    names.channel(name).unwrap();
    Batch { names: Some(names), ..Batch::default() }
}

/// A run that is handed these batches at these moments.
fn run(kind: Kind, batches: impl IntoIterator<Item = (Stamp, Batch)>, begin: Stamp, end: Stamp) -> Snapshot {
    let mut live = Live::new(at(begin), &[kind], Setup::default(), None);
    for (stamp, batch) in batches {
        live.turn(at(stamp), [batch]);
    }
    live.finish(at(end));
    live.snapshot()
}

/// As the CAN reader hands them over: frames with the kernel's stamps.
fn over_can(frames: &[(Stamp, Frame)], begin: Stamp, end: Stamp) -> Snapshot {
    let each = frames
        .iter()
        .map(|(stamp, frame)| (*stamp, Batch { items: vec![(*stamp, Body::Frame(*frame))], ..Batch::default() }));
    run(Kind::Live, std::iter::once((begin, named(b"can0"))).chain(each), begin, end)
}

/// As bytes in the envelope, cut anywhere, stamped on arrival, with garbage between records now and then.
fn over_serial(frames: &[(Stamp, Frame)], begin: Stamp, end: Stamp) -> Snapshot {
    let mut deframer = Deframer::after_opening();
    deframer.push(&[0], |_| {});
    let mut batches = vec![(begin, named(b"port"))];
    for (number, (stamp, frame)) in frames.iter().enumerate() {
        let mut items = Vec::new();
        let mut bytes = if number % 100 == 99 { vec![7, 0xFF, 3, 0] } else { Vec::new() };
        bytes.extend(records(std::iter::once(*frame)));
        for piece in bytes.chunks(1 + number % 9) {
            deframer.push(piece, |found| {
                let body = found.map_or_else(|reason| Body::Rejected { reason, count: 1 }, Body::Frame);
                items.push((*stamp, body));
            });
        }
        batches.push((*stamp, Batch { items, ..Batch::default() }));
    }
    run(Kind::Live, batches, begin, end)
}

/// As a text log through a pipe.
fn over_a_pipe(frames: &[(Stamp, Frame)], begin: Stamp, end: Stamp) -> Snapshot {
    let mut names = Interfaces::new();
    names.channel(b"can0").unwrap();
    let mut text = Vec::new();
    for (stamp, frame) in frames {
        textlog::write_line(&mut text, &Input { stamp: *stamp, body: Body::Frame(*frame) }, &names);
    }
    let (sender, receiver) = queue();
    let reader = std::thread::spawn(move || pipe::run("-", std::io::Cursor::new(text), &Outlet::new(0, sender)));
    let batches: Vec<(Stamp, Batch)> = receiver.iter().map(|batch| (end, batch)).collect();
    reader.join().unwrap().unwrap();
    run(Kind::Stamped, batches, begin, end)
}

#[test]
fn can_serial_and_pipe_find_the_same() {
    let frames = morning();
    let (begin, end) = (frames[0].0, frames[frames.len() - 1].0);
    let can = over_can(&frames, begin, end);
    assert!(can.findings.iter().any(|finding| finding.code == "cold-charge"), "{:?}", can.verdict);
    for other in [over_serial(&frames, begin, end), over_a_pipe(&frames, begin, end)] {
        assert_eq!(other.quality.frames, can.quality.frames);
        assert_eq!(other.findings, can.findings);
        assert_eq!(other.verdict, can.verdict);
    }
}

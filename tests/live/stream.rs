//! Any stream of bytes, cut anywhere, with garbage in it, at any speed: the live run and its recording agree, under
//! one clock of the test's own.

use crate::aids::{frames, records};
use cellwright::app::live::Live;
use cellwright::model::{Body, Input, Stamp};
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::report::{Report, json};
use cellwright::source::log::LogReader;
use cellwright::source::{Batch, Kind, Merge, Moment};
use cellwright::wire::envelope::Deframer;
use cellwright::wire::{Interfaces, textlog};
use proptest::prelude::*;

fn at(nanos: i64, step: i64) -> Moment {
    let wall = Stamp::from_secs(1_769_835_600).plus_nanos(nanos + step);
    Moment { wall, steady: nanos, awake: nanos }
}

/// What the report says of a pipeline.
fn report(snapshot: &cellwright::model::Snapshot) -> String {
    json(&Report { snapshot, first_refused: &[], interfaces: &["port".into()] })
}

#[derive(Debug, Clone)]
enum Piece {
    Records(usize),
    Garbage(Vec<u8>),
    Wait(i64),
    ClockSet(i64),
}

fn piece() -> impl Strategy<Value = Piece> {
    prop_oneof![
        6 => (1..40_usize).prop_map(Piece::Records),
        1 => prop::collection::vec(any::<u8>(), 1..60).prop_map(Piece::Garbage),
        2 => (0..20_000_000_000_i64).prop_map(Piece::Wait),
        1 => prop_oneof![Just(-7200), Just(86_400), -3..3_i64].prop_map(|secs| Piece::ClockSet(secs * 1_000_000_000)),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_stream_equals_its_recording(pieces in prop::collection::vec(piece(), 1..25), cut in 1..50_usize, pace in 1..40_000_000_i64) {
        let start = at(1_000_000_000, 0);
        let mut live = Live::new(start, &[Kind::Live], Setup::default(), None);
        let mut merge = Merge::new(start, &[Kind::Live]);
        let (mut recorded, mut deframer) = (Vec::new(), Deframer::after_opening());
        let mut names = Interfaces::new();
        names.channel(b"port").unwrap();
        let first = Batch { names: Some(names), ..Batch::default() };
        live.turn(start, [first.clone()]);
        merge.take(first, start);
        let (mut time, mut step, mut source) = (start.steady, 0, frames());
        let keep = |recorded: &mut Vec<u8>, input: &Input, names: &Interfaces| textlog::write_line(recorded, input, names);
        for piece in pieces {
            let bytes = match piece {
                Piece::Records(count) => records(source.by_ref().take(count)),
                Piece::Garbage(bytes) => bytes,
                Piece::Wait(nanos) => { time += nanos; Vec::new() }
                Piece::ClockSet(by) => { step += by; Vec::new() }
            };
            for chunk in bytes.chunks(cut).chain((bytes.is_empty()).then_some(&[][..])) {
                time += pace;
                let now = at(time, step);
                let mut items = Vec::new();
                deframer.push(chunk, |found| items.push((now.wall, match found {
                    Ok(frame) => Body::Frame(frame),
                    Err(reason) => Body::Rejected { reason, count: 1 },
                })));
                let batch = Batch { items, ..Batch::default() };
                live.turn(now, [batch.clone()]);
                merge.look(now);
                merge.take(batch, now);
                merge.release(now, |input, names| keep(&mut recorded, input, names));
            }
        }
        let end = at(time + 1_000_000_000, step);
        live.finish(end);
        merge.finish(end, |input, names| keep(&mut recorded, input, names));

        let mut reader = LogReader::from_reader("recording", std::io::Cursor::new(recorded)).unwrap();
        let mut pipeline = Pipeline::new(Setup::default());
        while let Some(input) = reader.next().unwrap() {
            pipeline.push(&input);
        }
        prop_assert_eq!(report(&live.snapshot()), report(&pipeline.snapshot()));
    }
}

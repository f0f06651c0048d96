//! The same inputs give the same report, byte for byte: however the log is packed, cut, read or interrupted.

use crate::bank::{one_cell_far_too_high, simulated, text_of};
use crate::program::{Desk, cellwright};
use cellwright::model::{Body, Input};
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::report::{Report, json};
use proptest::prelude::*;
use std::io::Write;
use std::sync::LazyLock;

/// Days in which something happens: cold, a sensor that goes silent, a cut-off, a cell that is charged too high.
static DAYS: LazyLock<Vec<Vec<Input>>> = LazyLock::new(|| {
    vec![
        simulated("cold-morning", 0.5, 5.0),
        simulated("lost-sensor", 0.8, 10.0),
        simulated("night-cutoff", 0.7, 10.0),
        one_cell_far_too_high(),
    ]
});

fn report(pipeline: &Pipeline) -> String {
    json(&Report { snapshot: &pipeline.snapshot(), first_refused: &[], interfaces: &["can0".to_owned()] })
}

/// Runs the inputs to their end; `before` may do something to the pipeline before each.
fn run(inputs: &[Input], mut before: impl FnMut(usize, &mut Pipeline)) -> String {
    let mut pipeline = Pipeline::new(Setup::default());
    for (number, input) in inputs.iter().enumerate() {
        before(number, &mut pipeline);
        pipeline.push(input);
    }
    if !matches!(inputs.last(), Some(Input { body: Body::Closing, .. })) {
        pipeline.close();
    }
    report(&pipeline)
}

fn packed_zstd(text: &str) -> Vec<u8> {
    zstd::encode_all(text.as_bytes(), 3).expect("it packs")
}

fn packed_gzip(text: &str) -> Vec<u8> {
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    encoder.write_all(text.as_bytes()).expect("it packs");
    encoder.finish().expect("it packs")
}

#[test]
fn packed_or_cut_into_files_it_is_one_log() {
    let desk = Desk::new();
    let text = text_of(DAYS[0].iter().cloned());
    let whole = cellwright(&["check", "--format", "json", &desk.put("whole.log", &text)]);
    assert_eq!(whole.err, "");
    let gz = desk.put("packed.log.gz", packed_gzip(&text));
    let zst = desk.put("packed.log", packed_zstd(&text));
    assert_eq!(cellwright(&["check", "--format", "json", &gz]), whole);
    assert_eq!(cellwright(&["check", "--format", "json", &zst]), whole, "the bytes tell the packing, not the name");
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let (a, rest) = lines.split_at(lines.len() / 7);
    let (b, c) = rest.split_at(rest.len() / 2);
    let a = desk.put("a.log", a.concat());
    let b = desk.put("b.log.zst", packed_zstd(&b.concat()));
    let c = desk.put("c.log.gz", packed_gzip(&c.concat()));
    assert_eq!(cellwright(&["check", "--format", "json", &a, &b, &c]), whole);
}

#[test]
fn the_program_says_what_the_pipeline_found() {
    let desk = Desk::new();
    for day in DAYS.iter() {
        let log = desk.put("day.log", text_of(day.iter().cloned()));
        assert_eq!(cellwright(&["check", "--format", "json", &log]).out, run(day, |_, _| {}));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn saved_and_restored_anywhere_it_finds_the_same(day in 0..4_usize, places in proptest::collection::vec(0.0..1.0_f64, 1..4)) {
        let inputs = &DAYS[day];
        let unbroken = run(inputs, |_, _| {});
        let places: Vec<usize> = places.iter().map(|place| (place * inputs.len() as f64) as usize).collect();
        let broken = run(inputs, |number, pipeline| {
            if places.contains(&number) {
                let saved = pipeline.save().expect("the state is saved");
                *pipeline = Pipeline::new(Setup::default()).restore(&saved).expect("and restored");
            }
        });
        prop_assert_eq!(broken, unbroken);
    }

    #[test]
    fn a_live_run_that_looks_at_the_clock_in_between_finds_the_same(day in 0..4_usize, every in 1..50_usize) {
        let inputs = &DAYS[day];
        let unbroken = run(inputs, |_, _| {});
        let looking = run(inputs, |number, pipeline| {
            // Between the input before and this one, in a few steps, as a driver does that waits.
            let Some(before) = number.checked_sub(1).and_then(|before| inputs.get(before)) else { return };
            if number % every == 0 && inputs[number].stamp >= before.stamp {
                let nanos = inputs[number].stamp.nanos() - before.stamp.nanos();
                for part in 0..4 {
                    pipeline.advance(before.stamp.plus_nanos(nanos / 4 * part));
                    let _ = pipeline.deadline();
                }
            }
        });
        prop_assert_eq!(looking, unbroken);
    }
}

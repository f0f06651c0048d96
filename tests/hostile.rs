//! Hostile bytes in the ordinary tests: the functions that the fuzzer calls, over its corpus and over mutations of it.

#[path = "fuzz/targets.rs"]
mod targets;

use proptest::prelude::*;
use std::fs;
use std::path::Path;

/// The corpus of a target: inputs that once reached new code or found something.
fn corpus(name: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus").join(name);
    let mut paths: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

#[test]
fn every_target_has_a_corpus_and_takes_it() {
    for (name, target) in targets::TARGETS {
        let inputs = corpus(name);
        assert!(!inputs.is_empty(), "no corpus for '{name}'");
        for input in inputs {
            target(&input);
        }
        target(&[]);
    }
}

#[test]
fn every_corpus_has_a_target() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let mut corpora: Vec<_> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    let mut names: Vec<_> = targets::TARGETS.iter().map(|(name, _)| *name).collect();
    corpora.sort();
    names.sort_unstable();
    assert_eq!(corpora, names, "tests/fuzz/run goes through the corpora");
}

/// A change that a torn or hostile input may have: bytes overwritten, cut out, doubled.
fn change(input: &mut Vec<u8>, at: usize, len: usize, byte: u8) {
    if input.is_empty() {
        return;
    }
    let at = at % input.len();
    let end = (at + len % 24).min(input.len());
    match byte % 4 {
        0 => input[at..end].fill(byte),
        1 => drop(input.drain(at..end)),
        2 => {
            let doubled = input[at..end].to_vec();
            input.splice(at..at, doubled);
        }
        _ => input[at] ^= byte,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        for (_, target) in targets::TARGETS {
            target(&bytes);
        }
    }

    #[test]
    fn damaged_inputs_are_taken(pick: usize, changes in prop::collection::vec((any::<usize>(), any::<usize>(), any::<u8>()), 1..6)) {
        for (name, target) in targets::TARGETS {
            let inputs = corpus(name);
            let mut input = inputs[pick % inputs.len()].clone();
            for (at, len, byte) in &changes {
                change(&mut input, *at, *len, *byte);
            }
            target(&input);
        }
    }
}

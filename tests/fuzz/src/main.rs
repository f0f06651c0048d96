//! libFuzzer's way into [`targets`]: the one that the environment names. One program for all of them, since to link one
//! takes longer than to run it.
#![no_main]

#[path = "../targets.rs"]
mod targets;

use std::sync::LazyLock;

/// Set by `tests/fuzz/run`.
const NAME: &str = "CELLWRIGHT_FUZZ_TARGET";

static TARGET: LazyLock<targets::Target> = LazyLock::new(|| {
    let wanted = std::env::var(NAME).unwrap_or_default();
    let found = targets::TARGETS.iter().find(|(name, _)| *name == wanted);
    found.unwrap_or_else(|| panic!("{NAME} is '{wanted}', which is no target")).1
});

libfuzzer_sys::fuzz_target!(|data: &[u8]| TARGET(data));

//! libFuzzer's way into [`targets::convert`].
#![no_main]

#[path = "../targets.rs"]
#[allow(dead_code)] // each target uses its own
mod targets;

libfuzzer_sys::fuzz_target!(|data: &[u8]| targets::convert(data));

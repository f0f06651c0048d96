//! The thin binary: parses, calls, maps to an exit code.

fn main() {}

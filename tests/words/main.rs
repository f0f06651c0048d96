//! What the program says: nothing that must never be said, and in each case of `docs/cases` what its page quotes.

mod cases;
mod literals;
mod never;
#[allow(dead_code)] // shared with the tests of the commands
#[path = "../commands/program.rs"]
mod program;
mod texts;

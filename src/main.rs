//! The thin binary: parses, calls, maps to an exit code.

use cellwright::app::{self, Exit};
use cellwright::config::Arguments;
use clap::Parser;
use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    match app::run(&Arguments::parse()) {
        Ok(exit) => exit.into(),
        Err(error) => {
            // Were the standard error gone, the exit code still says it.
            let _ = writeln!(std::io::stderr(), "{}", app::complaint(&error));
            Exit::Unusable.into()
        }
    }
}

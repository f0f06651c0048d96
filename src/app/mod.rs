//! The commands, one file each, and what they share: driving a pipeline, telling how far it has come, writing
//! out, and the exit code. The only room that reads the clock on the way of the data.

mod bank_file;
mod check;
mod clock;
mod convert;
mod decode;
mod demo;
mod demo_screen;
mod drive;
mod exit;
mod explain;
mod index;
pub mod live;
mod logs;
mod output;
mod player;
mod progress;
mod replay;
mod screen;
mod setup;
mod survey;
mod tape;
mod terminal;
mod watch;

pub use clock::SystemClock;
pub use demo_screen::demo_screen;
pub use drive::{Drive, drive};
pub use exit::Exit;
pub use replay::replay_screen;

use crate::config::{Arguments, Command};
use crate::pipeline::Setup;

/// Longest complaint, characters.
const COMPLAINT: usize = 2000;

/// Does what was asked for.
///
/// # Errors
/// What went wrong, where, and what to do about it, in one line.
pub fn run(arguments: &Arguments) -> anyhow::Result<Exit> {
    match &arguments.command {
        Command::Demo(args) if args.list => demo::list(),
        Command::Demo(args) => match &args.log {
            Some(path) => demo::write_log(args, path),
            None => {
                let (name, simulation) = demo::simulation(args)?;
                demo_screen::demo_screen(&name, simulation, args.days, Setup::default())
            }
        },
        Command::Watch(args) => watch::watch(args),
        Command::Replay(args) => replay::replay_screen(&args.logs, setup::setup(args.bank.as_deref(), args.dialect)?),
        Command::Bank(args) => bank_file::bank(args),
        Command::Check(args) => check::check(args),
        Command::Convert(args) => convert::convert(args),
        Command::Explain(args) => explain::explain(args),
        Command::Limits(args) => explain::limits(args),
        Command::Survey(args) => survey::survey(args),
        Command::Decode(args) => decode::decode(args),
    }
}

/// A complaint for the standard error: one line, harmless to show.
#[must_use]
pub fn complaint(error: &anyhow::Error) -> String {
    let mut text = String::new();
    for cause in error.chain() {
        // An error that tells its cause itself need not be followed by it.
        let words = cause.to_string();
        if !text.contains(&words) {
            let between = if text.is_empty() { "" } else { ": " };
            text = text + between + &words;
        }
    }
    format!("cellwright: {}", crate::model::clean(&text, COMPLAINT))
}

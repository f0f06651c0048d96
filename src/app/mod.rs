//! The commands, one file each, and what they share: driving a pipeline, telling how far it has come, writing
//! out, and the exit code. The only room that reads the clock on the way of the data.

mod check;
mod clock;
mod decode;
mod demo;
mod drive;
mod exit;
pub mod live;
mod logs;
mod output;
mod progress;
mod watch;

pub use clock::SystemClock;
pub use drive::{Drive, drive};
pub use exit::Exit;

use crate::config::{Arguments, Command};

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
            None => anyhow::bail!("the screen is not part of this build; use 'demo --log FILE' and 'check FILE'"),
        },
        Command::Replay(_) => anyhow::bail!("the screen is not part of this build; use 'check LOG'"),
        Command::Watch(args) => watch::watch(args),
        Command::Check(args) => check::check(args),
        Command::Decode(args) => decode::decode(args),
    }
}

/// A complaint for the standard error: one line, harmless to show.
#[must_use]
pub fn complaint(error: &anyhow::Error) -> String {
    format!("cellwright: {}", crate::model::clean(&format!("{error:#}"), COMPLAINT))
}

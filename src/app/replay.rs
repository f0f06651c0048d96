//! `replay`: a recorded log on the screen.

use super::Exit;
use super::index::Shared;
use super::player::Player;
use super::screen::{Opening, needs_terminal, show};
use crate::model::clean;
use crate::pipeline::{Pipeline, Setup};
use crate::source::log::LogReader;
use crate::tui::transport::Origin;
use std::path::PathBuf;

/// Seconds of the log in a second, to begin with.
const SPEED: f64 = 60.0;

/// Shows logs, in their order as one.
///
/// # Errors
/// When there is no terminal, or a log cannot be opened.
pub fn replay_screen(logs: &[PathBuf], setup: Setup) -> anyhow::Result<Exit> {
    needs_terminal("cellwright check LOG")?;
    let reader = LogReader::open(logs)?;
    let limits = setup.limits.clone();
    let fresh = Pipeline::new(setup);
    let index = Shared::default();
    let player = Player::new(reader, fresh.clone(), index.clone(), Origin::Log(names(logs)), SPEED);
    let paths = logs.to_vec();
    let scan = || index.scan(move || LogReader::open(&paths).map_err(|error| error.to_string()), fresh);
    show(player, &index, limits, Opening::AtTheStart, scan)?;
    Ok(Exit::Clear)
}

fn names(logs: &[PathBuf]) -> String {
    let first = logs.first().and_then(|path| path.file_name()).unwrap_or_default().to_string_lossy();
    let first = clean(&first, 60);
    if logs.len() > 1 { format!("{first} and {} more", logs.len() - 1) } else { first }
}

//! `demo` on the screen: a simulated bank, played as if it were a log, and said to be invented.

use super::Exit;
use super::index::Shared;
use super::player::Player;
use super::screen::{Opening, needs_terminal, show};
use super::tape::Invented;
use crate::pipeline::{Pipeline, Setup};
use crate::sim::{Simulation, scenario_info};
use crate::tui::transport::Origin;

/// Seconds of the scenario in a second: its first alert comes within seconds.
const SPEED: f64 = 60.0;

/// Shows a scenario; `simulation` stands at its start and runs for `days`, or for the scenario's own.
///
/// # Errors
/// When there is no terminal.
pub fn demo_screen(name: &str, simulation: Simulation, days: Option<f64>, setup: Setup) -> anyhow::Result<Exit> {
    needs_terminal("cellwright demo NAME --log FILE', then 'cellwright check FILE")?;
    let info = scenario_info(name);
    let days = days.or_else(|| info.map(|info| info.days)).unwrap_or(1.0);
    let about = info.map_or(String::new(), |info| info.about.trim_end_matches(" (invented)").to_owned());
    let origin = Origin::Invented { name: name.to_owned(), about };
    let limits = setup.limits.clone();
    let fresh = Pipeline::new(setup);
    let index = Shared::default();
    let tape = Invented::new(simulation.clone(), days);
    let player = Player::new(tape, fresh.clone(), index.clone(), origin, SPEED);
    let scan = || index.scan(move || Ok(Invented::new(simulation, days)), fresh);
    show(player, &index, limits, Opening::BeforeTheFirstAlert, scan)?;
    Ok(Exit::Clear)
}

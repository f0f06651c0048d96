//! `demo` without a screen: the list of scenarios, and a scenario as a log.

use super::progress::Progress;
use super::{Exit, output};
use crate::config::DemoArgs;
use crate::model::{Body, Input, clean, span};
use crate::sim::{Options, Simulation, cases, scenario_info, scenarios};
use crate::source::log::LogWriter;
use crate::wire::Interfaces;
use anyhow::Context;
use std::path::Path;

/// Interface on which the simulated bank speaks.
const INTERFACE: &[u8] = b"sim0";
/// Inputs between two looks at how far it has come.
const LOOK_EVERY: u64 = 1 << 14;

/// Lists the scenarios.
pub(super) fn list() -> anyhow::Result<Exit> {
    let widest = scenarios().iter().chain(cases()).map(|info| info.name.len()).max().unwrap_or(0);
    let mut text = String::from("Scenarios, all of them invented; 'cellwright demo NAME' shows one.\n\n");
    for (at, info) in scenarios().iter().chain(cases()).enumerate() {
        if at == scenarios().len() {
            text += "\nCases that the pages under docs/cases tell:\n\n";
        }
        text += &format!("  {:widest$}  {}\n", info.name, info.about);
        let (length, spacing) = (span(info.days * 86_400.0), span(info.sample));
        text += &format!("  {:widest$}  {length}, a set of frames every {spacing}\n", "");
    }
    output::print(&text)?;
    Ok(Exit::Clear)
}

/// The scenario that was named, or the one from which a newcomer learns most.
pub(super) fn simulation(args: &DemoArgs) -> anyhow::Result<(String, Simulation)> {
    let first = scenarios().first().map(|info| info.name);
    let name = args.name.as_deref().or(first).context("there is no scenario")?;
    let options = Options { seed: args.seed, days: args.days, sample: args.sample };
    let simulation = Simulation::new(name, options).context("see 'cellwright demo --list'")?;
    Ok((name.to_owned(), simulation))
}

/// Writes a scenario as a log; its first line says that it is invented.
pub(super) fn write_log(args: &DemoArgs, path: &Path) -> anyhow::Result<Exit> {
    let (name, simulation) = simulation(args)?;
    let mut interfaces = Interfaces::new();
    interfaces.channel(INTERFACE).ok().context("the interface has no valid name")?;
    let mut writer = LogWriter::create(path)?;
    let note = format!("Invented: scenario {}, seed {}", clean(&name, 60), args.seed);
    writer.write(&Input { stamp: simulation.start(), body: Body::Note(note) }, &interfaces)?;
    let days = args.days.or_else(|| scenario_info(&name).map(|info| info.days));
    let end = simulation.start().plus_secs(days.unwrap_or(0.0) * 86_400.0);
    let (start, mut count) = (simulation.start(), 0_u64);
    let mut progress = Progress::new("simulating");
    for input in simulation {
        writer.write(&input, &interfaces)?;
        count += 1;
        if count.is_multiple_of(LOOK_EVERY) {
            progress.show(input.stamp.since(start).max(0.0) as u64, Some(end.since(start) as u64));
        }
    }
    writer.finish()?;
    Ok(Exit::Clear)
}

//! `bank`: a template of a bank file, and what one means.

use super::{Exit, output, setup};
use crate::bank::{self, BankFile, TEMPLATE};
use crate::config::{BankArgs, BankCommand};
use crate::model::{Dialect, SensorRole};
use std::fmt::Write;

/// Prints the template, or what a bank file means.
pub(super) fn bank(args: &BankArgs) -> anyhow::Result<Exit> {
    output::print(&match &args.what {
        BankCommand::Template => TEMPLATE.to_owned(),
        BankCommand::Check { file } => told(&setup::bank_file(file)?),
        BankCommand::Inline { file } => bank::write(&setup::bank_file(file)?),
    })?;
    Ok(Exit::Clear)
}

/// What a bank file means, and what it leaves open.
fn told(file: &BankFile) -> String {
    let mut out = String::new();
    let name = if file.name.is_empty() { "The bank" } else { &file.name };
    let dialect = match file.dialect {
        Some(dialect) if file.signals.is_empty() || dialect == Dialect::File => dialect.to_string(),
        Some(dialect) => format!("{dialect}, and the signals of this file"),
        None if file.signals.is_empty() => "found from the traffic".to_owned(),
        None => "the signals of this file; no open standard is read beside them unless 'dialect' names it".to_owned(),
    };
    let _ = writeln!(out, "{name}\nWhat the bus speaks: {dialect}\n"); // into a String: cannot fail
    packs(&mut out, file);
    if !file.signals.is_empty() {
        out.push_str("\nSignals\n");
        for signal in &file.signals {
            let _ = writeln!(out, "    {}", signal.words());
        }
    }
    for (name, number) in &file.limits {
        let _ = writeln!(out, "Limit {name} = {number}");
    }
    for event in &file.events {
        let pack = event.pack.map_or(String::new(), |pack| format!(", pack {}", pack + 1));
        let sensor = event.sensor.map_or(String::new(), |sensor| format!(", sensor {}", sensor + 1));
        let _ = writeln!(out, "{:.0}: {}{pack}{sensor} {}", event.at, event.change.word(), event.note);
    }
    let open = bank::open(file);
    if !open.is_empty() {
        out.push_str("\nLeft open\n");
        open.iter().for_each(|line| out.push_str(&format!("    {line}\n")));
    }
    out
}

fn packs(out: &mut String, file: &BankFile) {
    let bank = &file.bank;
    if bank.packs.is_empty() {
        out.push_str("No [[pack]]: the bus's own description is taken, where it sends one\n");
    }
    for (number, pack) in (1_usize..).zip(&bank.packs) {
        let cells = pack.cells.map_or("cells not said".to_owned(), |cells| format!("{cells} cells in series"));
        let capacity =
            pack.rated.capacity.map_or("capacity not said".to_owned(), |capacity| format!("{} Ah", capacity.get()));
        let sensors = pack.sensors.iter().filter(|sensor| sensor.role != SensorRole::Unknown);
        let sensors: Vec<&str> = sensors.map(|sensor| sensor.role.word()).collect();
        let sensors = if sensors.is_empty() {
            "no sensor's role said".to_owned()
        } else {
            format!("sensors: {}", sensors.join(", "))
        };
        let instance = file.instances.get(number - 1);
        let instance = instance.map_or_else(String::new, |instance| format!(", battery instance {instance}"));
        let _ = writeln!(out, "Pack {number}: {cells}, {capacity}, {sensors}{instance}");
    }
}

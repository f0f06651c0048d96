//! Writes the log of a scenario that stands in a file, as the campaign's notes hold one for each bank that went wrong:
//! `cargo run --example scenario_log -- FILE SEED DAYS SAMPLE LOG`.

use cellwright::sim::{Options, Simulation};
use cellwright::source::log::LogWriter;
use cellwright::wire::Interfaces;
use std::env::args;
use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let text = |index: usize| args().nth(index).ok_or("FILE SEED DAYS SAMPLE LOG are wanted");
    let options = Options { seed: text(2)?.parse()?, days: Some(text(3)?.parse()?), sample: Some(text(4)?.parse()?) };
    let simulation = Simulation::from_text(&std::fs::read_to_string(text(1)?)?, options)?;
    let mut interfaces = Interfaces::new();
    interfaces.channel(b"can0").ok().ok_or("the interface has no valid name")?;
    let mut writer = LogWriter::create(Path::new(&text(5)?))?;
    for input in simulation {
        writer.write(&input, &interfaces)?;
    }
    writer.finish()?;
    Ok(())
}

//! Prints a scenario of the simulated bank as a table of what is really so:
//! `cargo run --example scenario_table -- NAME [MINUTES BETWEEN ROWS] [SEED] [DAYS] [SAMPLE]`.

use cellwright::sim::{Options, PackTruth, Simulation};
use std::env::args;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let name = args().nth(1).unwrap_or_else(|| "cold-morning".to_owned());
    let number = |index: usize| args().nth(index).map(|text| text.parse::<f64>()).transpose();
    let every = number(2)?.unwrap_or(30.0) * 60.0;
    let seed = number(3)?.unwrap_or(1.0) as u64;
    let mut simulation = Simulation::new(&name, Options { seed, days: number(4)?, sample: number(5)? })?;
    println!(
        "   minute   air |   bus    load  sources | pack: amps   paths  mean SOC  lowest V  highest V  coldest  hottest"
    );
    let mut row = 0.0;
    while simulation.next().is_some() {
        let secs = simulation.seconds();
        if secs < row {
            continue;
        }
        row = secs + every;
        let truth = simulation.truth();
        let sources: Vec<String> = truth.sources.iter().map(|amps| format!("{amps:.1}")).collect();
        print!(
            "{:9.1} {:5.1} | {:5.2} {:7.2}  {:>7}",
            secs / 60.0,
            truth.air,
            truth.bus,
            truth.load,
            sources.join("/")
        );
        truth.packs.iter().for_each(print_pack);
        println!();
    }
    Ok(())
}

fn print_pack(pack: &PackTruth) {
    let of = |get: fn(&cellwright::sim::CellTruth) -> f64| pack.cells.iter().map(get).collect::<Vec<f64>>();
    let low = |values: &[f64]| values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = |values: &[f64]| values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let (socs, volts, warm) = (of(|c| c.soc), of(|c| c.volts), of(|c| c.celsius));
    let mean = socs.iter().sum::<f64>() / socs.len() as f64;
    let paths = format!("{}{}", if pack.charge { "C" } else { "-" }, if pack.discharge { "D" } else { "-" });
    print!(" | {:10.2} {paths:>7}  {mean:8.4}  {:8.3}  {:9.3}", pack.amps, low(&volts), high(&volts));
    print!("  {:7.2}  {:7.2}", low(&warm), high(&warm));
}

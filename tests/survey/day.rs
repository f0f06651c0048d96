//! A varied half day of a simulated bank: loads of all sizes, a charger, a fridge; what is true at each second.

use crate::dice::Dice;
use cellwright::sim::{Options, Simulation};
use std::fmt::Write;

/// What is true of one pack at a second.
#[derive(Debug, Clone)]
pub(crate) struct PackNow {
    pub(crate) cells: Vec<f64>,
    pub(crate) amps: f64,
    pub(crate) soc: f64,
    pub(crate) celsius: Vec<f64>,
}

/// A bank's day.
#[derive(Debug, Clone)]
pub(crate) struct Day {
    /// Rated capacity of each pack, Ah.
    pub(crate) capacity: f64,
    /// Air around it, °C.
    pub(crate) air: f64,
    /// One row a second.
    pub(crate) rows: Vec<Vec<PackNow>>,
}

const CAPACITIES: [f64; 7] = [100.0, 120.0, 150.0, 200.0, 230.0, 280.0, 300.0];

impl Day {
    pub(crate) fn new(seed: u64, cells: usize, packs: usize) -> Self {
        let mut dice = Dice::new(seed, 11);
        let capacity = *dice.pick(&CAPACITIES);
        let air = dice.between(2.0, 30.0).round();
        let hours = dice.between(6.0, 10.0);
        let text = scenario(&mut dice, hours, (capacity, air), (cells, packs));
        let options = Options { seed, days: Some(hours / 24.0), sample: Some(1.0) };
        let mut simulation = Simulation::from_text(&text, options).expect("a scenario");
        let (mut rows, mut last) = (Vec::new(), -1.0);
        while simulation.next().is_some() {
            if simulation.seconds() == last {
                continue;
            }
            last = simulation.seconds();
            let now = |pack: &cellwright::sim::PackTruth| PackNow {
                cells: pack.cells.iter().map(|cell| cell.volts).collect(),
                amps: pack.amps,
                soc: pack.cells.iter().map(|cell| cell.soc).sum::<f64>() / pack.cells.len() as f64,
                celsius: pack.cells.iter().map(|cell| cell.celsius).collect(),
            };
            rows.push(simulation.truth().packs.iter().map(now).collect());
        }
        Self { capacity, air, rows }
    }
}

/// A scenario in the words of the simulator; every number of it is drawn.
fn scenario(dice: &mut Dice, hours: f64, (capacity, air): (f64, f64), (cells, packs): (usize, usize)) -> String {
    let scale = cells as f64 / 4.0;
    let mut text = format!(
        "about = \"drawn\"\nstart = \"2026-03-01T00:00:00Z\"\ndays = 1\nsample = 1\n\
         weather = {{ mean = {air}, swing = {} }}\njoint = {{ link_milliohm = {}, diagonal = {} }}\n",
        dice.between(1.0, 4.0),
        dice.between(0.1, 0.5),
        dice.chance(0.5)
    );
    let soc = dice.between(0.45, 0.85);
    for _ in 0..packs {
        text.push_str(&pack(dice, cells, (capacity, air), soc));
    }
    let _ = writeln!(
        text,
        "[[source]]\nkind = \"shore\"\namps = {}\nabsorption = {}\nfloat = {}\non = [{}]",
        dice.between(0.15, 0.4) * capacity * packs as f64,
        14.3 * scale,
        13.5 * scale,
        spans(dice, hours, 3, (0.15 * hours / 3.0, 0.4 * hours / 3.0))
    );
    text.push_str(&loads(dice, hours, 13.2 * scale * capacity * packs as f64));
    text
}

fn pack(dice: &mut Dice, cells: usize, (capacity, air): (f64, f64), soc: f64) -> String {
    let scale = cells as f64 / 4.0;
    let soc = soc + dice.between(-0.04, 0.04);
    let (high, low) = (14.4 * scale, 13.6 * scale);
    format!(
        "[[pack]]\ncells = {cells}\ncapacity = {capacity}\nsoc = {soc}\nloss = {}\ncelsius = {}\nsensors = []\n\
         label = {{ charge = {capacity}, discharge = {capacity}, weakest = {capacity}, absorption = {high}, float = {low} }}\n\
         spread = {{ capacity = 0.01, charge = 0.002, resistance = {} }}\n",
        1.5 * scale,
        air + dice.between(0.0, 3.0),
        dice.between(0.05, 0.2)
    )
}

/// What is always on, a fridge, and three loads that come and go; `full` are the watts of the whole bank at 1 C.
fn loads(dice: &mut Dice, hours: f64, full: f64) -> String {
    let mut text = format!("[[load]]\nwatts = {}\n", dice.between(0.001, 0.004) * full);
    let fridge = dice.between(0.015, 0.03) * full;
    let _ = writeln!(text, "[[load]]\nwatts = {fridge}\ncycle_minutes = {}\nduty = 0.4", dice.between(4.0, 15.0));
    for _ in 0..3 {
        let (watts, spans) = (dice.between(0.05, 0.35) * full, spans(dice, hours, 3 + hours as usize / 2, (0.05, 0.3)));
        let _ = writeln!(text, "[[load]]\nwatts = {watts}\non = [{spans}]");
    }
    text
}

/// Some spans of these hours, so and so long.
fn spans(dice: &mut Dice, hours: f64, count: usize, (short, long): (f64, f64)) -> String {
    let mut spans = Vec::new();
    for part in 0..count {
        let width = hours / count as f64;
        let from = width * (part as f64 + 0.6 * dice.share());
        let to = from + dice.between(short, long);
        spans.push(format!("{{ from = {from:.4}, to = {to:.4} }}"));
    }
    spans.join(", ")
}

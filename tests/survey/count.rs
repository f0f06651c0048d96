//! Surveys foreign buses drawn from a seed and prints how many roles were right:
//! `survey_count SEED [BUSES] [--suite FOLDER] [--verbose] [--only N] [--bare] [--empty N]`. SEED is a number or a commit's hash.
//! Ends with 1 when fewer roles are right, or more wrong, than is asked for, or anything is claimed where no bank is.

mod bus;
mod chatter;
mod day;
mod dice;
mod encoding;
mod layout;
mod score;
mod suite;

use bus::Bus;
use cellwright::model::Quantity;
use cellwright::survey::{Found, Known, Survey};
use score::Score;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::ExitCode;
use suite::Shape;

/// Share of the roles that must be right at least, and may be wrong at most, in hundredths.
const LEAST_RIGHT: f64 = 90.0;
const MOST_WRONG: f64 = 2.0;

/// What is asked for.
struct Asked {
    seed: u64,
    buses: usize,
    shapes: Vec<Shape>,
    only: Option<usize>,
    verbose: bool,
    bare: bool,
    /// Buses without a bank; one for three with one when nothing is said.
    empty: Option<usize>,
}

/// What came of it.
#[derive(Default)]
struct Count {
    all: Score,
    by: BTreeMap<Quantity, Score>,
    claimed: usize,
}

fn main() -> ExitCode {
    let asked = asked();
    println!("seed {}, {} shapes of messages", asked.seed, asked.shapes.len());
    let mut count = Count::default();
    for number in (0..asked.buses).filter(|number| asked.only.is_none_or(|only| only == *number)) {
        count.bus(&asked, number);
    }
    let usual = if asked.only.is_some() { 0 } else { asked.buses.div_ceil(3) };
    let empty = asked.empty.unwrap_or(usual);
    (0..empty).for_each(|number| count.empty(&asked, number));
    let is_good = count.print(empty);
    if is_good || asked.only.is_some() || asked.bare { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn asked() -> Asked {
    let mut words = Vec::new();
    let (mut folder, mut verbose, mut only, mut bare, mut empty) = (None, false, None, false, None);
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        match word.as_str() {
            "--suite" => folder = given.next(),
            "--verbose" => verbose = true,
            "--bare" => bare = true,
            "--empty" => empty = given.next().and_then(|n| n.parse::<usize>().ok()),
            "--only" => only = given.next().and_then(|n| n.parse::<usize>().ok()),
            _ => words.push(word),
        }
    }
    let seed = words.first().map_or(1, |word| seed_of(word));
    let buses = words.get(1).and_then(|n| n.parse().ok()).unwrap_or(24);
    let shapes = folder.map_or_else(|| suite::drawn(seed), |folder| suite::read(Path::new(&folder)));
    assert!(!shapes.is_empty(), "no messages in that folder");
    Asked { seed, buses, shapes, only, verbose, bare, empty }
}

fn found(bus: &Bus, known: &Known) -> Found {
    let mut survey = Survey::new();
    bus.frames().iter().for_each(|(stamp, frame)| survey.push(*stamp, frame));
    survey.find(known)
}

impl Count {
    /// A bus with a bank.
    fn bus(&mut self, asked: &Asked, number: usize) {
        let of_bus = dice::Dice::new(asked.seed, number as u64 + 1000).bits();
        let bus = Bus::new(of_bus, number % 3 == 2, &asked.shapes);
        let known = Known { capacity: Some(bus.day.capacity), celsius: Some(bus.day.air) };
        let found = found(&bus, &if asked.bare { Known::default() } else { known });
        let layout = bus.layout.as_ref().expect("a bank");
        let mut told = Vec::new();
        let (score, of_each) = score::score(&bus, &bus.frames(), &found, |text| told.push(text));
        println!(
            "bus {number:3}: {} packs of {:2}, {:?}{}, {} frames, {} ids: {} right, {} wrong, {} not found",
            layout.packs,
            layout.cells,
            layout.mux,
            if layout.from_shapes { ", shaped" } else { "" },
            found.frames,
            layout.messages.len() + bus.talks.len(),
            score.right,
            score.wrong,
            score.missed
        );
        if asked.verbose {
            told.iter().for_each(|text| println!("    {text}"));
            found.open.iter().for_each(|open| println!("    open: {}: {}", open.what.name(), open.why));
        }
        self.all.add(score);
        of_each.iter().for_each(|(quantity, score)| self.by.entry(*quantity).or_default().add(*score));
    }

    /// A bus without one.
    fn empty(&mut self, asked: &Asked, number: usize) {
        let bus = Bus::empty(dice::Dice::new(asked.seed, number as u64 + 5000).bits(), &asked.shapes);
        let found = found(&bus, &Known { capacity: Some(100.0), celsius: Some(20.0) });
        found.roles.iter().for_each(|role| {
            println!(
                "    claimed without a bank: {} {} {:?}: {}",
                score::name(role.slot),
                role.id,
                role.field,
                role.evidence
            )
        });
        self.claimed += found.roles.len();
    }

    /// Prints the sums; whether they are good enough.
    fn print(&self, empty: usize) -> bool {
        for (quantity, score) in &self.by {
            println!(
                "{:16} {:4} right, {:3} wrong, {:3} not found",
                quantity.name(),
                score.right,
                score.wrong,
                score.missed
            );
        }
        let share = |part: usize| 100.0 * part as f64 / self.all.all().max(1) as f64;
        let (right, wrong, claimed) = (share(self.all.right), share(self.all.wrong), self.claimed);
        println!(
            "{} roles: {right:.1} % right, {wrong:.1} % wrong, {:.1} % not found; {claimed} claimed on {empty} buses \
             without a bank",
            self.all.all(),
            share(self.all.missed),
        );
        right >= LEAST_RIGHT && wrong <= MOST_WRONG && claimed == 0
    }
}

/// A number, or the first eight bytes of a hash in hex.
fn seed_of(word: &str) -> u64 {
    word.parse()
        .ok()
        .or_else(|| u64::from_str_radix(word.get(..16)?, 16).ok())
        .unwrap_or_else(|| word.bytes().fold(7, |sum, byte| sum * 31 + u64::from(byte)))
}

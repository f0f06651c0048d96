//! Surveys foreign buses drawn from a seed and prints how many roles were right:
//! `survey_count SEED [BUSES] [--suite FOLDER] [--verbose] [--only N] [--bare]`. SEED is a number or a commit's hash.

mod bus;
mod chatter;
mod day;
mod dice;
mod encoding;
mod layout;
mod score;
mod suite;

use bus::Bus;
use cellwright::survey::{Known, Survey};
use score::Score;
use std::collections::BTreeMap;
use std::path::Path;

fn main() {
    let mut words = Vec::new();
    let (mut folder, mut verbose, mut only, mut bare) = (None, false, None, false);
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        match word.as_str() {
            "--suite" => folder = given.next(),
            "--verbose" => verbose = true,
            "--bare" => bare = true,
            "--only" => only = given.next().and_then(|n| n.parse::<usize>().ok()),
            _ => words.push(word),
        }
    }
    let seed = words.first().map_or(1, |word| seed_of(word));
    let buses = words.get(1).and_then(|n| n.parse().ok()).unwrap_or(24);
    let shapes = folder.map_or_else(|| suite::drawn(seed), |folder| suite::read(Path::new(&folder)));
    println!("seed {seed}, {} shapes of messages", shapes.len());
    let (mut all, mut by) = (Score::default(), BTreeMap::<_, Score>::new());
    for number in (0..buses).filter(|number| only.is_none_or(|only| only == *number)) {
        let of_bus = dice::Dice::new(seed, number as u64 + 1000).bits();
        let bus = Bus::new(of_bus, number % 3 == 2, &shapes);
        let frames = bus.frames();
        let mut survey = Survey::new();
        frames.iter().for_each(|(stamp, frame)| survey.push(*stamp, frame));
        let known = Known { capacity: Some(bus.day.capacity), celsius: Some(bus.day.air) };
        let found = survey.find(&if bare { Known::default() } else { known });
        let layout = bus.layout.as_ref().expect("a bank");
        let mut told = Vec::new();
        let (score, of_each) = score::score(&bus, &frames, &found, |text| told.push(text));
        println!(
            "bus {number:3}: {} packs of {:2}, {:?}{}, {} frames, {} ids: {} right, {} wrong, {} not found",
            layout.packs,
            layout.cells,
            layout.mux,
            if layout.from_shapes { ", shaped" } else { "" },
            frames.len(),
            layout.messages.len() + bus.talks.len(),
            score.right,
            score.wrong,
            score.missed
        );
        if verbose {
            told.iter().for_each(|text| println!("    {text}"));
        }
        all.add(score);
        of_each.iter().for_each(|(quantity, score)| by.entry(*quantity).or_default().add(*score));
    }
    let mut claimed = 0;
    for number in 0..if only.is_some() { 0 } else { buses / 3 } {
        let bus = Bus::empty(dice::Dice::new(seed, number as u64 + 5000).bits(), &shapes);
        let mut survey = Survey::new();
        bus.frames().iter().for_each(|(stamp, frame)| survey.push(*stamp, frame));
        let found = survey.find(&Known { capacity: Some(100.0), celsius: Some(20.0) });
        found.roles.iter().for_each(|role| {
            println!("    claimed without a bank: {} {} {:?}", score::name(role.slot), role.id, role.field)
        });
        claimed += found.roles.len();
    }
    for (quantity, score) in &by {
        println!(
            "{:16} {:4} right, {:3} wrong, {:3} not found",
            quantity.name(),
            score.right,
            score.wrong,
            score.missed
        );
    }
    let share = |part: usize| 100.0 * part as f64 / all.all().max(1) as f64;
    println!(
        "{} roles: {:.1} % right, {:.1} % wrong, {:.1} % not found; {claimed} claimed on {} buses without a bank",
        all.all(),
        share(all.right),
        share(all.wrong),
        share(all.missed),
        buses / 3
    );
}

/// A number, or the first eight bytes of a hash in hex.
fn seed_of(word: &str) -> u64 {
    word.parse()
        .ok()
        .or_else(|| u64::from_str_radix(word.get(..16)?, 16).ok())
        .unwrap_or_else(|| word.bytes().fold(7, |sum, byte| sum * 31 + u64::from(byte)))
}

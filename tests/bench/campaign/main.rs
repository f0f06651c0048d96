//! The campaign: drawn banks, with and without faults, through the whole pipeline; how often it is right and wrong.
//!
//! `cargo bench --bench campaign -- --banks 300 --seed TEXT [--write] [--notes FOLDER] [--only NUMBER] [--like TEXT] [--gate] [--rule]`.
//! The final count takes the hash of the measured commit for the seed. `--write` renews `docs/accuracy.md`;
//! `--like` runs only banks whose story holds one of some words, with commas between; `--notes` puts what went wrong, and each bank's scenario that did, into a folder; `--gate` fails on a goal that is
//! missed, a false warning, and bounds that hold the truth in fewer than 90 of 100; `--rule` tells, without the engine, what the data can show.

mod cold;
mod dice;
mod draw;
mod evidence;
mod faults;
mod figures;
mod goals;
mod held;
mod life;
mod page;
mod pairs;
mod rule;
mod scenario;
mod score;
mod sharing;
mod watch;

use score::Outcome;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Mutex;

/// Threads at most.
const THREADS: usize = 2;

struct Arguments {
    banks: u64,
    seed: String,
    notes: Option<String>,
    only: Option<u64>,
    like: Option<String>,
    write: bool,
    gate: bool,
    rule: bool,
}

fn arguments() -> Arguments {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let after = |name: &str| words.iter().position(|word| word == name).and_then(|at| words.get(at + 1)).cloned();
    let number =
        |name: &str| after(name).map(|word| word.parse().unwrap_or_else(|_| panic!("{name} {word}: a number")));
    Arguments {
        banks: number("--banks").unwrap_or(30),
        seed: after("--seed").unwrap_or_else(|| "thirty banks of every change".to_owned()),
        notes: after("--notes"),
        only: number("--only"),
        like: after("--like"),
        write: words.iter().any(|word| word == "--write"),
        gate: words.iter().any(|word| word == "--gate"),
        rule: words.iter().any(|word| word == "--rule"),
    }
}

fn main() -> ExitCode {
    let asked = arguments();
    let seed = dice::seed_of(&asked.seed);
    let mut numbers: Vec<u64> = asked.only.map_or_else(|| (0..asked.banks).collect(), |only| vec![only]);
    if let Some(words) = &asked.like {
        numbers.retain(|number| {
            let about = draw::draw(seed, *number).about;
            words.split(',').any(|word| about.contains(word))
        });
    }
    let (queue, done) = (Mutex::new(numbers.into_iter()), Mutex::new(Vec::<(u64, Outcome)>::new()));
    std::thread::scope(|scope| {
        for _ in 0..THREADS {
            scope.spawn(|| {
                loop {
                    let number = queue.lock().expect("no thread has failed").next();
                    let Some(number) = number else { break };
                    let plan = draw::draw(seed, number);
                    let outcome = if asked.rule { score::rule_alone(plan) } else { score::run(plan) };
                    tell(number, &outcome);
                    done.lock().expect("no thread has failed").push((number, outcome));
                }
            });
        }
    });
    let mut outcomes = done.into_inner().expect("no thread has failed");
    outcomes.sort_by_key(|(number, _)| *number);
    if let Some(folder) = &asked.notes {
        write_notes(Path::new(folder), &outcomes);
    }
    let outcomes: Vec<Outcome> = outcomes.into_iter().map(|(_, outcome)| outcome).collect();
    let (page, broken, narrow) = page::of(&asked.seed, &outcomes);
    println!("{page}");
    if asked.write {
        std::fs::write(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/accuracy.md"), &page)
            .expect("the page can be written");
    }
    for why in &narrow {
        println!("TOO NARROW: {why}");
    }
    for why in &broken {
        println!("BROKEN: {why}");
    }
    if asked.gate && !broken.is_empty() { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

/// One line a bank, so that a long run shows where it is.
fn tell(number: u64, outcome: &Outcome) {
    let plan = &outcome.plan;
    let missed = outcome
        .asked
        .iter()
        .filter(|asked| asked.found.is_none())
        .map(|asked| format!(" missed {} {}", asked.code, asked.severity.word()));
    let wrong = outcome.wrong.iter().map(|wrong| format!(" FALSE {} {}", wrong.code, wrong.severity.word()));
    let hidden =
        outcome.excluded.iter().map(|one| format!(" hidden {}", one.run.split(' ').next().unwrap_or_default()));
    eprintln!(
        "{number:4} {:?} {}x{}s {} Ah, {} s, {:.1} d, {} frames: {};{}{}{}",
        plan.sort,
        plan.packs,
        plan.cells,
        plan.capacity,
        plan.sample,
        plan.days,
        outcome.frames,
        plan.about,
        missed.collect::<String>(),
        wrong.collect::<String>(),
        hidden.collect::<String>()
    );
}

/// What went wrong, with the scenario to run again.
fn write_notes(folder: &Path, outcomes: &[(u64, Outcome)]) {
    std::fs::create_dir_all(folder).expect("the folder can be made");
    let mut list = String::new();
    for (number, outcome) in outcomes {
        let missed: Vec<&score::Asked> = outcome.asked.iter().filter(|asked| asked.found.is_none()).collect();
        let narrow = narrow(outcome);
        if missed.is_empty() && outcome.wrong.is_empty() && outcome.excluded.is_empty() && narrow.is_empty() {
            continue;
        }
        let plan = &outcome.plan;
        list += &format!(
            "bank {number} (seed {}; {:?}): {}, {} s, {:.2} d\n",
            plan.seed, plan.sort, plan.about, plan.sample, plan.days
        );
        for asked in missed {
            list += &format!("  MISSED {} {}\n", asked.code, asked.severity.word());
        }
        for wrong in &outcome.wrong {
            list += &format!("  FALSE {} {}: {}\n", wrong.code, wrong.severity.word(), wrong.text);
        }
        for one in &outcome.excluded {
            let found = one.found.map_or("not found", cellwright::model::finding::Severity::word);
            list += &format!("  EXCLUDED {}: {found} all the same\n", one.run);
        }
        list += &narrow;
        std::fs::write(folder.join(format!("bank-{number}.toml")), &plan.text).expect("the scenario can be written");
    }
    std::fs::write(folder.join("list.txt"), list).expect("the list can be written");
}

/// Estimates that a bank put outside their bounds, each with how often and the last of them.
fn narrow(outcome: &Outcome) -> String {
    let mut by_name: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for one in &outcome.compared {
        by_name.entry(one.name).or_default().extend(one.miss.as_deref());
    }
    let line = |(name, misses): (&str, Vec<&str>)| {
        Some(format!("  NARROW {name}, {} times, {}\n", misses.len(), misses.last()?))
    };
    by_name.into_iter().filter_map(line).collect()
}

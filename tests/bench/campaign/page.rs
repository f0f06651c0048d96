//! The page of figures, from a run alone.

use super::draw::Sort;
use super::score::{Compared, Outcome};
use cellwright::model::finding::Severity;
use std::collections::BTreeMap;
use std::fmt::Write;

/// The rule in words.
const RULE: &str = include_str!("rule.md");
/// Share of comparisons in which the truth lies within the stated bounds.
const COVERAGE: f64 = 0.95;
/// Fewer comparisons say nothing of a share.
const FEW: usize = 20;

/// Fewer than this, of many comparisons, breaks the gate: thirty banks may lie a little below the goal by chance.
const LEAST_COVERAGE: f64 = 0.90;
const MANY: usize = 100;

/// The page, what breaks a gate, and bounds that are too narrow, which are said.
pub(crate) fn of(seed: &str, outcomes: &[Outcome]) -> (String, Vec<String>, Vec<String>) {
    let mut page = String::from("# How often Cellwright is right\n\n");
    let (mut broken, mut narrow) = (Vec::new(), Vec::new());
    head(&mut page, seed, outcomes);
    broken.extend(super::goals::write(&mut page, outcomes));
    false_alarms(&mut page, outcomes, &mut broken);
    recall(&mut page, outcomes);
    estimates(&mut page, outcomes, &mut narrow, &mut broken);
    let _ = write!(page, "\n{RULE}");
    (page, broken, narrow)
}

fn head(page: &mut String, seed: &str, outcomes: &[Outcome]) {
    let frames: u64 = outcomes.iter().map(|one| one.frames).sum();
    let days: f64 = outcomes.iter().map(|one| one.plan.days).sum();
    let count = |sort: Sort| outcomes.iter().filter(|one| one.plan.sort == sort).count();
    let _ = writeln!(
        page,
        "Written by `cargo bench --bench campaign -- --banks {} --seed {seed} --write`; every figure is from that run.\n\
         The banks are invented and simulated: their curves come from another published set than the engine's, but the\n\
         simulator is no judge in its own cause; `tests/reference/` holds the engine against data that it did not make.\n\
         Both take 20 minutes for what the current adds slowly and 27.5 J/K a cell and Ah: an error of these does not show here.\n\n\
         {} banks, {days:.0} bank-days, {frames} frames: {} healthy, {} near misses, {} with one fault, {} with two.",
        outcomes.len(),
        outcomes.len(),
        count(Sort::Healthy),
        count(Sort::NearMiss),
        count(Sort::Single),
        count(Sort::Pair)
    );
    let drawn: u32 = outcomes.iter().map(|one| one.drawn).sum();
    let excluded: Vec<_> = outcomes.iter().flat_map(|one| &one.excluded).collect();
    let share = 100.0 * excluded.len() as f64 / f64::from(drawn.max(1));
    let _ = writeln!(
        page,
        "Of {drawn} faults drawn small or plain the data cannot show {} ({share:.0} %, at most 20 % wanted) by the rule below; {} of \
         these were found all the same.",
        excluded.len(),
        excluded.iter().filter(|one| one.found.is_some()).count()
    );
}

fn false_alarms(page: &mut String, outcomes: &[Outcome], broken: &mut Vec<String>) {
    let _ = writeln!(
        page,
        "\n## False alarms\n\n| banks | bank-days | at warning or above | notices | notices a bank-year |\n|---|---|---|---|---|"
    );
    let groups: [(&str, &[Sort]); 3] = [
        ("healthy", &[Sort::Healthy]),
        ("near misses", &[Sort::NearMiss]),
        ("with faults, beyond what the faults explain", &[Sort::Single, Sort::Pair]),
    ];
    for (name, sorts) in groups {
        let of: Vec<&Outcome> = outcomes.iter().filter(|one| sorts.contains(&one.plan.sort)).collect();
        let days: f64 = of.iter().map(|one| one.plan.days).sum();
        let wrong = |bad: bool| {
            of.iter().flat_map(|one| &one.wrong).filter(|wrong| (wrong.severity >= Severity::Warning) == bad).count()
        };
        let (bad, mild) = (wrong(true), wrong(false));
        let _ =
            writeln!(page, "| {name} | {days:.0} | {bad} | {mild} | {:.1} |", mild as f64 / (days / 365.0).max(1e-9));
    }
    for one in outcomes {
        for wrong in one.wrong.iter().filter(|wrong| wrong.severity >= Severity::Warning) {
            broken.push(format!("a false {} {} on '{}'", wrong.code, wrong.severity.word(), one.plan.about));
        }
    }
    let mut codes: BTreeMap<(&str, &str), u32> = BTreeMap::new();
    for wrong in outcomes.iter().flat_map(|one| &one.wrong) {
        *codes.entry((wrong.code, wrong.severity.word())).or_default() += 1;
    }
    if !codes.is_empty() {
        let told: Vec<String> = codes.iter().map(|((code, word), count)| format!("`{code}` {word} {count}")).collect();
        let _ = writeln!(page, "\nBy condition: {}.", told.join(", "));
    }
}

fn recall(page: &mut String, outcomes: &[Outcome]) {
    let mut rows: BTreeMap<(&str, Severity, &str), (u32, Vec<f64>)> = BTreeMap::new();
    for asked in outcomes.iter().flat_map(|one| &one.asked) {
        let size = match asked.grade {
            None => "any cause",
            Some(0) => "harmless",
            Some(1) => "small",
            Some(_) => "plain",
        };
        let row = rows.entry((asked.code, asked.severity, size)).or_default();
        row.0 += 1;
        row.1.extend(asked.found);
    }
    let _ = writeln!(
        page,
        "\n## Found, of what had to be found\n\n| condition | as | size | asked | found | latency, median h |\n|---|---|---|---|---|---|"
    );
    for ((code, severity, size), (asked, mut found)) in rows {
        found.sort_by(f64::total_cmp);
        let latency = found.get(found.len() / 2).map_or("–".to_owned(), |secs| format!("{:.1}", secs / 3600.0));
        let _ = writeln!(page, "| `{code}` | {} | {size} | {asked} | {} | {latency} |", severity.word(), found.len());
    }
}

pub(crate) fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

fn estimates(page: &mut String, outcomes: &[Outcome], narrow: &mut Vec<String>, broken: &mut Vec<String>) {
    let mut rows: BTreeMap<String, Vec<&Compared>> = BTreeMap::new();
    for one in outcomes.iter().flat_map(|one| &one.compared) {
        let at_least = if one.half.is_finite() { "" } else { ", at least" };
        rows.entry(format!("{}{at_least}", one.name)).or_default().push(one);
        if one.day_after {
            rows.entry("soc_percent, a day after full".into()).or_default().push(one);
        }
    }
    let _ = writeln!(
        page,
        "\n## Estimates beside their own bounds\n\nCompared up to 25 times a bank, by the stamp of each estimate. Wanted: the truth within the bounds in 95 of 100.\n\n\
         | estimate | compared | within, % | median error | median error, % of the truth | median ± |\n|---|---|---|---|---|---|"
    );
    for (name, all) in rows {
        let within = all.iter().filter(|one| one.within).count() as f64 / all.len() as f64;
        if all.iter().any(|one| one.half.is_finite()) {
            let of =
                |figure: fn(&Compared) -> f64| middle(all.iter().map(|one| figure(one)).collect()).unwrap_or(f64::NAN);
            let (error, half) = (of(|one| one.error), of(|one| one.half));
            let share = of(|one| 100.0 * one.error / one.truth.abs().max(1e-9));
            let _ = writeln!(
                page,
                "| `{name}` | {} | {:.1} | {error:.3} | {share:.1} | {half:.3} |",
                all.len(),
                100.0 * within
            );
        } else {
            let _ = writeln!(page, "| `{name}` | {} | {:.1} | – | – | – |", all.len(), 100.0 * within);
        }
        let said = || {
            format!(
                "{name}: the truth lies within the bounds in {:.1} %, {:.0} wanted",
                100.0 * within,
                100.0 * COVERAGE
            )
        };
        if all.len() >= FEW && within < COVERAGE {
            narrow.push(said());
        }
        if all.len() >= MANY && within < LEAST_COVERAGE {
            broken.push(said());
        }
    }
}

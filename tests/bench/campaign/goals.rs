//! The goals of the campaign, and whether the run met them.

use super::draw::Sort;
use super::score::{Compared, Outcome};
use cellwright::model::finding::Severity;
use std::fmt::Write;

/// From here on a cell stands out and the distance of it is asked in parts of the truth, % of the capacity.
const STANDS_OUT: f64 = 1.0;

/// A goal, what the run found, and whether it is met; none when the run had nothing of the kind.
struct Goal {
    what: &'static str,
    wanted: String,
    found: String,
    met: Option<bool>,
}

/// Errors and half widths in the unit of a goal.
struct Errors {
    error: Vec<f64>,
    half: Vec<f64>,
}

impl Errors {
    fn of<'a>(all: impl Iterator<Item = &'a Compared>, unit: impl Fn(f64, f64) -> f64) -> Self {
        let (error, half) = all.map(|one| (unit(one.error, one.truth), unit(one.half, one.truth))).unzip();
        Self { error, half }
    }

    /// The median error at most `most`, and the median half width at most twice that.
    fn goal(self, what: &'static str, most: f64, unit: &str) -> Goal {
        let (error, half) = (super::page::middle(self.error), super::page::middle(self.half));
        let (Some(error), Some(half)) = (error, half) else {
            return Goal { what, wanted: String::new(), found: "nothing to compare".into(), met: None };
        };
        Goal {
            what,
            wanted: format!("{most} {unit}, ± at most {} {unit}", 2.0 * most),
            found: format!("{error:.3} {unit}, ± {half:.3} {unit}"),
            met: Some(error <= most && half <= 2.0 * most),
        }
    }
}

fn goals(outcomes: &[Outcome]) -> Vec<Goal> {
    let compared = |name: &'static str| {
        outcomes.iter().flat_map(|one| &one.compared).filter(move |one| one.name == name && one.half.is_finite())
    };
    let share = |value: f64, truth: f64| 100.0 * value / truth.abs().max(1e-9);
    let plain = |value: f64, _: f64| value;
    let stands_out = |one: &&Compared| one.truth.abs() >= STANDS_OUT / 100.0 * one.capacity;
    vec![
        false_alarms(outcomes),
        notices(outcomes),
        found(outcomes),
        excluded(outcomes),
        Errors::of(compared("soc_percent").filter(|one| one.day_after), plain).goal(
            "state of charge a day after full: median error",
            2.0,
            "%",
        ),
        Errors::of(compared("connection_mohm"), plain).goal("connection: median error", 0.1, "mΩ"),
        Errors::of(compared("imbalance_ah").chain(compared("imbalance_low_ah")).filter(stands_out), share).goal(
            "imbalance of 1 % of the capacity or more, at either end: median error, of the truth",
            10.0,
            "%",
        ),
        Errors::of(compared("capacity_ah"), share).goal("capacity: median error, of the truth", 4.0, "%"),
    ]
}

fn false_alarms(outcomes: &[Outcome]) -> Goal {
    let of = outcomes.iter().filter(|one| matches!(one.plan.sort, Sort::Healthy | Sort::NearMiss));
    let count = of.flat_map(|one| &one.wrong).filter(|wrong| wrong.severity >= Severity::Warning).count();
    Goal {
        what: "false alarms at warning or above, healthy banks and near misses",
        wanted: "0".into(),
        found: count.to_string(),
        met: Some(count == 0),
    }
}

fn notices(outcomes: &[Outcome]) -> Goal {
    let healthy = || outcomes.iter().filter(|one| one.plan.sort == Sort::Healthy);
    let years = healthy().map(|one| one.plan.days).sum::<f64>() / 365.0;
    let count = healthy().flat_map(|one| &one.wrong).filter(|wrong| wrong.severity < Severity::Warning).count();
    let each = count as f64 / years.max(1e-9);
    Goal {
        what: "false notices a year, healthy banks",
        wanted: "at most 1".into(),
        found: format!("{each:.1}"),
        met: (years > 0.0).then_some(each <= 1.0),
    }
}

fn found(outcomes: &[Outcome]) -> Goal {
    let asked = || outcomes.iter().flat_map(|one| &one.asked).filter(|asked| asked.severity >= Severity::Warning);
    let (all, hit) = (asked().count(), asked().filter(|asked| asked.found.is_some()).count());
    Goal {
        what: "found where a warning is due",
        wanted: "all".into(),
        found: format!("{hit} of {all}"),
        met: (all > 0).then_some(hit == all),
    }
}

fn excluded(outcomes: &[Outcome]) -> Goal {
    let drawn: u32 = outcomes.iter().map(|one| one.drawn).sum();
    let share = 100.0 * outcomes.iter().map(|one| one.excluded.len()).sum::<usize>() as f64 / f64::from(drawn.max(1));
    Goal {
        what: "faults that the data cannot show",
        wanted: "at most 20 %".into(),
        found: format!("{share:.0} %"),
        met: (drawn > 0).then_some(share <= 20.0),
    }
}

/// The table of goals, and what must break a gate: a miss of any.
pub(crate) fn write(page: &mut String, outcomes: &[Outcome]) -> Vec<String> {
    let _ = writeln!(page, "\n## Goals\n\n| goal | wanted | found | |\n|---|---|---|---|");
    let mut missed = Vec::new();
    for goal in goals(outcomes) {
        let word = match goal.met {
            Some(true) => "met",
            Some(false) => "MISSED",
            None => "not asked",
        };
        let _ = writeln!(page, "| {} | {} | {} | {word} |", goal.what, goal.wanted, goal.found);
        if goal.met == Some(false) {
            missed.push(format!("{}: {}, wanted {}", goal.what, goal.found, goal.wanted));
        }
    }
    let _ = writeln!(
        page,
        "\nA ± no wider than twice the goal: a wide one must not buy coverage. Most banks stand level at the top, some hundredths\n\
         of an ampere-hour apart: there the error in parts of the truth, in the table of estimates, says little."
    );
    missed
}

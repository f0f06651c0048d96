//! Runs a bank and compares what was found with what the written rule says, and estimates with the truth.

use super::draw::Plan;
use super::figures::{History, truth_of};
use super::rule::{Expect, expect};
use super::watch::Watch;
use cellwright::model::Body;
use cellwright::model::finding::{Finding, Severity};
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::sim::{Options, Simulation};

/// One comparison of an estimate with the truth.
#[derive(Debug, Clone)]
pub(crate) struct Compared {
    pub(crate) name: &'static str,
    /// What was stated and what is true, where the truth lies outside.
    pub(crate) miss: Option<String>,
    /// By how much the value misses the truth; 0 within the range that counts as true.
    pub(crate) error: f64,
    /// The true value, the middle of its range.
    pub(crate) truth: f64,
    /// Capacity of the pack, Ah.
    pub(crate) capacity: f64,
    /// Half of the stated width, and whether the truth lies within.
    pub(crate) half: f64,
    pub(crate) within: bool,
    /// A day after an anchor (state of charge).
    pub(crate) day_after: bool,
}

/// A condition that had to be found.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    pub(crate) code: &'static str,
    pub(crate) severity: Severity,
    pub(crate) grade: Option<usize>,
    /// Seconds until it was found, when it was.
    pub(crate) found: Option<f64>,
}

/// A finding that nothing explains.
#[derive(Debug, Clone)]
pub(crate) struct False {
    pub(crate) code: &'static str,
    pub(crate) severity: Severity,
    pub(crate) text: String,
}

/// A fault that the data cannot show by the rule.
#[derive(Debug, Clone)]
pub(crate) struct Excluded {
    /// What the run gave of what the rule asks for.
    pub(crate) run: String,
    /// As what it was found all the same.
    pub(crate) found: Option<Severity>,
}

/// What a bank gave.
#[derive(Debug, Clone)]
pub(crate) struct Outcome {
    pub(crate) plan: Plan,
    pub(crate) frames: u64,
    pub(crate) asked: Vec<Asked>,
    pub(crate) wrong: Vec<False>,
    /// Faults that were drawn small or plain with a condition of their own, and of them those that the data cannot show.
    pub(crate) drawn: u32,
    pub(crate) excluded: Vec<Excluded>,
    pub(crate) compared: Vec<Compared>,
}

fn options(plan: &Plan) -> Options {
    Options { seed: plan.seed, days: Some(plan.days), sample: Some(plan.sample) }
}

fn start(plan: &Plan) -> Simulation {
    Simulation::from_text(&plan.text, options(plan))
        .unwrap_or_else(|error| panic!("bank {}: {error}\n{}", plan.seed, plan.text))
}

/// The truth of a run: what must and may be found. Reads no frame.
pub(crate) fn truth(plan: &Plan) -> (Vec<Expect>, Vec<Watch>, History) {
    let mut simulation = start(plan);
    let mut watches: Vec<Watch> = (0..plan.packs).map(Watch::new).collect();
    let mut history = History::new();
    let least = (0.9f64).min(plan.sample);
    let mut next = 0.0;
    while simulation.next().is_some() {
        if simulation.seconds() < next {
            continue;
        }
        let truth = simulation.truth();
        next = truth.secs + least;
        for (watch, pack) in watches.iter_mut().zip(&truth.packs) {
            watch.look(&truth, pack, plan);
        }
        history.look(&truth);
    }
    (expect(plan, &watches), watches, history)
}

/// What a bank was drawn with, and what of it its data cannot show: the rule alone, without the engine.
pub(crate) fn rule_alone(plan: Plan) -> Outcome {
    let (expected, watches, _) = truth(&plan);
    let (drawn, excluded) = shown(&expected, &watches, &[]);
    Outcome { plan, frames: 0, asked: Vec::new(), wrong: Vec::new(), drawn, excluded, compared: Vec::new() }
}

/// How many faults were drawn small or plain, and those of them that the data cannot show.
fn shown(expected: &[Expect], watches: &[Watch], findings: &[Finding]) -> (u32, Vec<Excluded>) {
    let of_fault = expected.iter().filter(|one| known(one.code) && one.grade.is_some_and(|grade| grade > 0));
    let drawn = of_fault.clone().count() as u32;
    let excluded = of_fault.filter(|one| one.must.is_none()).map(|one| Excluded {
        run: format!(
            "{} {}",
            one.code,
            one.pack.and_then(|pack| watches.get(usize::from(pack))).map_or_else(String::new, Watch::told)
        ),
        found: findings
            .iter()
            .filter(|found| same(one, found.code, found.subject.pack))
            .map(|found| found.severity)
            .max(),
    });
    (drawn, excluded.collect())
}

fn same(expect: &Expect, code: &str, pack: Option<u8>) -> bool {
    expect.code == code && (expect.pack.is_none() || pack.is_none() || expect.pack == pack)
}

fn known(code: &str) -> bool {
    cellwright::engine::rule::RULES.iter().any(|rule| rule.code == code)
}

/// Runs a bank through the pipeline and compares.
pub(crate) fn run(plan: Plan) -> Outcome {
    let (expected, watches, history) = truth(&plan);
    let mut pipeline = Pipeline::new(Setup::default());
    let mut compared = Vec::new();
    let mut simulation = start(&plan);
    let begin = simulation.start();
    let every = (plan.days * 86_400.0 / 24.0).max(3600.0);
    let (mut next, mut frames) = (every, 0);
    for input in &mut simulation {
        let secs = input.stamp.since(begin);
        if secs >= next {
            next += every;
            compare(&plan, &pipeline, (secs, begin), &history, &mut compared);
        }
        frames += u64::from(matches!(input.body, Body::Frame(_)));
        pipeline.push(&input);
    }
    compare(&plan, &pipeline, (simulation.seconds(), begin), &history, &mut compared);
    let snapshot = pipeline.snapshot();
    let mut asked = Vec::new();
    for expect in expected.iter().filter(|one| known(one.code)) {
        let Some((severity, from)) = expect.must else { continue };
        let hit =
            snapshot.findings.iter().filter(|one| same(expect, one.code, one.subject.pack) && one.severity >= severity);
        let found = hit.map(|one| (one.first.since(begin) - from).max(0.0)).reduce(f64::min);
        asked.push(Asked { code: expect.code, severity, grade: expect.grade, found });
    }
    let may = |code: &str, pack: Option<u8>| {
        expected.iter().filter(|one| same(one, code, pack)).filter_map(|one| one.may).max()
    };
    let wrong =
        snapshot.findings.iter().filter(|one| may(one.code, one.subject.pack).is_none_or(|may| one.severity > may));
    let wrong = wrong
        .map(|one| False {
            code: one.code,
            severity: one.severity,
            text: format!("after {:.2} h, {} [{}]", one.first.since(begin) / 3600.0, one.text, facts(one)),
        })
        .collect();
    let (drawn, excluded) = shown(&expected, &watches, &snapshot.findings);
    Outcome { plan, frames, asked, wrong, drawn, excluded, compared }
}

fn facts(finding: &Finding) -> String {
    let facts = finding.evidence.0.iter().map(|(fact, number)| format!("{} {number:.3}", fact.name()));
    facts.collect::<Vec<_>>().join(", ")
}

fn compare(
    plan: &Plan,
    pipeline: &Pipeline,
    (secs, begin): (f64, cellwright::model::Stamp),
    history: &History,
    out: &mut Vec<Compared>,
) {
    let estimates = pipeline.snapshot().estimates;
    for row in &estimates {
        let (Some(low), Some(as_of)) = (row.low, row.as_of) else { continue };
        let (value, high) = match (row.value, row.high) {
            (Some(value), Some(high)) => (value, high),
            (None, None) => (low, f64::INFINITY), // 'at least': never above the truth
            _ => continue,
        };
        let Some(pack) = row.subject.pack else { continue };
        let at = as_of.since(begin).min(secs);
        let Some((least, most)) = truth_of(row.name, plan, (pack, row.subject.cell), history, at) else { continue };
        let error = if high.is_finite() { (least - value).max(value - most).max(0.0) } else { 0.0 };
        let slack = 1e-6 + 1e-9 * most.abs();
        let since_full = estimates
            .iter()
            .find(|one| one.name == "since_full_h" && one.subject == row.subject)
            .and_then(|one| one.value);
        let within = low <= most + slack && high >= least - slack;
        let miss = || {
            format!(
                "{} after {:.2} h: {low:.3} to {high:.3}, in truth {least:.3} to {most:.3}",
                row.subject,
                at / 3600.0
            )
        };
        out.push(Compared {
            name: row.name,
            miss: (!within).then(miss),
            error,
            truth: 0.5 * (least + most),
            capacity: plan.capacity,
            half: 0.5 * (high - low),
            within,
            day_after: row.name == "soc_percent" && since_full.is_some_and(|hours| (18.0..30.0).contains(&hours)),
        });
    }
}

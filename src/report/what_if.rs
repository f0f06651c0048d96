//! A log under two sets of limits: which findings appear, vanish and move.

use super::words::{moment, rfc3339};
use super::wrap::wrap;
use crate::history::{Change, compare};
use crate::model::limits::{Limit, Limits};
use crate::model::{Finding, Snapshot, span};
use serde_json::{Value, json};

/// A log under two sets of limits.
#[derive(Debug, Clone, Copy)]
pub struct WhatIf<'a> {
    /// The limits in force, and what was found with them.
    pub before: (&'a Limits, &'a Snapshot),
    /// The other limits, and what was found with them.
    pub after: (&'a Limits, &'a Snapshot),
}

impl WhatIf<'_> {
    fn limits(&self) -> impl Iterator<Item = (&'static Limit, f64, f64)> {
        let pairs = self.before.0.in_force().zip(self.after.0.in_force());
        pairs.map(|((limit, before), (_, after))| (limit, before, after)).filter(|(_, before, after)| before != after)
    }

    fn changes(&self) -> Vec<Change<'_>> {
        compare(&self.before.1.findings, &self.after.1.findings)
    }
}

/// The comparison in words.
#[must_use]
pub fn what_if_text(what_if: &WhatIf) -> String {
    let mut out = String::from("With other limits\n");
    for (limit, before, after) in what_if.limits() {
        wrap(&mut out, "  ", &format!("{} = {after} {} instead of {before}", limit.name, limit.unit));
    }
    out += "\n";
    let verdict = |snapshot: &Snapshot| format!("{}: {}", snapshot.verdict.level.word(), snapshot.verdict.text);
    wrap(&mut out, "With the limits in force  ", &verdict(what_if.before.1));
    wrap(&mut out, "With the others           ", &verdict(what_if.after.1));
    let changes = what_if.changes();
    if changes.is_empty() {
        out += "\nNothing appears, vanishes or moves.\n";
    }
    for change in changes {
        out += "\n";
        match change {
            Change::Appears(finding) => told(&mut out, "appears", finding),
            Change::Vanishes(finding) => told(&mut out, "vanishes", finding),
            Change::Moves { before, after } => {
                told(&mut out, "moves", after);
                wrap(&mut out, "    before: ", &stretch(before));
                wrap(&mut out, "    now: ", &stretch(after));
            }
        }
    }
    out
}

fn told(out: &mut String, word: &str, finding: &Finding) {
    wrap(out, &format!("  {word}  "), &format!("{}, {} ({})", finding.code, finding.subject, finding.severity.word()));
    wrap(out, "    ", &finding.text);
}

fn stretch(finding: &Finding) -> String {
    let (severity, first, last) = (finding.severity.word(), moment(finding.first), moment(finding.last));
    format!("{severity}, {first} to {last} UTC, {} in all", span(finding.total_secs))
}

/// The same for programs.
#[must_use]
pub fn what_if_json(what_if: &WhatIf) -> String {
    let limits: Vec<Value> = what_if
        .limits()
        .map(|(limit, before, after)| json!({ "name": limit.name, "before": before, "after": after }))
        .collect();
    let (mut appear, mut vanish, mut moved) = (Vec::new(), Vec::new(), Vec::new());
    for change in what_if.changes() {
        match change {
            Change::Appears(finding) => appear.push(found(finding)),
            Change::Vanishes(finding) => vanish.push(found(finding)),
            Change::Moves { before, after } => {
                moved.push(json!({ "before": found(before), "after": found(after) }));
            }
        }
    }
    let verdict = |snapshot: &Snapshot| json!({ "level": snapshot.verdict.level.word(), "text": snapshot.verdict.text, "do": snapshot.verdict.what_to_do });
    let whole = json!({
        "schema": super::SCHEMA,
        "limits": limits,
        "before": verdict(what_if.before.1),
        "after": verdict(what_if.after.1),
        "appear": appear,
        "vanish": vanish,
        "move": moved,
    });
    serde_json::to_string_pretty(&whole).unwrap_or_else(|_| "{}".into()) + "\n"
}

fn found(finding: &Finding) -> Value {
    let from_one = |index: Option<u8>| index.map(|index| u16::from(index) + 1);
    json!({
        "code": finding.code,
        "severity": finding.severity.word(),
        "pack": from_one(finding.subject.pack),
        "cell": from_one(finding.subject.cell),
        "sensor": from_one(finding.subject.sensor),
        "first": rfc3339(finding.first),
        "last": rfc3339(finding.last),
        "total_min": finding.total_secs / 60.0,
        "text": finding.text,
    })
}

//! Which finding lies behind which: one story, not three alerts. A table of what one condition shows as; nothing is
//! weighed here.

use crate::model::{Fact, Finding};

/// How near cause and symptom must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Near {
    /// The same cell of the same pack.
    Cell,
    /// The same pack.
    Pack,
}

/// What one condition shows as: cause, symptom, how near. A cause stands before everything that it shows as, and no
/// symptom comes again as a cause above itself.
static SHOWS_AS: &[(&str, &str, Near)] = &[
    ("balance-lead-fault", "imbalance", Near::Pack),
    ("balance-lead-fault", "cell-overvoltage", Near::Pack),
    ("balance-lead-fault", "cell-undervoltage", Near::Pack),
    ("balance-lead-fault", "low-capacity-cell", Near::Pack),
    ("balance-lead-fault", "self-discharging-cell", Near::Pack),
    ("high-resistance-connection", "temperature-spread", Near::Pack),
    ("high-resistance-connection", "overtemperature", Near::Pack),
    ("high-resistance-connection", "cell-overvoltage", Near::Cell),
    ("high-resistance-connection", "cell-undervoltage", Near::Cell),
    ("sensor-fault", "temperature-spread", Near::Pack),
    ("self-discharging-cell", "balancing-fails", Near::Pack),
    ("self-discharging-cell", "imbalance", Near::Pack),
    ("balancing-fails", "imbalance", Near::Pack),
    ("not-fully-charged", "imbalance", Near::Pack),
    ("charger-profile", "prolonged-high-float", Near::Pack),
    ("charger-profile", "cell-overvoltage", Near::Pack),
    ("imbalance", "cell-overvoltage", Near::Pack),
    ("low-capacity-cell", "cell-undervoltage", Near::Cell),
    ("low-in-storage", "left-empty", Near::Pack),
    ("unequal-sharing", "over-current", Near::Pack),
    ("heater-weak", "cold-charge", Near::Pack),
    ("imbalance", "bms-cutoff", Near::Pack),
    ("low-capacity-cell", "bms-cutoff", Near::Pack),
    ("cell-overvoltage", "bms-cutoff", Near::Pack),
    ("cell-undervoltage", "bms-cutoff", Near::Pack),
    ("over-current", "bms-cutoff", Near::Pack),
    ("overtemperature", "bms-cutoff", Near::Pack),
];

/// A cut-off at the top has a cell at this voltage or above, one at the bottom a cell at this voltage or below, V (usual
/// limits of protective electronics less what is read late: common practice, no source).
const AT_LIMIT: (f64, f64) = (2.8, 3.6);
/// A cut-off comes of what was so long ago at most, s.
const BEFORE: f64 = 120.0;

/// The finding behind each: its place in the list, for every finding that has one. The cause that stands first in the
/// table counts.
pub(super) fn causes(findings: &[Finding]) -> Vec<Option<usize>> {
    let behind = |symptom: &Finding| {
        let rows = SHOWS_AS.iter().filter(|(_, shown, _)| *shown == symptom.code);
        rows.filter_map(|(cause, _, near)| {
            let is_behind =
                |other: &Finding| other.code == *cause && is_near(other, symptom, *near) && cuts_off(other, symptom);
            findings.iter().position(is_behind)
        })
        .next()
    };
    findings.iter().map(behind).collect()
}

/// Whether the cause goes with the way in which a pack was cut off: its direction, the voltage of its cells, the time. Of
/// other symptoms nothing is asked.
fn cuts_off(cause: &Finding, symptom: &Finding) -> bool {
    if symptom.code != "bms-cutoff" {
        return true;
    }
    let get = |fact| symptom.evidence.get(fact);
    let amps = get(Fact::CutAmps).unwrap_or_default();
    let full = amps > 0.0 && get(Fact::PeakVolts).is_some_and(|volts| volts >= AT_LIMIT.1);
    let empty = amps < 0.0 && get(Fact::LowestVolts).is_some_and(|volts| volts <= AT_LIMIT.0);
    let together = cause.first <= symptom.last && symptom.first <= cause.last.plus_secs(BEFORE);
    match cause.code {
        "imbalance" | "low-capacity-cell" => full || empty,
        "cell-overvoltage" => full && together,
        "cell-undervoltage" => empty && together,
        _ => together,
    }
}

/// The finding at the root of a story.
pub(super) fn root(causes: &[Option<usize>], of: usize) -> usize {
    let mut at = of;
    for _ in 0..causes.len() {
        match causes.get(at).copied().flatten() {
            Some(behind) => at = behind,
            None => break,
        }
    }
    at
}

fn is_near(cause: &Finding, symptom: &Finding, near: Near) -> bool {
    let (a, b) = (cause.subject, symptom.subject);
    if cause.ended_by != symptom.ended_by {
        return false; // what was found of a pack that is gone shows as nothing in another
    }
    match near {
        Near::Cell => a.pack == b.pack && a.cell == b.cell,
        Near::Pack => a.pack == b.pack || a.pack.is_none(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn no_condition_is_its_own_cause_however_far_one_follows() {
        let codes: BTreeSet<&str> = SHOWS_AS.iter().flat_map(|(cause, symptom, _)| [*cause, *symptom]).collect();
        for code in codes {
            let mut seen = BTreeSet::from([code]);
            let mut front = vec![code];
            while let Some(at) = front.pop() {
                for (_, symptom, _) in SHOWS_AS.iter().filter(|(cause, ..)| *cause == at) {
                    assert_ne!(*symptom, code, "a circle");
                    if seen.insert(symptom) {
                        front.push(symptom);
                    }
                }
            }
        }
    }
}

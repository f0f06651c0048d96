//! Which finding lies behind which: one story, not three alerts. A table of what one condition shows as; nothing is
//! weighed here.

use crate::model::Finding;

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

/// The finding behind each: its place in the list, for every finding that has one. The cause that stands first in the
/// table counts.
pub(super) fn causes(findings: &[Finding]) -> Vec<Option<usize>> {
    let behind = |symptom: &Finding| {
        let rows = SHOWS_AS.iter().filter(|(_, shown, _)| *shown == symptom.code);
        rows.filter_map(|(cause, _, near)| {
            findings.iter().position(|other| other.code == *cause && is_near(other, symptom, *near))
        })
        .next()
    };
    findings.iter().map(behind).collect()
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

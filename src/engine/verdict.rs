//! The verdict: one sentence for the owner, danger first; what could not be judged is never 'all well'.

use super::rule::{RULES, span};
use crate::model::Stamp;
use crate::model::finding::{Finding, Level, NotJudged, Severity};
use crate::model::limits::{L, Limits};
use crate::model::snapshot::{Snapshot, Standing, Verdict};

/// Seconds in a day.
const DAY: f64 = 86_400.0;

pub(super) fn verdict(snapshot: &Snapshot, limits: &Limits) -> Verdict {
    let Some(now) = snapshot.now else { return Verdict::default() };
    if snapshot.packs.is_empty() {
        return nothing_known(snapshot);
    }
    let standing: Vec<&Finding> = snapshot.findings.iter().filter(|finding| stands(finding, now, limits)).collect();
    let blind: Vec<&NotJudged> = snapshot.not_judged.iter().filter(|missing| is_safety(missing.code)).collect();
    match standing.first() {
        Some(worst) if worst.severity >= Severity::Warning => found(worst, &standing, &blind),
        _ if !blind.is_empty() => not_known(&blind, &standing),
        Some(worst) => found(worst, &standing, &blind),
        None => well(snapshot),
    }
}

/// Whether a finding counts now: it is active, or it did harm not long ago.
fn stands(finding: &Finding, now: Stamp, limits: &Limits) -> bool {
    let remembered = RULES.get(usize::from(finding.rule)).is_some_and(|rule| rule.remembered);
    finding.active || (remembered && now.since(finding.last) <= limits.get(L::VerdictRemembers) * DAY)
}

fn is_safety(code: &str) -> bool {
    RULES.iter().any(|rule| rule.code == code && rule.safety)
}

fn nothing_known(snapshot: &Snapshot) -> Verdict {
    let text = match snapshot.quality.frames {
        0 => "No frame has been heard.".to_owned(),
        1 => "One frame was heard, and it is not known.".to_owned(),
        frames => format!("{frames} frames were heard, but nothing that is known."),
    };
    let what_to_do =
        "Check that the right bus is connected and that a sender of the open frame format is on it.".into();
    Verdict { level: Level::NotKnown, text, what_to_do }
}

fn found(worst: &Finding, standing: &[&Finding], blind: &[&NotJudged]) -> Verdict {
    let others = standing.iter().filter(|f| f.code != worst.code || f.subject.pack != worst.subject.pack).count();
    let mut text = worst.text.clone();
    match others {
        0 => {}
        1 => text.push_str(" One more finding stands beside it."),
        n => text.push_str(&format!(" {n} more findings stand beside it.")),
    }
    if let Some(missing) = blind.first() {
        text.push_str(&format!(" Not everything could be judged: {}.", missing.why));
    }
    Verdict { level: Level::from(worst.severity), text, what_to_do: worst.what_to_do.clone() }
}

fn not_known(blind: &[&NotJudged], standing: &[&Finding]) -> Verdict {
    let mut reasons: Vec<&str> = Vec::new();
    for missing in blind {
        if !reasons.contains(&missing.why.as_str()) {
            reasons.push(&missing.why);
        }
    }
    reasons.truncate(3);
    let text = format!("Not known whether all is well: {}.", reasons.join("; "));
    let what_to_do = standing.first().map_or_else(
        || "Check what no longer arrives: sensor, plug, cable, the sender's power. Until then rely on other instruments.".into(),
        |finding| finding.what_to_do.clone(),
    );
    Verdict { level: Level::NotKnown, text, what_to_do }
}

fn well(snapshot: &Snapshot) -> Verdict {
    let cells: usize =
        snapshot.packs.iter().map(|p| p.cells.iter().filter(|c| c.voltage.now().is_some()).count()).sum();
    let sensors: usize = snapshot.packs.iter().map(|p| p.sensors.iter().filter(|s| s.now().is_some()).count()).sum();
    let age = snapshot.packs.iter().filter_map(|p| p.current.age_secs).fold(f64::MAX, f64::min);
    let heard = if age < 60.0 || age == f64::MAX { "just now".to_owned() } else { format!("{} ago", span(age)) };
    let sensors_word = if sensors == 1 { "sensor" } else { "sensors" };
    let text = if cells == 0 {
        format!(
            "Within limits, as far as pack voltage, current and {sensors} temperature {sensors_word} show; the cells are not seen; last heard {heard}."
        )
    } else {
        let unseen = snapshot.packs.iter().flat_map(|p| &p.cells).any(|c| c.voltage.standing == Standing::Stale);
        let some = if unseen { "; some cells are not heard" } else { "" };
        format!("Within limits, as far as {cells} cells and {sensors} {sensors_word} show{some}; last heard {heard}.")
    };
    Verdict { level: Level::Well, text, what_to_do: "Nothing to do.".into() }
}

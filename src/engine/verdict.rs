//! The verdict: one sentence for the owner, danger first; what could not be judged is never 'all well'.

use super::cause;
use super::rule::RULES;
use crate::model::Stamp;
use crate::model::finding::{Finding, Level, NotJudged, Severity};
use crate::model::limits::{LimitId, Limits};
use crate::model::snapshot::{Snapshot, Standing, Verdict};

/// Seconds in a day.
const DAY: f64 = 86_400.0;

pub(super) fn verdict(snapshot: &Snapshot, limits: &Limits) -> Verdict {
    let Some(now) = snapshot.now else { return Verdict::default() };
    if snapshot.packs.is_empty() {
        return nothing_known(snapshot);
    }
    let standing: Vec<usize> =
        (0..snapshot.findings.len()).filter(|at| stands(&snapshot.findings[*at], now, limits)).collect();
    let blind: Vec<&NotJudged> = snapshot.not_judged.iter().filter(|missing| is_safety(missing.code)).collect();
    let lead = Stories { snapshot, standing: &standing }.lead();
    match lead {
        Some(lead) if lead.severity >= Severity::Warning => found(lead, &blind),
        _ if !blind.is_empty() => not_known(snapshot, &blind, lead),
        Some(lead) => found(lead, &blind),
        None => well(snapshot),
    }
}

/// What stands, as stories: a finding with what it shows as.
struct Stories<'a> {
    snapshot: &'a Snapshot,
    /// Places of the findings that count now, worst first.
    standing: &'a [usize],
}

/// The story that is told.
struct Lead {
    severity: Severity,
    text: String,
    what_to_do: String,
    /// Stories beside it.
    others: usize,
}

impl Stories<'_> {
    /// The worst story: a danger that is worse than its cause speaks for itself, then the cause; else the cause speaks, then
    /// what it shows as.
    fn lead(&self) -> Option<Lead> {
        let worst = *self.standing.first()?;
        let root = self.root(worst);
        let (danger, cause) = (&self.snapshot.findings[worst], &self.snapshot.findings[root]);
        let (mut text, mut what_to_do) = (danger.text.clone(), danger.what_to_do.clone());
        let is_danger =
            danger.severity == Severity::Urgent || is_safety(danger.code) && danger.severity > cause.severity;
        if root != worst && is_danger {
            text.push_str(&format!(" Behind it, most likely: {}", cause.text));
        } else if root != worst {
            text = format!("{} A sign of it: {}", cause.text, danger.text);
            what_to_do.clone_from(&cause.what_to_do);
        }
        Some(Lead { severity: danger.severity, text, what_to_do, others: self.others(root) })
    }

    /// The finding behind it that still counts.
    fn root(&self, at: usize) -> usize {
        let root = cause::root(&self.snapshot.causes, at);
        if self.standing.contains(&root) { root } else { at }
    }

    /// How many other stories stand: each code of each pack once, what a story shows as not at all.
    fn others(&self, root: usize) -> usize {
        let about = |at: usize| {
            let finding = &self.snapshot.findings[at];
            // What one pack carries more, another carries less.
            let pack = finding.subject.pack.filter(|_| finding.code != "unequal-sharing");
            (finding.code, pack)
        };
        let roots = self.standing.iter().map(|at| about(self.root(*at)));
        let mut others: Vec<_> = roots.filter(|other| *other != about(root)).collect();
        others.sort_unstable();
        others.dedup();
        others.len()
    }
}

/// Whether a finding counts now: it is active, or it did harm not long ago to what is still there.
fn stands(finding: &Finding, now: Stamp, limits: &Limits) -> bool {
    let remembered = RULES.get(usize::from(finding.rule)).is_some_and(|rule| rule.remembered);
    finding.active
        || (remembered
            && finding.ended_by.is_none()
            && now.since(finding.last) <= limits.get(LimitId::VerdictRemembers) * DAY)
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
    let what_to_do = match snapshot.quality.frames {
        0 => "Check that the right bus is connected and that its senders have power.",
        _ => {
            "Check that the right bus is connected, and the bank file, if there is one. A bus that nobody has \
             documented: 'cellwright survey' drafts a bank file for it."
        }
    }
    .into();
    Verdict { level: Level::NotKnown, text, what_to_do }
}

fn found(lead: Lead, blind: &[&NotJudged]) -> Verdict {
    let mut text = lead.text;
    match lead.others {
        0 => {}
        1 => text.push_str(" One more finding stands beside it."),
        n => text.push_str(&format!(" {n} more findings stand beside it.")),
    }
    if let Some(missing) = blind.first() {
        text.push_str(&format!(" Not everything could be judged: {}.", missing.why));
    }
    Verdict { level: Level::from(lead.severity), text, what_to_do: lead.what_to_do }
}

/// What to do about values that stay away.
const NO_LONGER: &str =
    "Check what no longer arrives: sensor, plug, cable, the sender's power. Until then rely on other instruments.";
/// The same where no temperature ever came.
const NO_SENSOR: &str = "No temperature was ever heard. See that a sensor sits at a cell or the case; in a bank file \
                         describe the signal that carries it: role = \"temperature\", as 'cellwright bank template' \
                         shows. Until then keep a thermometer at the bank.";

/// Whether cells were seen and no temperature ever was.
fn knows_no_sensor(snapshot: &Snapshot) -> bool {
    let has_cells = snapshot.packs.iter().any(|pack| !pack.cells.is_empty());
    has_cells && snapshot.packs.iter().all(|pack| pack.sensors.is_empty())
}

fn not_known(snapshot: &Snapshot, blind: &[&NotJudged], lead: Option<Lead>) -> Verdict {
    let mut reasons: Vec<&str> = Vec::new();
    for missing in blind {
        if !reasons.contains(&missing.why.as_str()) {
            reasons.push(&missing.why);
        }
    }
    reasons.truncate(3);
    let mut text = format!("Not known whether all is well: {}.", reasons.join("; "));
    if let Some(lead) = &lead {
        text.push_str(&format!(" What was found: {}", lead.text)); // what to do is about it
    }
    let what_to_do = lead
        .map_or_else(|| if knows_no_sensor(snapshot) { NO_SENSOR } else { NO_LONGER }.into(), |lead| lead.what_to_do);
    Verdict { level: Level::NotKnown, text, what_to_do }
}

fn well(snapshot: &Snapshot) -> Verdict {
    let cells: usize =
        snapshot.packs.iter().map(|p| p.cells.iter().filter(|c| c.voltage.now().is_some()).count()).sum();
    let sensors: usize = snapshot.packs.iter().map(|p| p.sensors.iter().filter(|s| s.now().is_some()).count()).sum();
    let heard = snapshot.quality.last.map_or_else(String::new, |last| {
        let text = format!("{last:.0}").replace('T', " ");
        format!("; last heard {} UTC", text.get(..16).unwrap_or(&text))
    });
    let sensors_word = if sensors == 1 { "sensor" } else { "sensors" };
    let text = if cells == 0 {
        format!(
            "Within limits, as far as pack voltage, current and {sensors} temperature {sensors_word} show; the cells are not seen{heard}."
        )
    } else {
        let unseen = snapshot.packs.iter().flat_map(|p| &p.cells).any(|c| c.voltage.standing == Standing::Stale);
        let some = if unseen { "; some cells are not heard" } else { "" };
        format!("Within limits, as far as {cells} cells and {sensors} {sensors_word} show{some}{heard}.")
    };
    Verdict { level: Level::Well, text, what_to_do: "Nothing to do.".into() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Evidence, Fact, Stamp, Subject};

    fn finding(code: &'static str, severity: Severity, text: &str) -> Finding {
        let rule = RULES.iter().position(|rule| rule.code == code).unwrap_or(0) as u16;
        Finding {
            rule,
            code,
            severity,
            subject: Subject::cell(0, 2),
            first: Stamp::from_secs(0),
            last: Stamp::from_secs(10),
            active: true,
            acknowledged: false,
            episodes: 1,
            total_secs: 10.0,
            evidence: Evidence::default(),
            text: text.into(),
            what_to_do: format!("See to {code}."),
            caution: "",
            source: "",
            explanations: Vec::new(),
            ended_by: None,
        }
    }

    fn verdict_of(findings: Vec<Finding>) -> Verdict {
        let causes = cause::causes(&findings);
        let packs = vec![crate::model::snapshot::PackView::default()];
        let snapshot = Snapshot { now: Some(Stamp::from_secs(10)), findings, causes, packs, ..Snapshot::default() };
        verdict(&snapshot, &Limits::default())
    }

    #[test]
    fn a_cause_is_told_before_its_symptom_and_both_are_one_story() {
        let told = verdict_of(vec![
            finding("cell-overvoltage", Severity::Notice, "Cell 3 went up to 3.72 V."),
            finding("imbalance", Severity::Notice, "Cell 3 stands 4 % above the others."),
        ]);
        assert_eq!(told.level, Level::Notice);
        assert_eq!(told.text, "Cell 3 stands 4 % above the others. A sign of it: Cell 3 went up to 3.72 V.");
        assert_eq!(told.what_to_do, "See to imbalance.");
    }

    #[test]
    fn a_danger_that_is_worse_than_its_cause_tells_what_to_do() {
        let told = verdict_of(vec![
            finding("cell-overvoltage", Severity::Warning, "Cell 3 went up to 3.85 V."),
            finding("imbalance", Severity::Notice, "Cell 3 stands 4 % above the others."),
        ]);
        let text = "Cell 3 went up to 3.85 V. Behind it, most likely: Cell 3 stands 4 % above the others.";
        assert_eq!((told.text.as_str(), told.what_to_do.as_str()), (text, "See to cell-overvoltage."));
    }

    #[test]
    fn what_to_do_never_stands_without_the_sentence_that_it_is_about() {
        let findings = vec![finding("sensor-fault", Severity::Notice, "Sensor 1 of pack 1 gives no value any more.")];
        let packs = vec![crate::model::snapshot::PackView::default()];
        let why = "no valid cell or case temperature".into();
        let not_judged = vec![NotJudged { code: "cold-charge", why, subject: Subject::pack(0) }];
        let causes = vec![None];
        let snapshot =
            Snapshot { now: Some(Stamp::from_secs(10)), findings, causes, packs, not_judged, ..Snapshot::default() };
        let told = verdict(&snapshot, &Limits::default());
        assert_eq!(told.level, Level::NotKnown);
        assert_eq!(
            told.text,
            "Not known whether all is well: no valid cell or case temperature. What was found: Sensor 1 of pack 1 gives \
             no value any more."
        );
        assert_eq!(told.what_to_do, "See to sensor-fault.");
    }

    #[test]
    fn a_joint_that_heats_a_cell_is_one_story_and_not_three_alerts() {
        let told = verdict_of(vec![
            finding("overtemperature", Severity::Warning, "Sensor 3 reads 57 °C."),
            finding("temperature-spread", Severity::Warning, "Sensor 3 stands 14 K above the others."),
            finding("high-resistance-connection", Severity::Warning, "Cell 3 has 2 mΩ more than the others."),
        ]);
        assert_eq!(told.text, "Cell 3 has 2 mΩ more than the others. A sign of it: Sensor 3 reads 57 °C.");
        assert_eq!(told.what_to_do, "See to high-resistance-connection.");
    }

    #[test]
    fn a_cell_that_runs_ahead_stands_before_the_cut_off_that_it_brings_and_before_no_other() {
        let cut = |amps: f64, highest: f64, lowest: f64| {
            let facts = [(Fact::CutAmps, amps), (Fact::PeakVolts, highest), (Fact::LowestVolts, lowest)];
            let evidence = Evidence(facts.to_vec());
            Finding { evidence, ..finding("bms-cutoff", Severity::Warning, "Pack 1 was cut off.") }
        };
        let ahead = || finding("imbalance", Severity::Notice, "Cell 3 is full 4 Ah before the others.");
        let told = verdict_of(vec![cut(20.0, 3.66, 3.42), ahead()]);
        assert_eq!(told.level, Level::Warning);
        assert_eq!(told.text, "Cell 3 is full 4 Ah before the others. A sign of it: Pack 1 was cut off.");

        let told = verdict_of(vec![cut(-150.0, 3.21, 3.18), ahead()]);
        assert_eq!(told.text, "Pack 1 was cut off. One more finding stands beside it.");
        let much = finding("over-current", Severity::Warning, "Pack 1 gave 150 A.");
        let told = verdict_of(vec![cut(-150.0, 3.21, 3.18), much, ahead()]);
        assert_eq!(
            told.text,
            "Pack 1 gave 150 A. A sign of it: Pack 1 was cut off. One more finding stands beside it."
        );
    }

    #[test]
    fn what_one_pack_carries_more_and_another_less_is_one_story() {
        let mut less = finding("unequal-sharing", Severity::Notice, "Pack 2 carries less.");
        less.subject = Subject::pack(1);
        let told = verdict_of(vec![finding("unequal-sharing", Severity::Notice, "Pack 1 carries more."), less]);
        assert_eq!(told.text, "Pack 1 carries more.");
    }

    #[test]
    fn two_things_that_have_nothing_to_do_with_each_other_are_two_stories_the_worse_first() {
        let told = verdict_of(vec![
            finding("cold-charge", Severity::Warning, "Pack 1 is charged cold."),
            finding("lossy-link", Severity::Notice, "Frames are lost."),
        ]);
        assert_eq!(told.text, "Pack 1 is charged cold. One more finding stands beside it.");
    }

    #[test]
    fn danger_speaks_first_even_when_its_cause_is_known() {
        let told = verdict_of(vec![
            finding("cell-overvoltage", Severity::Urgent, "Cell 3 went up to 3.95 V."),
            finding("cold-charge", Severity::Warning, "Pack 1 was charged cold."),
            finding("imbalance", Severity::Notice, "Cell 3 stands 4 % above the others."),
        ]);
        assert_eq!(
            told.text,
            "Cell 3 went up to 3.95 V. Behind it, most likely: Cell 3 stands 4 % above the others. \
             One more finding stands beside it."
        );
        assert_eq!(told.what_to_do, "See to cell-overvoltage.");
    }
}

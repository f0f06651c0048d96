//! Each tier stands by itself: a milder one that a bank file sets out of reach silences no worse one.

use cellwright::model::limits::{LIMITS, Limits};
use cellwright::model::{Input, Severity, Subject};
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::sim::{Options, Simulation, cases, scenarios};

/// The limits from which a notice is given, out of reach: below for those that are undercut, else above.
fn without_notices() -> Limits {
    const UNDERCUT: [&str; 4] =
        ["cell-undervoltage.notice", "left-empty.notice", "low-in-storage.notice-days", "low-in-storage.rest-notice"];
    let mut limits = Limits::default();
    for row in LIMITS.iter().filter(|row| row.name.contains("notice") && !row.name.ends_with("seconds")) {
        let far = if UNDERCUT.contains(&row.name) { row.bounds.0 } else { row.bounds.1 };
        limits.set(row.name, far).expect("the end of its range");
    }
    limits
}

fn worse_than_notice(inputs: &[Input], limits: Limits) -> Vec<(&'static str, Subject, Severity)> {
    let mut pipeline = Pipeline::new(Setup { limits, ..Setup::default() });
    inputs.iter().for_each(|input| pipeline.push(input));
    pipeline.close();
    let findings = pipeline.snapshot().findings;
    let worse = findings.into_iter().filter(|finding| finding.severity > Severity::Notice);
    worse.map(|finding| (finding.code, finding.subject, finding.severity)).collect()
}

#[test]
fn warnings_stand_when_every_notice_is_set_out_of_reach() {
    let mut codes = std::collections::BTreeSet::new();
    for scenario in scenarios().iter().chain(cases()) {
        let options = Options { seed: 1, days: None, sample: Some(60.0) };
        let inputs: Vec<Input> = Simulation::new(scenario.name, options).expect("a scenario").collect();
        let usual = worse_than_notice(&inputs, Limits::default());
        let alone = worse_than_notice(&inputs, without_notices());
        for told in usual {
            assert!(alone.contains(&told), "{}: {told:?} is lost", scenario.name);
            codes.insert(told.0);
        }
    }
    assert!(codes.len() >= 5, "only {codes:?} were tried");
}

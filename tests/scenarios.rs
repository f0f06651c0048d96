//! Every scenario of the simulated bank, over ten seeds: the engine finds what its fixture lists, nothing else.

use cellwright::model::finding::Finding;
use cellwright::model::{Body, Snapshot, Stamp};
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::sim::{Options, Simulation};
use serde::Deserialize;
use std::fs;
use std::path::Path;

/// What a scenario must be found to be.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fixture {
    scenario: String,
    verdict: String,
    #[serde(default, rename = "finding")]
    findings: Vec<Expected>,
}

/// One finding that must be there.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    code: String,
    severity: String,
    pack: Option<u8>,
    cell: Option<u8>,
    sensor: Option<u8>,
    from_minute: f64,
    to_minute: f64,
}

impl Expected {
    fn is(&self, found: &Finding, begin: Stamp) -> bool {
        let one = |number: Option<u8>| number.map(|n| n + 1);
        let minute = found.first.since(begin) / 60.0;
        found.code == self.code
            && found.severity.word() == self.severity
            && (one(found.subject.pack), one(found.subject.cell), one(found.subject.sensor))
                == (self.pack, self.cell, self.sensor)
            && (self.from_minute..=self.to_minute).contains(&minute)
    }
}

fn judged(scenario: &str, seed: u64) -> (Snapshot, Stamp) {
    let mut pipeline = Pipeline::new(Setup::default());
    let mut begin = None;
    for input in Simulation::new(scenario, Options { seed, days: None, sample: None }).expect("the scenario is there") {
        begin = begin.or(Some(input.stamp));
        pipeline.push(&input);
        if input.body == Body::Closing {
            break;
        }
    }
    (pipeline.snapshot(), begin.expect("a scenario has inputs"))
}

fn differences(fixture: &Fixture, seed: u64) -> Vec<String> {
    let (snapshot, begin) = judged(&fixture.scenario, seed);
    let mut wrong = Vec::new();
    if snapshot.verdict.level.word() != fixture.verdict {
        wrong.push(format!("seed {seed}: the verdict is {}: {}", snapshot.verdict.level.word(), snapshot.verdict.text));
    }
    for expected in &fixture.findings {
        if !snapshot.findings.iter().any(|found| expected.is(found, begin)) {
            wrong
                .push(format!("seed {seed}: {} {} is not found as the fixture says", expected.code, expected.severity));
        }
    }
    for found in &snapshot.findings {
        if !fixture.findings.iter().any(|expected| expected.is(found, begin)) {
            let minute = found.first.since(begin) / 60.0;
            let (code, severity) = (found.code, found.severity.word());
            wrong.push(format!(
                "seed {seed}: {code} {severity} {} at minute {minute:.1} is not in the fixture: {}",
                found.subject, found.text
            ));
        }
    }
    wrong
}

fn check(scenario: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/scenarios/{scenario}.toml"));
    let text = fs::read_to_string(&path).expect("the fixture is there");
    let fixture: Fixture = toml::from_str(&text).expect("the fixture is whole");
    assert_eq!(fixture.scenario, scenario);
    let wrong: Vec<String> = (1..=10).flat_map(|seed| differences(&fixture, seed)).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

macro_rules! scenarios {
    ($($test:ident $name:literal;)*) => {
        $(#[test] fn $test() { check($name); })*

        #[test]
        fn every_scenario_and_every_fixture_is_checked_here() {
            let mut checked = vec![$($name.to_owned()),*];
            let mut known: Vec<String> = cellwright::sim::scenarios().iter().map(|s| s.name.to_owned()).collect();
            let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/scenarios");
            let mut fixtures: Vec<String> = fs::read_dir(folder).expect("the folder is there")
                .map(|entry| entry.expect("it can be read").path().file_stem().expect("it has a name").to_string_lossy().into_owned())
                .collect();
            for list in [&mut checked, &mut known, &mut fixtures] {
                list.sort();
            }
            assert_eq!(checked, known);
            assert_eq!(checked, fixtures);
        }
    };
}

scenarios! {
    a_healthy_week_finds_nothing "healthy-week";
    a_cold_morning_is_cold_charging "cold-morning";
    two_months_on_shore_power_are_a_high_float "shore-float";
    a_hot_locker_is_too_hot "hot-locker";
    a_lost_sensor_is_told "lost-sensor";
    a_drifting_cell_is_an_imbalance "drifting-cell";
    a_bank_drained_at_night_is_cut_off "night-cutoff";
    a_bank_without_cell_voltages_is_still_judged "shunt-only";
}

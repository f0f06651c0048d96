//! What a fixture says must be found.

use serde::Deserialize;

/// A scenario's expected verdict and findings.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Fixture {
    pub(crate) scenario: String,
    pub(crate) verdict: String,
    #[serde(rename = "finding", default)]
    pub(crate) findings: Vec<Expected>,
}

/// One finding.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Expected {
    pub(crate) code: String,
    pub(crate) severity: String,
    pub(crate) pack: u8,
    pub(crate) cell: Option<u8>,
    pub(crate) sensor: Option<u8>,
    pub(crate) from_minute: f64,
    pub(crate) to_minute: f64,
}

/// The fixture of a scenario.
pub(crate) fn of(name: &str) -> Fixture {
    let path = format!("{}/fixtures/scenarios/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    toml::from_str(&text).unwrap_or_else(|error| panic!("{path}: {error}"))
}

impl Fixture {
    /// Asserts that this code is expected and that its window holds the minute at which it really happens.
    pub(crate) fn holds(&self, code: &str, minute: Option<f64>) {
        let minute = minute.unwrap_or_else(|| panic!("{}: {code} never happens", self.scenario));
        let found = self.findings.iter().find(|finding| finding.code == code);
        let found = found.unwrap_or_else(|| panic!("{}: {code} is not in the fixture", self.scenario));
        let window = found.from_minute..found.to_minute;
        assert!(window.contains(&minute), "{}: {code} at minute {minute}, not in {window:?}", self.scenario);
    }
}

/// Every scenario has a fixture, which names it, a level of the verdict that there is, and parts that there are.
#[test]
fn every_scenario_has_a_fixture_that_can_be() {
    for info in cellwright::sim::scenarios() {
        let fixture = of(info.name);
        assert_eq!(fixture.scenario, info.name);
        assert!(["well", "notice", "not-known", "warning", "urgent"].contains(&fixture.verdict.as_str()));
        for finding in &fixture.findings {
            assert!(["notice", "warning", "urgent"].contains(&finding.severity.as_str()));
            assert!(finding.pack == 1 && finding.cell.is_none_or(|cell| cell <= 4));
            assert!(finding.sensor.is_none_or(|sensor| sensor <= 2));
            assert!(finding.from_minute < finding.to_minute && finding.to_minute < info.days * 1440.0);
        }
    }
    let files = std::fs::read_dir(format!("{}/fixtures/scenarios", env!("CARGO_MANIFEST_DIR"))).unwrap();
    assert_eq!(files.count(), cellwright::sim::scenarios().len());
}

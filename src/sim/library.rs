//! The scenarios that are part of the program, read from their files once.

use super::scenario::Scenario;
use std::sync::LazyLock;

/// What a scenario is about. All of them are invented.
#[derive(Debug, Clone, PartialEq)]
pub struct ScenarioInfo {
    /// Name, as `demo` takes it.
    pub name: &'static str,
    /// What happens, in one line; says that it is invented.
    pub about: String,
    /// Days unless asked otherwise.
    pub days: f64,
    /// Seconds between sets of frames unless asked otherwise.
    pub sample: f64,
}

macro_rules! files {
    ($folder:literal: $($name:literal)*) => { &[$(($name, include_str!(concat!($folder, $name, ".toml")))),*] };
}

/// Name and text of each file.
static FILES: &[(&str, &str)] = files! { "scenario/":
    "cold-morning"
    "healthy-week"
    "shore-float"
    "hot-locker"
    "lost-sensor"
    "drifting-cell"
    "night-cutoff"
    "shunt-only"
};

/// Of the cases that `docs/cases` tells.
static CASES: &[(&str, &str)] = files! { "scenario/case/":
    "hidden-load"
    "loose-connection"
    "sunny-noon"
    "unequal-packs"
    "weak-heater"
    "winter-charger"
};

static INFOS: LazyLock<Vec<ScenarioInfo>> = LazyLock::new(|| read(FILES));
static CASE_INFOS: LazyLock<Vec<ScenarioInfo>> = LazyLock::new(|| read(CASES));

fn read(files: &'static [(&'static str, &'static str)]) -> Vec<ScenarioInfo> {
    let read = |&(name, text): &(&'static str, &str)| {
        let scenario = parse(text).ok()?;
        let about = format!("{} (invented)", scenario.about);
        Some(ScenarioInfo { name, about, days: scenario.days, sample: scenario.sample })
    };
    files.iter().filter_map(read).collect()
}

/// Every scenario, the one from which a newcomer learns most first.
#[must_use]
pub fn scenarios() -> &'static [ScenarioInfo] {
    &INFOS
}

/// The scenarios of the cases that `docs/cases` tells, beside the cold morning, by name.
#[must_use]
pub fn cases() -> &'static [ScenarioInfo] {
    &CASE_INFOS
}

/// What the scenario or case of this name is about.
#[must_use]
pub fn scenario_info(name: &str) -> Option<&'static ScenarioInfo> {
    scenarios().iter().chain(cases()).find(|info| info.name == name)
}

/// The scenario of this name; `None` when there is none. `Err` only when its file is broken, which a test excludes.
pub(super) fn find(name: &str) -> Option<Result<Scenario, toml::de::Error>> {
    FILES.iter().chain(CASES).find(|(known, _)| *known == name).map(|(_, text)| parse(text))
}

pub(super) fn parse(text: &str) -> Result<Scenario, toml::de::Error> {
    toml::from_str(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_is_read_and_begins_at_midnight() {
        assert_eq!(scenarios().len(), FILES.len());
        assert_eq!(cases().len(), CASES.len());
        for (name, text) in FILES.iter().chain(CASES) {
            let scenario = parse(text).unwrap_or_else(|error| panic!("{name}: {error}"));
            let start: jiff::Timestamp = scenario.start.parse().unwrap();
            assert_eq!(start.as_second() % 86_400, 0, "{name}: the hours of its day count from midnight");
        }
    }

    #[test]
    fn a_word_that_no_scenario_knows_is_refused() {
        let error = parse("about = \"x\"\ncolour = 3\n").unwrap_err();
        assert!(error.to_string().contains("unknown field `colour`"), "{error}");
    }
}

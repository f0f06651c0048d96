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
    ($($name:literal)*) => { &[$(($name, include_str!(concat!("scenario/", $name, ".toml")))),*] };
}

/// Name and text of each file.
static FILES: &[(&str, &str)] = files! {
    "cold-morning"
    "healthy-week"
    "shore-float"
    "hot-locker"
    "lost-sensor"
    "drifting-cell"
    "night-cutoff"
    "shunt-only"
};

static INFOS: LazyLock<Vec<ScenarioInfo>> = LazyLock::new(|| {
    let read = |&(name, text): &(&'static str, &str)| {
        let scenario = parse(text).ok()?;
        let about = format!("{} (invented)", scenario.about);
        Some(ScenarioInfo { name, about, days: scenario.days, sample: scenario.sample })
    };
    FILES.iter().filter_map(read).collect()
});

/// Every scenario, the one from which a newcomer learns most first.
#[must_use]
pub fn scenarios() -> &'static [ScenarioInfo] {
    &INFOS
}

/// The scenario of this name; `None` when there is none. `Err` only when its file is broken, which a test excludes.
pub(super) fn find(name: &str) -> Option<Result<Scenario, toml::de::Error>> {
    FILES.iter().find(|(known, _)| *known == name).map(|(_, text)| parse(text))
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
        for (name, text) in FILES {
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

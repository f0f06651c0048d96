//! The exit code: what a script learns without reading a word.

use crate::model::{Level, Severity, Snapshot};
use std::process::ExitCode;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done; nothing found that was asked about.
    Clear = 0,
    /// Something found at or above the level that was asked about.
    Found = 1,
    /// Wrong usage, or input that cannot be read.
    Unusable = 2,
    /// Nothing found, but what should be known is not.
    NotKnown = 3,
}

impl Exit {
    /// How a check ends that found this.
    #[must_use]
    pub fn of(snapshot: &Snapshot, fail_on: Severity) -> Self {
        if snapshot.findings.iter().any(|finding| finding.severity >= fail_on) {
            Self::Found
        } else if snapshot.verdict.level == Level::NotKnown {
            Self::NotKnown
        } else {
            Self::Clear
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::finding::Finding;
    use crate::model::snapshot::Verdict;
    use crate::model::{Evidence, Stamp, Subject};

    fn snapshot(level: Level, severities: &[Severity]) -> Snapshot {
        let finding = |severity: &Severity| Finding {
            rule: 0,
            code: "cell-overvoltage",
            severity: *severity,
            subject: Subject::BANK,
            first: Stamp::default(),
            last: Stamp::default(),
            active: false,
            acknowledged: false,
            episodes: 1,
            total_secs: 0.0,
            evidence: Evidence::default(),
            text: String::new(),
            what_to_do: String::new(),
            caution: "",
            source: "",
            explanations: Vec::new(),
            ended_by: None,
        };
        Snapshot {
            verdict: Verdict { level, ..Verdict::default() },
            findings: severities.iter().map(finding).collect(),
            ..Snapshot::default()
        }
    }

    #[test]
    fn a_finding_weighs_more_than_what_is_not_known() {
        let cases = [
            (Level::Well, &[][..], Severity::Warning, Exit::Clear),
            (Level::NotKnown, &[], Severity::Warning, Exit::NotKnown),
            (Level::Notice, &[Severity::Notice], Severity::Warning, Exit::Clear),
            (Level::Notice, &[Severity::Notice], Severity::Notice, Exit::Found),
            (Level::NotKnown, &[Severity::Warning], Severity::Warning, Exit::Found),
            (Level::NotKnown, &[Severity::Notice], Severity::Warning, Exit::NotKnown),
            (Level::Warning, &[Severity::Warning], Severity::Urgent, Exit::Clear),
        ];
        for (level, severities, fail_on, exit) in cases {
            assert_eq!(Exit::of(&snapshot(level, severities), fail_on), exit, "{level:?} {severities:?} {fail_on:?}");
        }
    }
}

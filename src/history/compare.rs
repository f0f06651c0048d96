//! What differs between the findings of two runs over the same or another log.

use crate::model::Finding;

/// Seconds that a finding's time may differ without being said to have moved.
const SAME_SECS: f64 = 1.0;

/// A difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change<'a> {
    /// Found in the second run alone.
    Appears(&'a Finding),
    /// Found in the first run alone.
    Vanishes(&'a Finding),
    /// Found in both, at another severity, from another moment on or for another time.
    Moves {
        /// As the first run found it.
        before: &'a Finding,
        /// As the second run found it.
        after: &'a Finding,
    },
}

/// What differs: what appears, then what vanishes, then what moves, each in the order of its findings. Findings belong
/// together by code and subject, before or after the same work on the bank.
#[must_use]
pub fn compare<'a>(before: &'a [Finding], after: &'a [Finding]) -> Vec<Change<'a>> {
    let same = |one: &Finding, other: &Finding| {
        one.code == other.code && one.subject == other.subject && one.ended_by == other.ended_by
    };
    let appears = after.iter().filter(|new| !before.iter().any(|old| same(old, new))).map(Change::Appears);
    let vanishes = before.iter().filter(|old| !after.iter().any(|new| same(old, new))).map(Change::Vanishes);
    let pairs = after.iter().filter_map(|new| Some((before.iter().find(|old| same(old, new))?, new)));
    let moves = pairs.filter(|(old, new)| has_moved(old, new)).map(|(before, after)| Change::Moves { before, after });
    appears.chain(vanishes).chain(moves).collect()
}

fn has_moved(before: &Finding, after: &Finding) -> bool {
    let time = |finding: &Finding| (finding.first, finding.last);
    let moment = |(a, b): (crate::model::Stamp, crate::model::Stamp)| a.since(b).abs() > SAME_SECS;
    let ((first, last), (first_after, last_after)) = (time(before), time(after));
    before.severity != after.severity
        || moment((first, first_after))
        || moment((last, last_after))
        || (before.total_secs - after.total_secs).abs() > SAME_SECS
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Evidence, Severity, Stamp, Subject};

    fn finding(code: &'static str, cell: u8, severity: Severity, first: i64) -> Finding {
        Finding {
            rule: 0,
            code,
            severity,
            subject: Subject::cell(0, cell),
            first: Stamp::from_secs(first),
            last: Stamp::from_secs(1000),
            active: false,
            acknowledged: false,
            episodes: 1,
            total_secs: (1000 - first) as f64,
            evidence: Evidence::default(),
            text: String::new(),
            what_to_do: String::new(),
            caution: "",
            source: "",
            explanations: Vec::new(),
            ended_by: None,
        }
    }

    #[test]
    fn what_appears_vanishes_and_moves() {
        let before = [
            finding("imbalance", 1, Severity::Notice, 0),
            finding("cell-overvoltage", 1, Severity::Notice, 5),
            finding("over-current", 0, Severity::Warning, 7),
        ];
        let after = [
            finding("cell-overvoltage", 1, Severity::Warning, 5),
            finding("cell-overvoltage", 2, Severity::Notice, 5),
            finding("over-current", 0, Severity::Warning, 7),
        ];
        assert_eq!(
            compare(&before, &after),
            [
                Change::Appears(&after[1]),
                Change::Vanishes(&before[0]),
                Change::Moves { before: &before[1], after: &after[0] },
            ]
        );
        assert_eq!(compare(&after, &after), []);
    }
}

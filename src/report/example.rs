//! An invented bank at the end of an invented log, for the tests and for the example of the page.

use super::FirstRefused;
use crate::model::Estimate;
use crate::model::finding::Explanation;
use crate::model::finding::{Finding, NotJudged};
use crate::model::snapshot::{Answered, BusView, CellView, PackView, Quality, Shown, Standing, Verdict};
use crate::model::{BankEvent, Change, Dialect, Evidence, Fact, Level, Rejection, Severity, Snapshot, Stamp, Subject};

const BEGIN: Stamp = Stamp::from_secs(1_768_021_200);

/// One warning that is over, one condition not judged, two estimates, two bad lines, one remark, one event.
pub(super) fn notice_and_rest() -> (Snapshot, Vec<FirstRefused>) {
    let shown = |value| Shown { value: Some(value), standing: Standing::Present, ..Shown::default() };
    let cell = |volts| CellView { voltage: shown(volts), ..CellView::default() };
    let text = "Cell 3 of pack 1 went up to 3.805 V.";
    let what_to_do = "Stop this charge or lower its voltage, and find out why the BMS let the cell rise so far.";
    let snapshot = Snapshot {
        now: Some(BEGIN.plus_secs(7200.25)),
        verdict: Verdict { level: Level::Warning, text: text.into(), what_to_do: what_to_do.into() },
        packs: vec![PackView {
            cells: [3.341, 3.342, 3.398, 3.34].map(cell).to_vec(),
            sensors: vec![shown(18.5), shown(24.0)],
            ..PackView::default()
        }],
        findings: vec![finding(text, what_to_do)],
        not_judged: vec![NotJudged {
            code: "cold-charge",
            why: "no valid cell or case temperature".into(),
            subject: Subject::pack(0),
        }],
        estimates: estimates(),
        answers: answers(),
        quality: quality(),
        events: vec![BankEvent {
            at: BEGIN.plus_secs(1800.0),
            change: Change::ConnectionsChanged,
            pack: Some(0),
            sensor: None,
            note: "lugs tightened".into(),
        }],
        notes: vec![(BEGIN.plus_secs(60.0), "shore power on".into())],
        buses: vec![BusView { channel: 0, dialects: vec![Dialect::Own], forced: false, remarks: Vec::new() }],
        ..Snapshot::default()
    };
    let refused = FirstRefused { reason: Rejection::BadHex, file: "trip.log".into(), line: 214 };
    (snapshot, vec![refused])
}

fn finding(text: &str, what_to_do: &str) -> Finding {
    Finding {
        rule: 0,
        code: "cell-overvoltage",
        severity: Severity::Warning,
        subject: Subject::cell(0, 2),
        first: BEGIN.plus_secs(3600.0),
        last: BEGIN.plus_secs(4200.0),
        active: false,
        acknowledged: false,
        episodes: 1,
        total_secs: 600.0,
        evidence: Evidence(vec![(Fact::PeakVolts, 3.805)]),
        text: text.into(),
        what_to_do: what_to_do.into(),
        caution: "Do not bypass the BMS.",
        source: "judgement of this project; the cell maker's data sheet wins",
        explanations: vec![Explanation {
            what: "a balance lead that reads wrong",
            weight: 0.25,
            settles_by: "a rest on the plateau: it is off by the same millivolts there and under any current",
        }],
        ended_by: None,
    }
}

fn answers() -> Vec<Answered> {
    let full = "Pack 1 was last full on 2026-01-10 06:05 UTC, less than an hour before the end of the data.";
    vec![
        Answered {
            code: "full",
            question: "When was it last full?",
            answer: Some(full.into()),
            estimates: vec!["since_full_h"],
            ..Answered::default()
        },
        Answered {
            code: "capacity",
            question: "Is the capacity still there?",
            why: Some("no full discharge was seen".into()),
            estimates: vec!["capacity_ah"],
            ..Answered::default()
        },
    ]
}

fn estimates() -> Vec<Estimate> {
    let estimate = |name, value: Option<f64>, why: Option<&str>| Estimate {
        name,
        subject: Subject::pack(0),
        value,
        low: value.map(|value| value - 2.0),
        high: value.map(|value| value + 2.0),
        as_of: value.map(|_| BEGIN.plus_secs(7200.0)),
        why: why.map(Into::into),
    };
    vec![estimate("soc_percent", Some(98.0), None), estimate("capacity_ah", None, Some("no full discharge was seen"))]
}

fn quality() -> Quality {
    Quality {
        frames: 72_004,
        decoded: 72_004,
        first: Some(BEGIN),
        last: Some(BEGIN.plus_secs(7200.25)),
        rejected: vec![(Rejection::BadHex, 2)],
        gaps: 1,
        lost: 12,
        ..Quality::default()
    }
}

//! The verdict: one sentence for the owner, danger first.

use crate::model::finding::Level;
use crate::model::limits::Limits;
use crate::model::snapshot::{Snapshot, Verdict};

pub(super) fn verdict(snapshot: &Snapshot, _limits: &Limits) -> Verdict {
    let worst = snapshot.findings.first();
    match worst {
        Some(finding) => Verdict {
            level: Level::from(finding.severity),
            text: finding.text.clone(),
            what_to_do: finding.what_to_do.clone(),
        },
        None => Verdict { level: Level::Well, text: "Within limits.".into(), what_to_do: "Nothing to do.".into() },
    }
}

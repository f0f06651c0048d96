//! What answers look at, and how they are put together.

use crate::model::Estimate;
use crate::model::finding::Finding;
use crate::model::limits::Limits;
use crate::model::snapshot::{Answered, Snapshot};
use crate::model::{Stamp, Subject, span};

/// The bank as it is known.
pub(super) struct Look<'a> {
    pub(super) snapshot: &'a Snapshot,
    pub(super) limits: &'a Limits,
}

impl<'a> Look<'a> {
    /// Findings of a condition about what is there now, worst first, with their places.
    pub(super) fn found(&self, code: &str) -> Vec<(usize, &'a Finding)> {
        self.ever_found(code).into_iter().filter(|(_, finding)| finding.ended_by.is_none()).collect()
    }

    /// Also those about what was there before: what is there now comes first.
    pub(super) fn ever_found(&self, code: &str) -> Vec<(usize, &'a Finding)> {
        let of_code = self.snapshot.findings.iter().enumerate().filter(|(_, finding)| finding.code == code);
        let (now, before): (Vec<_>, Vec<_>) = of_code.partition(|(_, finding)| finding.ended_by.is_none());
        now.into_iter().chain(before).collect()
    }

    /// The finding behind another.
    pub(super) fn behind(&self, at: usize) -> Option<(usize, &'a Finding)> {
        let cause = self.snapshot.causes.get(at).copied().flatten()?;
        Some((cause, self.snapshot.findings.get(cause)?))
    }

    /// Rows of an estimate.
    pub(super) fn rows(&self, name: &str) -> impl Iterator<Item = &'a Estimate> + use<'a, '_> {
        let name = name.to_owned();
        self.snapshot.estimates.iter().filter(move |row| row.name == name)
    }

    /// Rows of an estimate that have a value, with the value.
    pub(super) fn known(&self, name: &str) -> Vec<(&'a Estimate, f64)> {
        self.rows(name).filter_map(|row| Some((row, row.value?))).collect()
    }

    /// Value of an estimate of a pack.
    pub(super) fn value(&self, name: &str, subject: Subject) -> Option<f64> {
        self.rows(name).find(|row| row.subject == subject)?.value
    }

    /// Why an estimate is missing, of the first pack that lacks it.
    pub(super) fn missing(&self, name: &str) -> Option<&'a str> {
        self.rows(name).find(|row| row.value.is_none())?.why.as_deref()
    }

    /// Why a condition could not be judged, of the first pack for which it could not.
    pub(super) fn not_judged(&self, code: &str) -> Option<&'a str> {
        self.snapshot.not_judged.iter().find(|item| item.code == code).map(|item| item.why.as_str())
    }

    /// How much was heard, as in 'in 3 days of data'.
    pub(super) fn span(&self) -> String {
        let quality = &self.snapshot.quality;
        let Some((first, last)) = quality.first.zip(quality.last) else { return "in what was heard".into() };
        format!("in {} of data", span(last.since(first)))
    }
}

/// An answer in the making.
#[derive(Debug, Default)]
pub(super) struct Draft {
    said: Vec<String>,
    why: Option<String>,
    settled_by: Option<String>,
    findings: Vec<usize>,
    estimates: Vec<&'static str>,
}

impl Draft {
    /// An answer that begins so.
    pub(super) fn say(text: impl Into<String>) -> Self {
        Self::default().and(text)
    }

    /// The data does not tell: why, and what would tell.
    pub(super) fn not_known(why: &str, settled_by: &str) -> Self {
        Self::default().open(why, settled_by)
    }

    /// What findings say: the worst in full, the others counted.
    pub(super) fn told(found: &[(usize, &Finding)]) -> Option<Self> {
        let (at, first) = found.first()?;
        let mut draft = Self::say(first.text.clone()).on_finding(*at);
        match found.len() {
            1 => {}
            2 => draft = draft.and(format!("So, less badly or longer ago, {}.", found[1].1.subject)),
            more => draft = draft.and(format!("So, less badly or longer ago, {} others.", more - 1)),
        }
        draft.findings = found.iter().map(|(at, _)| *at).collect();
        Some(draft)
    }

    /// One sentence more.
    pub(super) fn and(mut self, text: impl Into<String>) -> Self {
        self.said.push(text.into());
        self
    }

    /// What stays open, and what would tell.
    pub(super) fn open(mut self, why: &str, settled_by: &str) -> Self {
        self.why = Some(why.to_owned());
        self.settled_by = (!settled_by.is_empty()).then(|| settled_by.to_owned());
        self
    }

    /// It rests on this finding.
    pub(super) fn on_finding(mut self, at: usize) -> Self {
        self.findings.push(at);
        self
    }

    /// It rests on this estimate.
    pub(super) fn on(mut self, estimate: &'static str) -> Self {
        self.estimates.push(estimate);
        self
    }

    /// The answer.
    pub(super) fn done(self, code: &'static str, question: &'static str) -> Answered {
        let answer = (!self.said.is_empty()).then(|| self.said.join(" "));
        let (why, settled_by) = (self.why, self.settled_by);
        Answered { code, question, answer, why, settled_by, findings: self.findings, estimates: self.estimates }
    }
}

/// A figure with its bounds and unit: '0.35 A (between 0.25 and 0.45)'.
pub(super) fn bounded((value, low, high): (f64, Option<f64>, Option<f64>), unit: &str, decimals: usize) -> String {
    let bounds = match (low, high) {
        (Some(low), Some(high)) => format!(" (between {low:.decimals$} and {high:.decimals$})"),
        (Some(low), None) => format!(" (at least {low:.decimals$})"),
        (None, Some(high)) => format!(" (at most {high:.decimals$})"),
        (None, None) => String::new(),
    };
    format!("{value:.decimals$} {unit}{bounds}")
}

/// A row with its bounds.
pub(super) fn row(row: &Estimate, value: f64, unit: &str, decimals: usize) -> String {
    bounded((value, row.low, row.high), unit, decimals)
}

/// A moment to the minute.
pub(super) fn moment(stamp: Stamp) -> String {
    let text = format!("{stamp:.0}").replace('T', " ");
    format!("{} UTC", text.get(..16).unwrap_or(&text))
}

/// A subject at the beginning of a sentence.
pub(super) fn capital(subject: Subject) -> String {
    let text = subject.to_string();
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

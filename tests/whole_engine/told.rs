//! What the engine tells of a run, in a form that can be compared.

use cellwright::model::finding::{Finding, Level, Severity};
use cellwright::model::{Body, Input, Stamp, Subject};
use cellwright::pipeline::{Pipeline, Setup};

/// A finding without its words and figures.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Told {
    pub(crate) code: &'static str,
    pub(crate) severity: Severity,
    pub(crate) subject: Subject,
    first: Stamp,
    last: Stamp,
    episodes: u32,
    active: bool,
}

impl From<&Finding> for Told {
    fn from(found: &Finding) -> Self {
        let Finding { code, severity, subject, first, last, episodes, active, .. } = *found;
        Self { code, severity, subject, first, last, episodes, active }
    }
}

/// What a run ends in: conditions, levels, and what could not be judged, in an order of their own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct End {
    pub(crate) level: Level,
    pub(crate) findings: Vec<Told>,
    pub(crate) not_judged: Vec<(&'static str, Subject)>,
}

impl End {
    /// With every subject put through a change.
    pub(crate) fn renamed(mut self, change: impl Fn(Subject) -> Subject) -> Self {
        self.findings.iter_mut().for_each(|told| told.subject = change(told.subject));
        self.not_judged.iter_mut().for_each(|(_, subject)| *subject = change(*subject));
        self.sorted()
    }

    /// Without some conditions; the verdict's level, which they may have set, is then that of the others.
    pub(crate) fn without(mut self, codes: &[&str]) -> Self {
        self.findings.retain(|told| !codes.contains(&told.code));
        self.not_judged.retain(|(code, _)| !codes.contains(code));
        self
    }

    /// The same but for the moments, which may lie so many seconds apart.
    pub(crate) fn is_near(&self, other: &Self, secs: f64) -> bool {
        let near = |a: &Told, b: &Told| {
            a.first.since(b.first).abs() <= secs
                && a.last.since(b.last).abs() <= secs
                && Told { first: b.first, last: b.last, ..a.clone() } == *b
        };
        self.level == other.level
            && self.not_judged == other.not_judged
            && self.findings.len() == other.findings.len()
            && self.findings.iter().zip(&other.findings).all(|(a, b)| near(a, b))
    }

    fn sorted(mut self) -> Self {
        self.findings.sort();
        self.not_judged.sort();
        self
    }
}

/// A run without a bank file, by the default limits.
pub(crate) fn plain() -> Setup {
    Setup::default()
}

/// Runs inputs to their end.
pub(crate) fn run(inputs: &[Input], setup: Setup) -> Pipeline {
    let mut pipeline = Pipeline::new(setup);
    for input in inputs {
        pipeline.push(input);
        if input.body == Body::Closing {
            break;
        }
    }
    pipeline.close();
    pipeline
}

/// What a run of inputs ends in.
pub(crate) fn judged(inputs: &[Input], setup: Setup) -> End {
    let snapshot = run(inputs, setup).snapshot();
    let end = End {
        level: snapshot.verdict.level,
        findings: snapshot.findings.iter().map(Told::from).collect(),
        not_judged: snapshot.not_judged.iter().map(|one| (one.code, one.subject)).collect(),
    };
    end.sorted()
}

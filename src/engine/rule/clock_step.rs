//! `clock-step`: the clock that stamps the data was set.

use super::{BankBench, Court, Judge, Rule, Story, Told};
use crate::engine::case::Sign;
use crate::model::finding::{Fact, Severity, Subject};

/// The step is shown as active for this long, s.
const SHOWN_SECS: f64 = 60.0;

pub(super) const RULE: Rule = Rule {
    code: "clock-step",
    page: include_str!("../../../docs/conditions/clock-step.md"),
    title: "the clock was set",
    safety: false,
    remembered: false,
    ends_with: &[],
    caution: "",
    source: "judgement of this project",
    judge: Judge::Bank(judge),
    tell,
};

fn judge(bench: &BankBench, court: &mut Court) {
    court.judged();
    let Some((at, secs)) = bench.quality.step() else { return };
    let recent = bench.now.since(at) <= SHOWN_SECS;
    let sign = Sign::new(Severity::Notice, recent, recent);
    court.say(Subject::BANK, &[sign], &[(Fact::StepSeconds, secs)]);
}

fn tell(told: &Told) -> Story {
    let secs = told.evidence.get(Fact::StepSeconds).unwrap_or_default();
    let way = if secs < 0.0 { "back" } else { "forward" };
    Story {
        text: format!(
            "The clock was set {way} by {}; times before it are by the old clock.",
            crate::model::span(secs.abs())
        ),
        what_to_do: "Nothing to do, unless it happens often: then give the computer a clock that keeps time.".into(),
    }
}

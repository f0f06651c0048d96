//! `low-capacity-cell`: a cell holds less than its siblings, by its arrival at both ends of the charge.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// Only a least figure is known.
const AT_LEAST: u8 = 1;
/// Found once, it stands until it is below this share of the limit.
const KEEPS: f64 = 0.8;

pub(super) const RULE: Rule = Rule {
    code: "low-capacity-cell",
    page: include_str!("../../../docs/conditions/low-capacity-cell.md"),
    title: "a cell holds less than its siblings",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced, Change::CapacityChanged, Change::CurrentSensorChanged],
    caution: "",
    source: "judgement of this project; that a cell's capacity shows as the difference of its arrivals at both ends: Zheng \
             2013, J. Power Sources 226:33",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let apart = &bench.pack.estimates.apart;
    let Some(capacity) = bench.view.capacity.filter(|_| apart.top.is_some() && apart.bottom.is_some()) else {
        return court.waits(if bench.view.cells.is_empty() { Why::NoCellVoltages } else { Why::NeedsBothEnds });
    };
    if bench.pack.estimates.leads.any(bench.view, bench.limits) {
        return court.not_judged(Why::LeadFault);
    }
    let mut judged = false;
    for cell in 0..bench.pack.cells.len() {
        let Some((short, _)) = apart.both.less(cell) else { continue };
        let Some(least) = short.low else { continue };
        judged = true;
        let best = short.best.unwrap_or(least);
        let percent = 100.0 * best / capacity;
        let (notice, warning) = (bench.limits.get(LimitId::SmallNotice), bench.limits.get(LimitId::SmallWarning));
        let sure = least > 0.0;
        let met = percent > notice.min(warning) && sure;
        if !met && !court.has_cases() {
            continue;
        }
        let sign = |severity, limit| Sign::new(severity, percent > limit && sure, percent > KEEPS * limit && sure);
        let signs = [sign(Severity::Notice, notice), sign(Severity::Warning, warning)];
        let off = short.half().map(|half| (Fact::ShortErrorAh, half));
        let facts: Vec<_> = [(Fact::ShortAh, best), (Fact::ShortPercent, percent)].into_iter().chain(off).collect();
        let subject = Subject::cell(bench.pack.number, cell as u8);
        court.say(subject, &signs, &facts);
        court.kind(subject, if short.best.is_none() { AT_LEAST } else { 0 });
    }
    if judged { court.judged() } else { court.waits(Why::NeedsBothEnds) }
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let off = told.evidence.get(Fact::ShortErrorAh).map_or_else(String::new, |off| format!(" (± {off:.1} Ah)"));
    let least = if told.kind == AT_LEAST { "at least " } else { "" };
    Story {
        text: format!(
            "{} holds {least}{:.1} Ah less than its siblings{off}, {:.0} % of the rated capacity. It is the first to be empty \
             and ends each discharge for all of them; balancing does not help it.",
            capital(told.subject),
            get(Fact::ShortAh),
            get(Fact::ShortPercent),
        ),
        what_to_do: match told.severity {
            Severity::Notice => "Count on less capacity: end discharges earlier. Look again after some weeks whether it grows.",
            _ => "Count on less capacity and end discharges earlier; have the pack looked at and ask its maker about replacement.",
        }
        .into(),
    }
}

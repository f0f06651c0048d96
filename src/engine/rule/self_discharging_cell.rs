//! `self-discharging-cell`: a cell falls behind its siblings at the top from visit to visit.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::drift::Drift;
use crate::engine::estimate::which;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// Only a least figure is known.
const AT_LEAST: u8 = 1;
/// As fast as a bleeder that is stuck, mA.
const LIKE_BLEEDER: f64 = 25.0;

pub(super) const RULE: Rule = Rule {
    code: "self-discharging-cell",
    page: include_str!("../../../docs/conditions/self-discharging-cell.md"),
    title: "a cell loses charge by itself",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced, Change::CapacityChanged, Change::CurrentSensorChanged],
    caution: "A cell that loses charge fast may have a fault inside. Opening or repairing a pack, and any cell that loses more than \
              10 mA per 100 Ah, is work for a qualified person.",
    source: "judgement of this project; that an inner short shows as a drift of one cell against its siblings: Zheng 2013, J. \
             Power Sources 226:33",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let apart = &bench.pack.estimates.apart;
    let cells = 0..bench.pack.cells.len();
    let Some(capacity) = bench.view.capacity.filter(|_| cells.clone().any(|cell| apart.drift(cell).is_some())) else {
        return court.waits(if bench.view.cells.is_empty() { Why::NoCellVoltages } else { Why::NeedsTwoTops });
    };
    court.judged();
    for cell in cells {
        let Some(drift) = apart.drift(cell) else { continue };
        let milliamps = which::milliamps(&drift).unwrap_or(0.0);
        let per_100 = milliamps * 100.0 / capacity;
        let lost = which::is_lost(&drift, bench.limits, capacity);
        if !lost && !court.has_cases() {
            continue;
        }
        let sign = |severity, limit| {
            let met = lost && per_100 > bench.limits.get(limit);
            Sign::new(severity, met, met)
        };
        let signs = [sign(Severity::Notice, LimitId::DriftNotice), sign(Severity::Warning, LimitId::DriftWarning)];
        let subject = Subject::cell(bench.pack.number, cell as u8);
        court.say(subject, &signs, &facts(&drift, milliamps));
        court.kind(subject, if drift.lost.best.is_none() { AT_LEAST } else { 0 });
    }
}

fn facts(drift: &Drift, milliamps: f64) -> Vec<(Fact, f64)> {
    let behind = drift.behind.best.or(drift.behind.low).map(|behind| (Fact::BehindAh, behind));
    let lost = drift.lost.best.or(drift.lost.low).unwrap_or_default();
    [(Fact::LostAh, lost), (Fact::LostOverDays, drift.days), (Fact::LossMilliamps, milliamps)]
        .into_iter()
        .chain(behind)
        .collect()
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let least = if told.kind == AT_LEAST { "at least " } else { "" };
    let milliamps = get(Fact::LossMilliamps);
    let bleeder = if milliamps > LIKE_BLEEDER {
        " A bleeder that is stuck looks the same from outside: it begins suddenly and draws 30 to 300 mA."
    } else {
        " A bleeder that is stuck looks the same from outside, but draws more."
    };
    Story {
        text: format!(
            "{} fell {least}{:.1} Ah behind its siblings within {:.0} days: it loses {least}{milliamps:.0} mA by itself.{bleeder}",
            capital(told.subject),
            get(Fact::LostAh),
            get(Fact::LostOverDays),
        ),
        what_to_do: match told.severity {
            Severity::Notice => "Look again after the next full charges whether it goes on. If it does, have the pack looked at by a \
                                 qualified person; do not leave it at rest for months without a look.",
            _ => "Have the pack looked at by a qualified person before it is left alone again: stop engine and charging sources \
                  first, then loads, then the switch.",
        }
        .into(),
    }
}

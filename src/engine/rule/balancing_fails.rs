//! `balancing-fails`: a high cell was bled for hours and does not come down.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::balance::Basis;
use crate::engine::gauge::Gauge;
use crate::model::Change;
use crate::model::bank::BalanceKind;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

pub(super) const RULE: Rule = Rule {
    code: "balancing-fails",
    page: include_str!("../../../docs/conditions/balancing-fails.md"),
    title: "balancing does not bring a high cell down",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced, Change::CapacityChanged, Change::CurrentSensorChanged],
    caution: "",
    source: "judgement of this project; bleeding as current times hours: Electronics World, November 2025 (worked examples)",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let apart = &bench.pack.estimates.apart;
    if let Some(why) = obstacle(bench) {
        return court.waits(why);
    }
    let limits = bench.limits;
    let Some(capacity) = bench.view.capacity else { return court.not_judged(Why::NoCapacity) };
    let amps = bench.spec.balance.current.map_or(limits.get(LimitId::BalanceAmps), |amps| amps.get());
    let mut judged = false;
    for (cell, bled) in apart.bled.iter().enumerate() {
        let Some(bled) = bled else { continue };
        let due = bled.hours * amps;
        // The error of one visit; the difference of two has that of both.
        let error = bled.off / std::f64::consts::SQRT_2;
        let enough = bled.hours >= limits.get(LimitId::BledHours)
            && due >= limits.get(LimitId::BledDue) / 100.0 * capacity
            && due >= 3.0 * error;
        judged |= enough;
        if !enough && !court.has_cases() {
            continue;
        }
        let met = enough && bled.fell < limits.get(LimitId::BledShare) / 100.0 * due;
        let facts = [(Fact::BledHours, bled.hours), (Fact::BledDueAh, due), (Fact::CameDownAh, bled.fell)];
        let subject = Subject::cell(bench.pack.number, cell as u8);
        court.say(subject, &[Sign::new(Severity::Notice, met, met)], &facts);
    }
    if judged { court.judged() } else { court.waits(Why::TooLittleBalancing) }
}

/// The state of each cell tells; else the kind and the current must be described.
fn obstacle(bench: &Bench) -> Option<Why> {
    let balance = &bench.spec.balance;
    match bench.pack.estimates.apart.balancing.basis {
        _ if bench.view.cells.is_empty() => Some(Why::NoCellVoltages),
        Basis::None => Some(Why::NoBalancing),
        Basis::NotKnown => Some(Why::BalancingNotKnown),
        Basis::Described if balance.current.is_none() || balance.kind == Some(BalanceKind::Unknown) => {
            Some(Why::BalancingNotKnown)
        }
        Basis::Reported if bench.pack.balancing.iter().all(|gauge: &Gauge| gauge.count() == 0) => {
            Some(Why::BalancingNotKnown)
        }
        Basis::Described | Basis::Reported => None,
    }
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    Story {
        text: format!(
            "{} was due to be bled by {:.1} Ah in {:.0} h of balancing and came down by {:.1} Ah: balancing does not reach it.",
            capital(told.subject),
            get(Fact::BledDueAh),
            get(Fact::BledHours),
            get(Fact::CameDownAh).max(0.0),
        ),
        what_to_do:
            "Check what the bank's description says of balancing. If it is right, have the BMS of this pack looked at."
                .into(),
    }
}

//! Which fault it is: the explanations that compete for what a cell does at the ends of the charge, how much speaks
//! for each, and what would settle it.
//!
//! Weights are a judgement: how common a fault is, times what the evidence makes of it. They add up to one.

use super::Estimates;
use super::apart::Bled;
use super::drift::Drift;
use super::visit::Span;
use crate::engine::pack::Pack;
use crate::model::finding::Explanation;
use crate::model::limits::{LimitId, Limits};

/// Explanations below this weight are not worth a line.
const LEAST: f64 = 0.05;
/// Conditions that are explained: what a cell does at the ends of the charge.
const CODES: [&str; 7] = [
    "imbalance",
    "low-capacity-cell",
    "self-discharging-cell",
    "balancing-fails",
    "cell-overvoltage",
    "cell-undervoltage",
    "bms-cutoff",
];
/// A bleeder that is stuck draws between these, mA; common practice, no source.
const BLEEDER: std::ops::RangeInclusive<f64> = 30.0..=300.0;

/// A fault: in words, how common it is beside the others, and what would settle it.
struct Fault {
    what: &'static str,
    common: f64,
    settles_by: &'static str,
    /// What the evidence makes of it: 1 when nothing speaks for or against.
    speaks: fn(&Evidence) -> f64,
}

static FAULTS: &[Fault] = &[
    Fault {
        what: "out of balance: it holds another charge than its siblings, and as much capacity",
        common: 0.5,
        settles_by: "a discharge to the low knee: it arrives there as far from the median, the other way round",
        speaks: |e| e.by_short(0.02, 3.0) * if e.lost == Some(true) { 0.2 } else { 1.0 },
    },
    Fault {
        what: "low capacity: it holds less than its siblings",
        common: 0.1,
        settles_by: "one full charge and one discharge to the low knee: level at the top, first at the bottom",
        speaks: |e| e.by_short(20.0, 0.05),
    },
    Fault {
        what: "self-discharge: it loses charge by itself",
        common: 0.1,
        settles_by: "two full charges five days or more apart: it falls further behind, also at rest",
        speaks: |e| e.by_loss(!e.like_bleeder, 3.0),
    },
    Fault {
        what: "a bleeder that is stuck: its balancer draws from it all the time",
        common: 0.05,
        settles_by: "two full charges five days or more apart: it falls behind from one day on, by 30 to 300 mA",
        speaks: |e| e.by_loss(e.like_bleeder, 1.0),
    },
    Fault {
        what: "its balancer does not work",
        common: 0.05,
        settles_by: "ten hours of balancing in which it is bled and the lowest is not: the others come together",
        speaks: |e| match e.bleeds {
            Some(true) => 0.02,
            Some(false) => 30.0,
            None if e.behind == Some(true) => 0.2,
            None => 1.0,
        },
    },
    Fault {
        what: "a poor connection: its voltage is off only while current flows",
        common: 0.15,
        settles_by: "steps of the current: its voltage follows them both ways, and at rest it stands with the others",
        speaks: |e| match e.poor_connection {
            Some(true) => 10.0,
            Some(false) => 0.02,
            None if e.behind == Some(true) || e.short.is_some() || e.lost == Some(true) => 0.05,
            None => 1.0,
        },
    },
    Fault {
        what: "a balance lead that reads wrong",
        common: 0.05,
        settles_by: "a rest on the plateau: it is off by the same millivolts there and under any current",
        speaks: |e| match (e.lead_fault, e.by_charge) {
            (true, _) => 10.0,
            (false, true) => 0.2,
            (false, false) => 1.0,
        },
    },
];

/// What is known of the cell.
struct Evidence {
    /// It arrives at the top after the median; none while no top was seen.
    behind: Option<bool>,
    /// It was measured in charge at the top, not only seen in millivolts.
    by_charge: bool,
    /// It holds less than the median for certain, or not for certain; none while only one end was seen.
    short: Option<bool>,
    /// It lost charge between two tops.
    lost: Option<bool>,
    /// As fast as a bleeder draws.
    like_bleeder: bool,
    /// Balancing brings it down.
    bleeds: Option<bool>,
    /// Steps of the current show that its connection adds more than the limit, or that it does not.
    poor_connection: Option<bool>,
    /// Something speaks for a fault of a balance lead of the pack.
    lead_fault: bool,
}

impl Evidence {
    fn of(pack: &Pack, cell: usize, limits: &Limits, capacity: f64) -> Self {
        let Estimates { apart, resistance, leads, .. } = &pack.estimates;
        let ahead = apart.top.as_ref().and_then(|top| top.ahead.get(cell)).copied().unwrap_or_default();
        let drift = apart.drift(cell);
        let bled = apart.bled.get(cell).copied().flatten();
        let behind = match (ahead.best, ahead.low, ahead.high) {
            (None, None, None) => None,
            (Some(best), ..) => Some(best < 0.0),
            (None, low, _) => Some(low.is_none()),
        };
        let excess = limits.get(LimitId::ConnectionExcess) * 1e-3;
        let poor = resistance.excess(cell, limits).and_then(|known| match known {
            known if known.ohms - known.half > excess => Some(true),
            known if known.ohms + known.half < excess => Some(false),
            _ => None,
        });
        Self {
            behind,
            by_charge: ahead.best.is_some(),
            short: apart.both.less(cell).and_then(|(short, _)| is_short(&short, limits, capacity)),
            lost: drift.map(|drift| is_lost(&drift, limits, capacity)),
            like_bleeder: drift.is_some_and(|drift| BLEEDER.contains(&milliamps(&drift).unwrap_or(0.0))),
            bleeds: bled
                .filter(|bled| bled.hours >= limits.get(LimitId::BledHours))
                .map(|bled| comes_down(&bled, limits)),
            poor_connection: poor,
            lead_fault: leads.any(&pack.view, limits) || leads.doubtful(),
        }
    }

    fn by_short(&self, short: f64, level: f64) -> f64 {
        match self.short {
            Some(true) => short,
            Some(false) => level,
            None => 1.0,
        }
    }

    fn by_loss(&self, fits: bool, while_behind: f64) -> f64 {
        match self.lost {
            Some(true) if fits => 20.0,
            Some(true) => 5.0,
            Some(false) => 0.05,
            None => match self.behind {
                Some(true) => while_behind,
                Some(false) => 0.1,
                None => 1.0,
            },
        }
    }
}

fn is_short(short: &Span, limits: &Limits, capacity: f64) -> Option<bool> {
    let limit = limits.get(LimitId::SmallNotice) / 100.0 * capacity;
    Some(short.best? > limit && short.low? > 0.0)
}

/// What a cell loses against its siblings, mA: the best figure, or at least.
#[must_use]
pub fn milliamps(drift: &Drift) -> Option<f64> {
    let hours = drift.days * 24.0;
    Some(drift.lost.best.or(drift.lost.low)? / hours * 1e3)
}

/// Whether the loss is certain, and large enough to speak of.
#[must_use]
pub fn is_lost(drift: &Drift, limits: &Limits, capacity: f64) -> bool {
    let least = limits.get(LimitId::DriftLost) / 100.0 * capacity;
    let error = drift.lost.half().map_or(0.0, |half| half / std::f64::consts::SQRT_2);
    let sure = drift.lost.best.map_or(drift.lost.low.unwrap_or(0.0) >= least, |best| {
        best >= least && best > limits.get(LimitId::DriftErrors) * error
    });
    let behind = drift.behind.best.or(drift.behind.low).is_some_and(|behind| behind >= least);
    sure && behind
}

fn comes_down(bled: &Bled, limits: &Limits) -> bool {
    bled.fell + bled.off > limits.get(LimitId::BledShare) / 100.0 * bled.hours * limits.get(LimitId::BalanceAmps)
}

/// What may be behind a finding about a cell, the likeliest first; empty for conditions that explain themselves.
#[must_use]
pub fn explain(code: &str, pack: &Pack, cell: Option<u8>, limits: &Limits) -> Vec<Explanation> {
    let (Some(cell), Some(capacity)) = (cell, pack.view.capacity) else { return Vec::new() };
    if !CODES.contains(&code) {
        return Vec::new();
    }
    let evidence = Evidence::of(pack, usize::from(cell), limits, capacity);
    let scores: Vec<f64> = FAULTS.iter().map(|fault| fault.common * (fault.speaks)(&evidence)).collect();
    let sum: f64 = scores.iter().sum();
    let mut list: Vec<Explanation> = FAULTS
        .iter()
        .zip(&scores)
        .map(|(fault, score)| Explanation { what: fault.what, weight: score / sum, settles_by: fault.settles_by })
        .filter(|explanation| explanation.weight >= LEAST)
        .collect();
    list.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    list
}

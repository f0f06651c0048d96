//! Rows of what is known from the ends of the charge: capacity, cells that stand apart, balancing.

use super::balance::Basis;
use super::visit::{Span, Visit};
use super::which;
use crate::engine::pack::Pack;
use crate::model::Estimate;
use crate::model::Stamp;
use crate::model::bank::PackSpec;
use crate::model::finding::Subject;
use crate::model::limits::Limits;

/// Every row of a pack.
pub(super) fn rows(pack: &Pack, spec: &PackSpec, limits: &Limits) -> Vec<Estimate> {
    let apart = &pack.estimates.apart;
    let mut rows = vec![
        capacity(pack, limits),
        imbalance(
            pack,
            "imbalance_ah",
            apart.top.as_ref(),
            "a full charge in which the cells rise into the upper knee",
        ),
        imbalance(pack, "imbalance_low_ah", apart.bottom.as_ref(), "a discharge into the low knee"),
        rebalance(pack, spec),
        balanced(pack),
    ];
    rows.extend((0..pack.cells.len()).flat_map(|cell| of_cell(pack, cell, limits)));
    rows
}

fn spanned(name: &'static str, subject: Subject, span: &Span, at: Stamp) -> Estimate {
    Estimate { name, subject, value: span.best, low: span.low, high: span.high, as_of: Some(at), why: None }
}

fn capacity(pack: &Pack, limits: &Limits) -> Estimate {
    let name = "capacity_ah";
    let capacity = &pack.estimates.capacity;
    if let Some((before, after)) = pack.estimates.gain.changed(limits) {
        let (before, after) = (before.capacity, after.capacity);
        let low = (before.ah - before.off).min(after.ah - after.off);
        let high = (before.ah + before.off).max(after.ah + after.off);
        let why = "the current sensor reads otherwise than before: by what was measured before and after";
        let open = Estimate::unknown(name, pack.subject(), why).within(low, high);
        return open.at(after.at);
    }
    match (capacity.measured(), capacity.span(), capacity.drawn_at()) {
        (Some(found), Some(span), _) => spanned(name, pack.subject(), &span, found.at),
        (None, Some(Span { low: Some(least), .. }), Some(at)) if least >= 1.0 => {
            let why = format!("{least:.0} Ah drawn at a stretch without coming from full to the bottom");
            Estimate { low: Some(least), ..Estimate::unknown(name, pack.subject(), why).at(at) }
        }
        _ => Estimate::unknown(name, pack.subject(), "not enough data yet: needs a discharge from full"),
    }
}

fn imbalance(pack: &Pack, name: &'static str, visit: Option<&Visit>, needs: &str) -> Estimate {
    match visit {
        None => Estimate::unknown(name, pack.subject(), format!("not enough data yet: needs {needs}")),
        Some(visit) if visit.is_complete() => spanned(name, pack.subject(), &visit.spread, visit.at),
        Some(visit) => spanned(name, pack.subject(), &visit.spread, visit.at)
            .because("not every cell came to the knee at a like current: at least so much"),
    }
}

/// Differential hours that the imbalance takes, at the balance current.
fn rebalance(pack: &Pack, spec: &PackSpec) -> Estimate {
    let name = "rebalance_h";
    let Some(top) = &pack.estimates.apart.top else {
        return Estimate::unknown(name, pack.subject(), "not enough data yet: needs a full charge");
    };
    let Some(amps) = spec.balance.current.map(|amps| amps.get()).filter(|amps| *amps > 0.0) else {
        return Estimate::unknown(name, pack.subject(), "the balance current is not described");
    };
    let hours = |ah: Option<f64>| ah.map(|ah| bleeding_hours(ah, amps));
    let span = Span { best: hours(top.spread.best), low: hours(top.spread.low), high: hours(top.spread.high) };
    spanned(name, pack.subject(), &span, top.at)
        .because("counted over hours in which the high cells are bled and the lowest is not")
}

/// Hours of bleeding at so many amperes that a distance in Ah takes.
fn bleeding_hours(ah: f64, amps: f64) -> f64 {
    ah.max(0.0) / amps
}

fn balanced(pack: &Pack) -> Estimate {
    let name = "balance_h_30_days";
    let balancing = &pack.estimates.apart.balancing;
    match (balancing.month(), balancing.basis) {
        (Some(hours), _) => Estimate::known(name, pack.subject(), hours).at(pack.view.now),
        (None, Basis::None) => Estimate::unknown(name, pack.subject(), "the pack does not balance, as described"),
        (None, _) => {
            Estimate::unknown(name, pack.subject(), "neither the kind of balancing nor the state of each cell is known")
        }
    }
}

/// A cell's distance is told when it is so many times its half width: of sixteen cells one would else stand out by chance.
const TOLD: f64 = 2.0;
/// At the top most are level, and what the current adds to each is not learnt yet at the first: there it is this many.
const TOLD_AT_TOP: f64 = 3.0;

/// What stands out of one cell: only what lies well beyond its own error.
fn of_cell(pack: &Pack, cell: usize, limits: &Limits) -> Vec<Estimate> {
    let apart = &pack.estimates.apart;
    let subject = Subject::cell(pack.number, cell as u8);
    let mut rows = Vec::new();
    let mut add = |name, span: Option<Span>, at: Option<Stamp>| {
        let times = if name == "early_at_top_ah" { TOLD_AT_TOP } else { TOLD };
        if let (Some(span), Some(at)) = (span.filter(|span| stands_out(span, times)), at) {
            rows.push(spanned(name, subject, &span, at));
        }
    };
    let ahead = |visit: Option<&Visit>| visit.and_then(|visit| visit.ahead.get(cell).copied());
    let (top, bottom) = (apart.top.as_ref(), apart.bottom.as_ref());
    add("early_at_top_ah", ahead(top), top.map(|visit| visit.at));
    add("early_at_bottom_ah", ahead(bottom), bottom.map(|visit| visit.at));
    let less = apart.both.less(cell);
    add("less_than_median_ah", less.map(|(less, _)| less), less.map(|(_, at)| at));
    if let Some(drift) = apart.drift(cell).filter(|drift| stands_out(&drift.lost, TOLD))
        && let Some(capacity) = pack.view.capacity
        && which::is_lost(&drift, limits, capacity)
    {
        let hours = drift.days * 24.0 / 1e3;
        let milliamps = |ah: Option<f64>| ah.map(|ah| ah / hours);
        let span =
            Span { best: milliamps(drift.lost.best), low: milliamps(drift.lost.low), high: milliamps(drift.lost.high) };
        add("loses_ma", Some(span), Some(drift.at));
    }
    rows
}

fn stands_out(span: &Span, times: f64) -> bool {
    match (span.best, span.half()) {
        (Some(best), Some(half)) => best.abs() > times * half,
        _ => span.low.is_some_and(|low| low > 0.0) || span.high.is_some_and(|high| high < 0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first two are worked in Electronics World, November 2025; the others by hand from t = ΔSOC·Q/I.
    #[test]
    fn the_hours_of_bleeding_meet_worked_examples() {
        for (ah, amps, hours) in [
            (0.200, 0.200, 1.0),
            (0.05 * 300.0, 0.300, 50.0),
            (0.05 * 280.0, 0.100, 140.0),
            (0.02 * 280.0, 0.100, 56.0),
            (0.05 * 100.0, 0.050, 100.0),
        ] {
            assert!((bleeding_hours(ah, amps) - hours).abs() < 1e-9, "{ah} Ah at {amps} A");
        }
        assert_eq!(bleeding_hours(-0.1, 0.1), 0.0);
    }
}

//! `imbalance`: the cells come to the top one after another, so many ampere-hours apart. Millivolts only support it:
//! near the top 100 mV is about 1 % of the charge.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::visit::{Span, Visit};
use crate::engine::view::View;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::{LimitId, Limits};

/// The cell arrives after the others.
const LOW: u8 = 1;
/// A cell that was named keeps the finding while it stands out by more than this share of what another does.
const TAKES_OVER: f64 = 0.6;
/// What is certain of the distance must reach this share of a limit.
const SURE: f64 = 0.6;
/// Found once, it stands until it is below this share of the limit.
const KEEPS: f64 = 0.85;
/// A spread in the knee belongs to the arrivals of the same charge: no longer ago than this, s.
const SAME_CHARGE: f64 = 43_200.0;
/// Less than this, Ah, is no distance to tell.
const NEXT_TO_NOTHING: f64 = 0.05;

pub(super) const RULE: Rule = Rule {
    code: "imbalance",
    page: include_str!("../../../docs/conditions/imbalance.md"),
    title: "cells stand apart at the end of a charge",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced, Change::CapacityChanged, Change::CurrentSensorChanged],
    caution: "",
    source: "common practice, no source (spread in the knee); how much charge it is follows from the open-circuit \
             table of an open test set (esctoolbox-python, Plett)",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (pack, view) = (bench.pack.number, bench.view);
    let of_pack = |subject: Subject| subject.pack == Some(pack);
    let apart = &bench.pack.estimates.apart;
    let (Some(top), Some(capacity)) = (&apart.top, view.capacity) else {
        court.end(of_pack);
        return match obstacle(view) {
            Some(why) => court.not_judged(why),
            None => court.waits(Why::NoFullCharge),
        };
    };
    if bench.pack.estimates.leads.any(view, bench.limits) {
        court.end(of_pack);
        return court.not_judged(Why::LeadFault);
    }
    let spread = knee_spread(bench);
    if spread.is_none() && lead_may_be_open(bench) {
        court.end(of_pack);
        return court.not_judged(Why::LeadMayBeOpen);
    }
    let signs = signs(bench, court, (top, capacity), spread);
    let met = signs.iter().any(|sign| sign.met || sign.keeps);
    match met || top.is_complete() || spread.is_some() {
        true => court.judged(),
        false => court.waits(Why::NotAllCame),
    }
    if !court.has_cases() && !met {
        return;
    }
    // Where nobody can tell how far, the cell that is still below the knee is the one.
    let unknown = !top.spread.low.is_some_and(|low| low >= NEXT_TO_NOTHING);
    let stays = lags(bench, top).filter(|_| unknown);
    let stands = stays.or_else(|| stands_out(bench, court, top));
    let Some((subject, low)) = stands.filter(|_| met) else { return court.end(of_pack) };
    court.end(|other| of_pack(other) && other != subject);
    court.say(subject, &signs, &facts(top, capacity, spread));
    court.kind(subject, if low { LOW } else { 0 });
}

fn obstacle(view: &View) -> Option<Why> {
    match view {
        View { cells, .. } if cells.is_empty() => Some(Why::NoCellVoltages),
        view if !view.sees_all_cells() => Some(Why::SomeCellsMissing),
        View { current: None, .. } => Some(Why::NoCurrent),
        View { capacity: None, .. } => Some(Why::NoCapacity),
        _ => None,
    }
}

/// By charge at once; where the charge ended first, by a bound and the millivolts that stand beside it for minutes.
fn signs(bench: &Bench, court: &Court, (top, capacity): (&Visit, f64), spread: Option<f64>) -> [Sign; 2] {
    let limits = bench.limits;
    let percent = |ah: Option<f64>| ah.map_or(0.0, |ah| 100.0 * ah / capacity);
    let (best, least) = (percent(top.spread.best), percent(top.spread.low));
    let recent = bench.view.now.since(top.at) < SAME_CHARGE;
    let bound = !top.is_complete() && recent && least > limits.get(LimitId::ApartBound);
    // A cell that never comes to the knee while the others stand in it: how far it is behind nobody can tell.
    let behind = lags(bench, top).is_some();
    let active = |severity| {
        court.has_cases()
            && bench.view.cells.iter().any(|cell| {
                court
                    .case(Subject::cell(bench.pack.number, cell.cell))
                    .is_some_and(|case| case.active() >= Some(severity))
            })
    };
    let tier = |severity, limit: f64, millivolts: f64| {
        let sure = least > limit * SURE;
        let by_charge = if top.is_complete() { best > limit && sure } else { least > limit };
        let told = bound || (behind && severity == Severity::Notice);
        let millivolts = if bound { millivolts } else { limits.get(LimitId::KneeSpreadLarge) };
        let by_spread = told && spread.is_some_and(|spread| spread > millivolts);
        let keeps_charge = best.max(least) > limit * KEEPS && sure;
        let keeps_spread =
            (bound || recent) && (spread.is_none() || spread > Some(millivolts - limits.get(LimitId::KneeHysteresis)));
        let keeps = active(severity) && (keeps_charge || keeps_spread);
        let hold = if by_charge { 0.0 } else { limits.get(LimitId::KneeMinutes) * 60.0 };
        Sign::new(severity, by_charge || by_spread, keeps).held(hold)
    };
    [
        tier(Severity::Notice, limits.get(LimitId::ApartNotice), limits.get(LimitId::KneeSpreadNotice)),
        tier(Severity::Warning, limits.get(LimitId::ApartWarning), limits.get(LimitId::KneeSpreadLarge)),
    ]
}

fn facts(top: &Visit, capacity: f64, spread: Option<f64>) -> Vec<(Fact, f64)> {
    let mut facts = Vec::new();
    match (top.spread.best, top.spread.half(), top.spread.low) {
        (Some(best), half, _) => {
            facts.extend([(Fact::ApartAh, best), (Fact::ApartPercent, 100.0 * best / capacity)]);
            facts.extend(half.map(|half| (Fact::ApartErrorAh, half)));
        }
        (None, _, Some(least)) if least >= NEXT_TO_NOTHING => facts.push((Fact::ApartLeastAh, least)),
        _ => {}
    }
    facts.extend(spread.map(|spread| (Fact::SpreadMillivolts, spread)));
    facts
}

/// A cell that stands below the knee at the end of a charge in which not every cell came to it.
fn lags(bench: &Bench, top: &Visit) -> Option<(Subject, bool)> {
    let recent = bench.view.now.since(top.at) < SAME_CHARGE;
    let lowest = bench.view.lowest().filter(|_| !top.is_complete() && recent && is_below_the_knee(bench))?;
    Some((Subject::cell(bench.pack.number, lowest.cell), true))
}

/// Whether the lowest cell stands below the mark of the knee.
fn is_below_the_knee(bench: &Bench) -> bool {
    bench.view.lowest().is_some_and(|cell| cell.volts < bench.limits.get(LimitId::KneeTop))
}

/// Highest less lowest cell in mV, in the knee at the tail of a charge.
fn knee_spread(bench: &Bench) -> Option<f64> {
    let view = bench.view;
    let tail = in_knee(view, bench.limits, is_below_the_knee(bench));
    if obstacle(view).is_some() || !tail || lead_may_be_open(bench) {
        return None;
    }
    Some((view.highest()?.volts - view.lowest()?.volts) * 1e3)
}

fn lead_may_be_open(bench: &Bench) -> bool {
    let ends = [bench.view.highest(), bench.view.lowest()];
    ends.into_iter().flatten().any(|cell| bench.view.lead_may_be_open(cell.cell, bench.limits))
}

/// In the knee at the tail of a charge: hardly any current, none of it out of the cells. With a cell that is still
/// below the knee the mean of the others may be above it: there the spread is no longer that of cells near full.
fn in_knee(view: &View, limits: &Limits, one_below: bool) -> bool {
    let high = if one_below { f64::MAX } else { limits.get(LimitId::KneeHigh) };
    let knee = limits.get(LimitId::KneeLow)..=high;
    let tail = -limits.get(LimitId::RestRate)..=limits.get(LimitId::KneeTailRate);
    view.mean.is_some_and(|mean| knee.contains(&mean)) && view.rate().is_some_and(|rate| tail.contains(&rate))
}

/// How far a cell arrives before the median, as far as that is certain, Ah.
fn certain(span: &Span) -> f64 {
    match (span.best, span.low, span.high) {
        (Some(best), ..) => best,
        (None, Some(low), _) if low > 0.0 => low,
        (None, _, Some(high)) if high < 0.0 => high,
        _ => 0.0,
    }
}

/// The cell that arrives furthest from the median, and whether it arrives after it. A cell that was named before
/// keeps the finding while another is not clearly further away.
fn stands_out(bench: &Bench, court: &Court, top: &Visit) -> Option<(Subject, bool)> {
    let most = top.ahead.iter().map(|span| certain(span).abs()).fold(0.0, f64::max);
    let subject = |cell: usize| Subject::cell(bench.pack.number, cell as u8);
    let known = |cell: usize| court.case(subject(cell)).is_some();
    let cells = top.ahead.iter().map(certain).enumerate();
    let chosen = cells
        .filter(|(cell, far)| far.abs() >= most || (known(*cell) && far.abs() > TAKES_OVER * most))
        .max_by_key(|(cell, _)| (known(*cell), std::cmp::Reverse(*cell)));
    chosen.map(|(cell, far)| (subject(cell), far < 0.0))
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact);
    let how_far = match (get(Fact::ApartAh), get(Fact::ApartErrorAh), get(Fact::ApartLeastAh)) {
        (Some(ah), Some(off), _) => format!("{ah:.1} Ah lie between the first cell and the last (± {off:.1} Ah)"),
        (Some(ah), None, _) => format!("{ah:.1} Ah lie between the first cell and the last"),
        (None, _, Some(least)) => format!(
            "at least {least:.1} Ah lie between the first cell and the last; the charge ended before the last one came"
        ),
        _ => "how far is not known yet".into(),
    };
    let (place, rest) = if told.kind == LOW {
        ("after", "A cell that stays behind is filled last; a full charge that runs on lets it follow.")
    } else {
        ("before", "It is full before the others, and ends the charge for all of them.")
    };
    Story {
        text: format!(
            "{} comes to the top {place} the others: {how_far}. {rest}",
            capital(told.subject)
        ),
        what_to_do: match told.severity {
            Severity::Notice => "Let the next full charges run on for some hours at their end, at a voltage at which no cell goes \
                                 above 3.65 V, so that balancing can bring the cells together. A distance that shrinks from \
                                 charge to charge is balancing at work.",
            _ => "Let the next full charges run on for some hours at their end, at a voltage at which no cell goes above 3.65 V, \
                  and look whether the distance is smaller the next time. If it stays or grows over weeks, have the pack \
                  looked at.",
        }
        .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::cells_in_row::Row;
    use crate::engine::story::{Story, four_cells};

    fn charged(row: &mut Row, amps: f64) -> Story {
        let mut story = Story::new(four_cells());
        row.charge(&mut story, amps);
        story
    }

    fn about(story: &Story) -> Vec<String> {
        let lines = story.found_of("imbalance");
        lines.iter().map(|line| line.split(" from").next().unwrap().to_owned()).collect()
    }

    #[test]
    fn a_cell_that_is_three_ampere_hours_ahead_is_a_notice_of_that_cell_with_its_ampere_hours() {
        let mut row = Row::at(0.90).with(2, |cell| cell.charge += 3.0);
        let mut story = Story::new(four_cells());
        row.run(&mut story, 100.0, (0.0, 3.95), |_| 20.0);
        assert_eq!(about(&story), ["imbalance notice cell 3 of pack 1"]);
        let text = &story.snapshot().findings.iter().find(|f| f.code == "imbalance").unwrap().text.clone();
        assert!(text.starts_with("Cell 3 of pack 1 comes to the top before the others: 2.9 Ah lie between the first cell and the last (± 0.4 Ah)"), "{text}");
    }

    #[test]
    fn a_cell_that_stays_behind_is_named_as_that() {
        let mut row = Row::at(0.90).with(1, |cell| cell.charge -= 6.0);
        let mut story = Story::new(four_cells());
        row.run(&mut story, 100.0, (0.0, 4.9), |_| 20.0);
        assert_eq!(about(&story), ["imbalance warning cell 2 of pack 1"]);
        let text = &story.snapshot().findings.iter().find(|f| f.code == "imbalance").unwrap().text.clone();
        assert!(text.starts_with("Cell 2 of pack 1 comes to the top after the others: 5.8 Ah lie between the first cell and the last (± 0.4 Ah)"), "{text}");
    }

    #[test]
    fn level_cells_and_a_poor_connection_find_nothing() {
        assert_eq!(about(&charged(&mut Row::at(0.8), 20.0)), [""; 0]);
        assert_eq!(about(&charged(&mut Row::at(0.8).with(0, |cell| cell.connection = 0.5e-3), 30.0)), [""; 0]);
    }

    #[test]
    fn a_missing_cell_is_said_and_before_the_first_full_charge_so_is_that() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |_, bus| {
            bus.cells(&[3.43, 3.43, 3.52]);
            bus.current(2.0);
        });
        assert_eq!(story.why_not("imbalance").unwrap(), "some cell voltages are missing: cell 4 of pack 1");
        story.run(60.0, 120.0, 1.0, |_, bus| bus.cells(&[3.3; 4]));
        story.run(120.0, 180.0, 1.0, |_, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(2.0);
        });
        let why = story.why_not("imbalance").unwrap();
        assert!(why.starts_with("not enough data yet: needs a full charge"), "{why}");
    }
}

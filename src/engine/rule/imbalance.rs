//! `imbalance`: cells stand apart in the knee at the end of a charge. By voltage a notice and no more: near the top
//! 100 mV is about 1 % of charge, and how far apart they are in ampere-hours is another estimate.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::view::View;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::{L, Limits};

/// The cell stands below the others.
const LOW: u8 = 1;
/// A cell that was named keeps the finding while it stands out by more than this share of what another does.
const TAKES_OVER: f64 = 0.6;

pub(super) const RULE: Rule = Rule {
    code: "imbalance",
    page: include_str!("../../../docs/conditions/imbalance.md"),
    title: "cells stand apart at the end of a charge",
    safety: false,
    remembered: true,
    caution: "",
    source: "common practice, no source (spread in the knee); how much charge it is follows from the open-circuit \
             table of an open test set (esctoolbox-python, Plett)",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (pack, view, limits) = (bench.pack.number, bench.view, bench.limits);
    let of_pack = |subject: Subject| subject.pack == Some(pack);
    if let Some(why) = obstacle(view) {
        court.end(of_pack);
        return court.not_judged(why);
    }
    if !in_knee(view, limits) {
        court.end(of_pack);
        return court.waits(Why::NeverInKnee);
    }
    let (Some(highest), Some(lowest), Some(median)) = (view.highest(), view.lowest(), view.median) else { return };
    let spread = (highest.volts - lowest.volts) * 1e3;
    let limit = limits.get(L::KneeSpreadNotice);
    if spread > limit && [highest, lowest].iter().any(|cell| view.lead_may_be_open(cell.cell, limits)) {
        court.end(of_pack);
        return court.not_judged(Why::LeadMayBeOpen);
    }
    court.judged();
    if !court.has_cases() && spread <= limit {
        return;
    }
    let (subject, low) = stands_out(bench, court, median);
    court.end(|other| of_pack(other) && other != subject);
    let sign = Sign::new(Severity::Notice, spread > limit, spread > limit - limits.get(L::KneeHysteresis))
        .held(limits.get(L::KneeMinutes) * 60.0)
        .read(2, highest.count, 1);
    let own = view.cells.iter().find(|cell| Some(cell.cell) == subject.cell).map_or(median, |cell| cell.volts);
    let volts = if low { (Fact::LowestVolts, own) } else { (Fact::PeakVolts, own) };
    let mean = view.mean.unwrap_or(median);
    court.say(subject, &[sign], &[(Fact::SpreadMillivolts, spread), volts, (Fact::MeanVolts, mean)]);
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

/// In the knee at the tail of a charge: hardly any current, none of it out of the cells.
fn in_knee(view: &View, limits: &Limits) -> bool {
    let knee = limits.get(L::KneeLow)..=limits.get(L::KneeHigh);
    let tail = -limits.get(L::RestRate)..=limits.get(L::KneeTailRate);
    view.mean.is_some_and(|mean| knee.contains(&mean)) && view.rate().is_some_and(|rate| tail.contains(&rate))
}

/// The cell that stands out most, and whether it stands below the others. A cell that was named before keeps the
/// finding while another is not clearly further away.
fn stands_out(bench: &Bench, court: &Court, median: f64) -> (Subject, bool) {
    let off = |volts: f64| (volts - median).abs();
    let most = bench.view.cells.iter().map(|cell| off(cell.volts)).fold(0.0, f64::max);
    let subject = |cell: u8| Subject::cell(bench.pack.number, cell);
    let known = |cell: u8| court.case(subject(cell)).is_some();
    let cells = bench.view.cells.iter();
    let chosen = cells
        .filter(|cell| off(cell.volts) >= most || (known(cell.cell) && off(cell.volts) > TAKES_OVER * most))
        .max_by_key(|cell| (known(cell.cell), std::cmp::Reverse(cell.cell)));
    chosen.map_or((Subject::pack(bench.pack.number), false), |cell| (subject(cell.cell), cell.volts < median))
}

fn tell(told: &Told) -> Story {
    let spread = told.evidence.get(Fact::SpreadMillivolts).unwrap_or_default();
    let large = spread > told.limits.get(L::KneeSpreadLarge);
    let (place, rest) = if told.kind == LOW {
        ("below", "A cell that stays behind is filled last; a full charge that runs on lets it follow.")
    } else {
        ("above", "It is full before the others, and ends the charge for all of them.")
    };
    Story {
        text: format!(
            "{} stood {place} the others near the top: {spread:.0} mV between the cells. {rest}",
            capital(told.subject)
        ),
        what_to_do: if large {
            "Let the next full charge run on for some hours at its end, so that balancing can bring the cells together, and \
             look whether the spread is smaller the next time. If it stays or grows over weeks, have the pack looked at."
        } else {
            "Let the next full charge run on for some hours at its end. A spread that shrinks from charge to charge is \
             balancing at work."
        }
        .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    fn told(cells: impl Fn(f64) -> [f64; 4], amps: f64) -> Vec<String> {
        let mut story = Story::new(four_cells());
        story.run(0.0, 900.0, 10.0, |t, bus| {
            bus.cells(&cells(t));
            bus.current(amps);
        });
        story.findings()
    }

    #[test]
    fn a_high_cell_at_the_end_of_a_charge_is_a_notice_of_that_cell() {
        assert_eq!(
            told(|_| [3.43, 3.43, 3.52, 3.43], 2.0),
            ["imbalance notice cell 3 of pack 1 from 1 s to 891 s, active"]
        );
    }

    #[test]
    fn a_low_cell_is_named_as_low() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 900.0, 10.0, |_, bus| {
            bus.cells(&[3.47, 3.38, 3.47, 3.47]);
            bus.current(1.0);
        });
        assert_eq!(story.findings(), ["imbalance notice cell 2 of pack 1 from 1 s to 891 s, active"]);
        assert!(story.snapshot().findings[0].text.starts_with("Cell 2 of pack 1 stood below the others"));
    }

    #[test]
    fn two_cells_that_take_turns_are_one_finding() {
        let turns = |t: f64| if t % 20.0 < 5.0 { [3.43, 3.50, 3.52, 3.43] } else { [3.43, 3.52, 3.50, 3.43] };
        assert_eq!(told(turns, 2.0), ["imbalance notice cell 3 of pack 1 from 1 s to 891 s, active"]);
    }

    #[test]
    fn what_is_ordinary_finds_nothing() {
        assert!(told(|_| [3.43, 3.43, 3.47, 3.43], 2.0).is_empty(), "40 mV");
        assert!(
            told(|_| [3.43, 3.43, 3.52, 3.43], 20.0).is_empty(),
            "the current is no tail: a connection reads the same"
        );
        assert!(told(|_| [3.43, 3.43, 3.52, 3.43], -3.0).is_empty(), "under load");
        assert!(told(|_| [3.31, 3.31, 3.39, 3.31], 2.0).is_empty(), "below the knee");
        assert!(told(|_| [3.57, 3.57, 3.66, 3.57], 2.0).is_empty(), "above the knee, where 1 % is 90 mV and more");
        let passes = |t: f64| if t < 280.0 { [3.43, 3.43, 3.52, 3.43] } else { [3.45; 4] };
        assert!(told(passes, 2.0).is_empty(), "shorter than five minutes");
    }

    #[test]
    fn a_missing_cell_is_said_and_before_the_first_full_charge_so_is_that() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |_, bus| {
            bus.cells(&[3.43, 3.43, 3.52]);
            bus.current(2.0);
        });
        assert_eq!(story.why_not("imbalance").unwrap(), "some cell voltages are missing");
        story.run(60.0, 120.0, 1.0, |_, bus| bus.cells(&[3.3; 4]));
        story.run(120.0, 180.0, 1.0, |_, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(2.0);
        });
        assert_eq!(story.why_not("imbalance").unwrap(), "the cells were never near the top at a small current");
    }
}

//! `high-resistance-connection`: a busbar, lug or joint gives off heat, seen as a resistance that the other cells do not
//! have, or that was not there before.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::resistance::Known;
use crate::engine::view::View;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// It lies between the cells and the bus, and has grown.
const OUTSIDE: u8 = 1;
/// It has grown.
const GROWN: u8 = 2;
/// What is found stays found down to this share of its limit.
const KEEPS: f64 = 0.8;
/// The least that its bounds leave must be this share of the limit.
const SURE: f64 = 0.5;
/// A path outside of the cells grows by this share with its own warmth.
const PATH_WARMTH: f64 = 0.1;

pub(super) const RULE: Rule = Rule {
    code: "high-resistance-connection",
    page: include_str!("../../../docs/conditions/high-resistance-connection.md"),
    title: "a connection has too much resistance",
    safety: false,
    remembered: true,
    ends_with: &[
        Change::CellsReplaced,
        Change::CapacityChanged,
        Change::ConnectionsChanged,
        Change::CurrentSensorChanged,
    ],
    caution: "Stop charging and loads, isolate the bank and prove it dead before touching a connection; insulated tools only, \
              and the maker's torque. Measure the millivolts across it under load first.",
    source: "signature (in proportion to the current, both signs): Zheng 2013, J. Power Sources 226:33; resistance by \
             temperature: open LFP test set (esctoolbox-python, Plett); the limits: judgement of this project",
    judge: Judge::Pack(judge),
    tell,
};

/// The currents at which heat is reckoned, A.
struct Heating {
    largest: Option<f64>,
    rated: Option<f64>,
}

impl Heating {
    fn of(bench: &Bench) -> Self {
        let rated = bench.spec.rated;
        let rated = rated.discharge.into_iter().chain(rated.charge).map(|amps| amps.get()).reduce(f64::max);
        Self { largest: bench.pack.estimates.load.largest(), rated }
    }

    fn watts(&self, ohms: f64) -> f64 {
        let amps = self.largest.unwrap_or(0.0).max(self.rated.unwrap_or(0.0));
        amps * amps * ohms.max(0.0)
    }
}

fn judge(bench: &Bench, court: &mut Court) {
    let learnt = &bench.pack.estimates.resistance;
    if learnt.count() == 0 {
        return court.not_judged(obstacle(bench.view, learnt.is_uneven()));
    }
    if !learnt.is_fresh() && court.has_judged() && !court.has_cases() {
        return;
    }
    let heating = Heating::of(bench);
    let mut any = false;
    for cell in 0..learnt.cells() {
        if let Some(known) = learnt.excess(cell, bench.limits) {
            any = true;
            judge_cell(bench, court, &heating, (cell, known));
        }
    }
    judge_outside(bench, court, &heating);
    match (any, learnt.is_uneven()) {
        (true, false) => court.judged(),
        (_, true) => court.waits(Why::Uneven),
        (false, false) => court.waits(Why::TooFewSteps),
    }
}

fn obstacle(view: &View, uneven: bool) -> Why {
    match view {
        View { cells, .. } if cells.is_empty() => Why::NoCellVoltages,
        view if !view.sees_all_cells() => Why::SomeCellsMissing,
        View { current: None, .. } => Why::NoCurrent,
        View { capacity: None, .. } => Why::NoCapacity,
        _ if uneven => Why::Uneven,
        _ => Why::TooFewSteps,
    }
}

fn judge_cell(bench: &Bench, court: &mut Court, heating: &Heating, (cell, known): (usize, Known)) {
    let (learnt, limits) = (&bench.pack.estimates.resistance, bench.limits);
    let median = learnt.median(limits).unwrap_or(0.0);
    let limit =
        (limits.get(LimitId::ConnectionExcess) * 1e-3).max(limits.get(LimitId::ConnectionShare) / 100.0 * median);
    let (grown, grown_keeps) = has_grown(learnt.growth(cell, limits), limits.get(LimitId::ConnectionGrowth) * 1e-3);
    let high = known.ohms > limit && known.ohms - known.half > SURE * limit;
    let keeps = known.ohms > KEEPS * limit || grown_keeps;
    let subject = Subject::cell(bench.pack.number, cell as u8);
    let growth = learnt.growth(cell, limits).map(|(growth, _)| growth);
    let watts = heating.watts(known.ohms.max(if grown_keeps { growth.unwrap_or(0.0) } else { 0.0 }));
    say(bench, court, heating, &Found { subject, known, growth, watts, met: high || grown, keeps });
    if !high && grown {
        court.kind(subject, GROWN);
    }
}

fn judge_outside(bench: &Bench, court: &mut Court, heating: &Heating) {
    let learnt = &bench.pack.estimates.resistance;
    let Some(known) = learnt.outside(bench.limits) else { return };
    let growth = learnt.growth_outside().map(|(growth, error)| (growth, error + PATH_WARMTH * known.ohms.abs()));
    let (grown, keeps) = has_grown(growth, bench.limits.get(LimitId::ConnectionGrowth) * 1e-3);
    let subject = bench.pack.subject();
    let grown_by = growth.map_or(0.0, |(growth, _)| growth);
    let found = Found { subject, known, growth: Some(grown_by), watts: heating.watts(grown_by), met: grown, keeps };
    say(bench, court, heating, &found);
    court.kind(subject, OUTSIDE);
}

fn has_grown(growth: Option<(f64, f64)>, limit: f64) -> (bool, bool) {
    growth.map_or((false, false), |(growth, error)| {
        (growth > limit && growth - error > SURE * limit, growth > KEEPS * limit)
    })
}

struct Found {
    subject: Subject,
    known: Known,
    growth: Option<f64>,
    watts: f64,
    met: bool,
    keeps: bool,
}

fn say(bench: &Bench, court: &mut Court, heating: &Heating, found: &Found) {
    let sign = |severity, limit| {
        let limit = bench.limits.get(limit);
        Sign::new(severity, found.met && found.watts > limit, found.keeps && found.watts > KEEPS * limit)
    };
    let signs =
        [sign(Severity::Notice, LimitId::ConnectionNotice), sign(Severity::Warning, LimitId::ConnectionWarning)];
    let mut facts = vec![
        (Fact::ConnectionMilliohms, found.known.ohms * 1e3),
        (Fact::ConnectionError, found.known.half * 1e3),
        (Fact::MillivoltsAt100, found.known.ohms * 1e5),
        (Fact::HeatWatts, found.watts),
    ];
    facts.extend(found.growth.map(|growth| (Fact::GrowthMilliohms, growth * 1e3)));
    facts.extend(heating.largest.map(|amps| (Fact::LargestAmps, amps)));
    facts.extend(heating.rated.map(|amps| (Fact::RatedAmps, amps)));
    if court.has_cases() || found.met {
        court.say(found.subject, &signs, &facts);
    }
}

fn tell(told: &Told) -> Story {
    let fact = |fact| told.evidence.get(fact);
    let ohms = fact(Fact::ConnectionMilliohms).unwrap_or_default();
    let error = fact(Fact::ConnectionError).unwrap_or_default();
    let growth = fact(Fact::GrowthMilliohms).unwrap_or_default();
    let heat = format!("{:.1} W at {}", fact(Fact::HeatWatts).unwrap_or_default(), currents(told));
    let text = match told.kind {
        OUTSIDE => format!(
            "Between the cells and the bus of {} the resistance has grown by {growth:.2} mΩ to {ohms:.2} mΩ: {heat}.",
            told.subject
        ),
        GROWN => format!(
            "The resistance of {} or its connection has grown by {growth:.2} mΩ; it now has {ohms:.2} mΩ more than the \
             others: {heat}.",
            told.subject
        ),
        _ => format!(
            "{} or its connection has {ohms:.2} mΩ (± {error:.2}) more than the others: {:.0} mV at 100 A, {heat}.",
            capital(told.subject),
            ohms * 100.0
        ),
    };
    let place = if told.kind == OUTSIDE {
        "each lug, fuse and switch between the pack and the bus"
    } else {
        "each joint of this cell"
    };
    let soon = if told.severity >= Severity::Warning { "Keep the current small until it is found. " } else { "" };
    Story {
        text,
        what_to_do: format!(
            "{soon}Measure the millivolts across {place} under load. Then stop charging and loads, isolate, prove dead, and \
             clean and fasten the joint that drops most with insulated tools to the maker's torque. In a sealed pack leave \
             it to the maker."
        ),
    }
}

/// 'its rated 100 A; the strongest ten minutes were 62 A'.
fn currents(told: &Told) -> String {
    match (told.evidence.get(Fact::RatedAmps), told.evidence.get(Fact::LargestAmps)) {
        (Some(rated), Some(seen)) if rated >= seen => {
            format!("its rated {rated:.0} A (the strongest ten minutes seen: {seen:.0} A)")
        }
        (Some(rated), Some(seen)) => {
            format!("the {seen:.0} A of the strongest ten minutes seen (rated: {rated:.0} A)")
        }
        (Some(rated), None) => format!("its rated {rated:.0} A"),
        (None, Some(seen)) => format!("the {seen:.0} A of the strongest ten minutes seen (no rating is described)"),
        (None, None) => "a current that is not known".into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::Bank;
    use crate::unit::{Amps, Ohms};

    /// Loads of 40 A that come and go every five minutes, one set a second in whole millivolts.
    fn told(bank: Bank, ohms: impl Fn(f64) -> [f64; 4], celsius: f64) -> Story {
        let mut story = Story::new(bank);
        story.run(0.0, 4.0 * 3600.0, 1.0, |t, bus| {
            let amps = if (t / 300.0) as i64 % 2 == 0 { -2.0 } else { -42.0 };
            let drift = 3.30 - 0.02 * t / 14_400.0 + 0.001 * (t * 0.7).sin();
            bus.cells(&ohms(t).map(|ohm| ((drift + ohm * amps) * 1e3).round() / 1e3));
            bus.current(amps);
            bus.celsius(0, celsius);
            bus.celsius(1, celsius);
        });
        story
    }

    fn rated() -> Bank {
        let mut bank = four_cells();
        bank.packs[0].rated.discharge = Some(Amps::of(100.0));
        bank
    }

    #[test]
    fn a_poor_joint_is_found_with_its_milliohms_and_watts() {
        let story = told(rated(), |_| [2.5e-3, 3.3e-3, 2.5e-3, 2.4e-3], 25.0);
        let lines = story.found_of("high-resistance-connection");
        assert_eq!(lines, ["high-resistance-connection notice cell 2 of pack 1 from 602 s to 14400 s, active"]);
        let text = &story.snapshot().findings[0].text;
        assert!(text.starts_with("Cell 2 of pack 1 or its connection has 0.80 mΩ (± 0.1"), "{text}");
        assert!(
            text.contains("80 mV at 100 A, 8.0 W at its rated 100 A (the strongest ten minutes seen: 30 A)"),
            "{text}"
        );
    }

    #[test]
    fn a_joint_that_gives_off_much_heat_is_a_warning() {
        let story = told(rated(), |_| [2.5e-3, 2.5e-3, 4.5e-3, 2.4e-3], 25.0);
        let lines = story.found_of("high-resistance-connection");
        assert_eq!(lines, ["high-resistance-connection warning cell 3 of pack 1 from 602 s to 14400 s, active"]);
    }

    #[test]
    fn ordinary_spread_and_a_link_that_is_described_find_nothing() {
        let spread = told(rated(), |_| [2.4e-3, 2.6e-3, 2.5e-3, 2.65e-3], 25.0);
        assert!(spread.findings().is_empty(), "{:?}", spread.findings());
        assert_eq!(spread.why_not("high-resistance-connection"), None);
        let mut bank = rated();
        bank.packs[0].links[1] = Some(Ohms::of(0.8e-3));
        let linked = told(bank, |_| [2.5e-3, 3.3e-3, 2.5e-3, 2.4e-3], 25.0);
        assert!(linked.findings().is_empty(), "{:?}", linked.findings());
    }

    #[test]
    fn in_the_cold_the_cells_own_spread_looks_the_same_and_is_let_be() {
        let story = told(rated(), |_| [8.0e-3, 8.6e-3, 7.8e-3, 8.2e-3], -5.0);
        assert!(story.findings().is_empty(), "{:?}", story.findings());
    }

    #[test]
    fn a_joint_that_works_loose_is_found_by_its_growth() {
        let story =
            told(rated(), |t| [2.5e-3, 2.5e-3 + if t > 7200.0 { 0.25e-3 } else { -0.2e-3 }, 2.5e-3, 2.5e-3], 25.0);
        let text = &story.snapshot().findings[0].text;
        assert!(text.starts_with("The resistance of cell 2 of pack 1 or its connection has grown by 0.4"), "{text}");
    }

    #[test]
    fn without_a_step_it_says_so() {
        let mut story = Story::new(rated());
        story.run(0.0, 3600.0, 1.0, |_, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(-5.0);
            bus.celsius(0, 20.0);
        });
        let why = story.why_not("high-resistance-connection").unwrap();
        assert_eq!(why, "not enough steps of the current yet");
    }

    #[test]
    fn far_apart_temperatures_and_cells_without_a_sensor_are_not_judged() {
        let mut bank = rated();
        bank.packs[0].sensors[1] =
            crate::model::bank::SensorSpec { role: crate::model::bank::SensorRole::Cell, cell: Some(3) };
        let mut story = Story::new(bank);
        story.run(0.0, 7200.0, 1.0, |t, bus| {
            let amps = if (t / 300.0) as i64 % 2 == 0 { -2.0 } else { -42.0 };
            bus.cells(&[2.5e-3, 3.5e-3, 2.5e-3, 2.5e-3].map(|ohm| 3.3 + ohm * amps));
            bus.current(amps);
            bus.celsius(0, 25.0);
            bus.celsius(1, 18.0);
        });
        assert!(story.found_of("high-resistance-connection").is_empty());
        let why = story.why_not("high-resistance-connection").unwrap();
        assert_eq!(why, "temperatures lie far apart and some cells have no sensor");
    }
}

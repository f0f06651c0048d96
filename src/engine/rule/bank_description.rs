//! `bank-description`: what the bank does cannot be what is described: cells in series, capacity or the current's gain, a
//! parallel string that is gone, a load that bypasses the current sensor.

use super::{Bench, Court, Judge, Rule, Story, Told, Why};
use crate::engine::case::Sign;
use crate::engine::estimate::gain::Pair;
use crate::engine::estimate::offset::assumed;
use crate::engine::estimate::reported::Said;
use crate::model::Change;
use crate::model::Quantity;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

const CAPACITY: u8 = 0;
const SERIES: u8 = 1;
const GONE: u8 = 2;
const BYPASS: u8 = 3;
const REPORTED: u8 = 4;
const GAIN: u8 = 5;
/// The least that a measured capacity may be is above so many times what is described.
const SURE: f64 = 1.05;
/// A sum of two days may be off by this much for each hour: the current sensor's offset.
const WINDOW_HOURS: f64 = 48.0;

pub(super) const RULE: Rule = Rule {
    code: "bank-description",
    title: "the bank is not as described",
    safety: false,
    remembered: true,
    ends_with: &[
        Change::CellsReplaced,
        Change::CapacityChanged,
        Change::ConnectionsChanged,
        Change::CurrentSensorChanged,
    ],
    caution: "Do not lower limits or skip alerts because a description may be wrong: settle it first.",
    source: "voltages per cell: open-circuit table of an open test set (esctoolbox-python, Plett); the rest: judgement of \
             this project",
    page: include_str!("../../../docs/conditions/bank-description.md"),
    judge: Judge::Pack(judge),
    tell,
};

/// What is met now.
struct Met {
    series: bool,
    /// More charge went one way than there is room for.
    much: bool,
    /// More was measured.
    larger: bool,
    gone: bool,
    hidden: bool,
    reported: Option<Said>,
    /// The current sensor's gain changed: what was measured before and after.
    gain: Option<(Pair, Pair)>,
}

fn judge(bench: &Bench, court: &mut Court) {
    let Some(filed) = bench.view.capacity else { return court.not_judged(Why::NoCapacity) };
    if bench.view.current.is_none() {
        return court.not_judged(Why::NoCurrent);
    }
    court.judged();
    let met = met(bench, filed);
    let plain = met.much || met.larger || met.hidden || met.reported.is_some() || met.gain.is_some();
    if !(plain || met.series || met.gone || court.has_cases()) {
        return;
    }
    let count = bench.pack.gauge(Quantity::PackVoltage).count();
    let hold = bench.limits.get(LimitId::FiledSeriesMinutes) * 60.0;
    let series_sign = Sign::new(Severity::Warning, met.series, met.series).held(hold).read(2, count, 1);
    let warning = if met.gone { Sign::new(Severity::Warning, true, true) } else { series_sign };
    let subject = bench.pack.subject();
    let signs = [Sign::new(Severity::Notice, plain, plain), warning];
    let told = court.case(subject).filter(|case| case.worst.is_some()).map(|case| case.kind);
    court.say(subject, &signs, &[]);
    let warned = court.case(subject).is_some_and(|case| case.active() == Some(Severity::Warning));
    let kind = match () {
        () if met.gone => GONE,
        () if met.series && warned => SERIES,
        () if met.gain.is_some() => GAIN,
        () if met.much || met.larger => CAPACITY,
        () if met.hidden => BYPASS,
        () if met.reported.is_some() => REPORTED,
        () => return, // nothing any more, or a voltage that has not yet stood for long
    };
    // What weighs more is told for as long as the finding stands, with its own figures and no others.
    if told.is_some_and(|told| weight(told) > weight(kind)) {
        return;
    }
    if told.is_some_and(|told| told != kind) {
        court.forget_figures(subject);
    }
    court.say(subject, &signs, &figures(bench, &met, kind, filed));
    court.kind(subject, kind);
}

fn met(bench: &Bench, filed: f64) -> Met {
    let (limits, estimates) = (bench.limits, &bench.pack.estimates);
    let learnt = estimates.soc.learnt_offset().map_or(0.0, |learnt| learnt.amps.abs() + learnt.half);
    let offset = assumed(filed, limits).max(learnt);
    let room = limits.get(LimitId::FiledOneWay) * filed + WINDOW_HOURS * offset;
    let beyond = limits.get(LimitId::FiledMeasured) * filed;
    Met {
        series: too_many_cells(bench),
        much: estimates.one_way.most() > room,
        larger: estimates.capacity.measured().is_some_and(|m| m.ah > beyond && m.ah - m.off > SURE * filed),
        gone: estimates.resistance.jump().unwrap_or(1.0) > limits.get(LimitId::FiledGone),
        hidden: estimates.resistance.bypass.is_sure(limits),
        reported: contradicts(bench, filed),
        gain: estimates.gain.changed(limits),
    }
}

/// The figures of a kind.
fn figures(bench: &Bench, met: &Met, kind: u8, filed: f64) -> Vec<(Fact, f64)> {
    let estimates = &bench.pack.estimates;
    match kind {
        GONE => vec![(Fact::ResistanceFactor, estimates.resistance.jump().unwrap_or(1.0))],
        SERIES => bench.view.mean.map(|mean| (Fact::MeanVolts, mean)).into_iter().collect(),
        CAPACITY => {
            let measured = estimates.capacity.measured().filter(|_| met.larger);
            let measured = measured.map(|measured| (Fact::MeasuredAh, measured.ah));
            let moved = met.much.then(|| (Fact::OneWayAh, estimates.one_way.most()));
            [Some((Fact::FiledAh, filed)), moved, measured].into_iter().flatten().collect()
        }
        GAIN => {
            let of = |(before, after): (Pair, Pair)| {
                let factor = (Fact::ResistanceFactor, after.ohms / before.ohms);
                [(Fact::EarlierAh, before.capacity.ah), (Fact::MeasuredAh, after.capacity.ah), factor]
            };
            met.gain.map(of).into_iter().flatten().collect()
        }
        REPORTED => {
            let of = |said: Said| [(Fact::SocMovedPercent, said.moved * 100.0), (Fact::SocMovedAh, said.ah)];
            met.reported.map(of).into_iter().flatten().chain([(Fact::FiledAh, filed)]).collect()
        }
        _ => {
            let (times, volts) = estimates.resistance.bypass.seen();
            vec![(Fact::HiddenSteps, f64::from(times)), (Fact::HiddenMillivolts, volts * 1e3)]
        }
    }
}

/// Which kind is told when several are met: the one that puts most at stake.
fn weight(kind: u8) -> usize {
    [REPORTED, BYPASS, CAPACITY, GAIN, SERIES, GONE].iter().position(|other| *other == kind).unwrap_or(0)
}

/// What the reported state of charge and the count say together, where no described capacity fits both.
fn contradicts(bench: &Bench, filed: f64) -> Option<Said> {
    let limits = bench.limits;
    let (more, less) = (limits.get(LimitId::FiledReportedMore) * filed, limits.get(LimitId::FiledReportedLess) * filed);
    bench.pack.estimates.reported.said().filter(|said| said.low > more || said.high < less)
}

/// With pack voltage only: above what cells can stand at while they are drawn from.
fn too_many_cells(bench: &Bench) -> bool {
    let view = bench.view;
    let drawn = view.rate().is_some_and(|rate| rate < -bench.limits.get(LimitId::FiledSeriesRate));
    let high = view.mean.is_some_and(|mean| mean > bench.limits.get(LimitId::FiledSeriesVolts));
    view.cells.is_empty() && view.mean_from_pack && drawn && high
}

fn tell(told: &Told) -> Story {
    let fact = |fact| told.evidence.get(fact).unwrap_or_default();
    let (text, what_to_do) = match told.kind {
        SERIES => (
            format!(
                "{} stands at {:.2} V for each described cell while it is drawn from: it has more cells in series than \
                 described.",
                super::capital(told.subject),
                fact(Fact::MeanVolts)
            ),
            "Correct the number of cells in series in the description; until then nothing that is said by voltage is right.",
        ),
        GONE => (
            format!(
                "The resistance of all cells of {} rose {:.1}-fold at once: a parallel string is gone, or the current \
                 sensor reads too little since then.",
                told.subject,
                fact(Fact::ResistanceFactor)
            ),
            "Look which string, fuse or switch is open before drawing or charging hard: the rest carries all the current. \
             Compare the current with a clamp meter.",
        ),
        BYPASS => (
            format!(
                "{} times all cells of {} moved alike, {:.0} mV the last time, and the current did not: a load or a charger \
                 bypasses the current sensor.",
                fact(Fact::HiddenSteps),
                told.subject,
                fact(Fact::HiddenMillivolts).abs()
            ),
            "Look what is connected on the battery's side of the current sensor; charge, state of charge and capacity are \
             wrong by what it takes. Settle it with a clamp meter at the pack.",
        ),
        GAIN => (
            gain_words(told),
            "Compare a steady current with a clamp meter, and look at the sensor and its wiring. Until that is settled count on \
             what was measured before; correct the sensor, and put the change into the bank file's history.",
        ),
        REPORTED => (
            reported_words(told),
            "Compare a steady current with a clamp meter. If it is right, compare the described capacity with what is \
             printed on the pack and with what its BMS is set to, and correct what is wrong.",
        ),
        _ => (
            format!(
                "{} {}, which is described with {:.0} Ah: its capacity is larger than described, or the current sensor reads \
                 too much. From the data the two look the same.",
                match told.evidence.get(Fact::MeasuredAh) {
                    Some(measured) => format!("{measured:.0} Ah were measured in"),
                    None => format!("{:.0} Ah went one way through", fact(Fact::OneWayAh)),
                },
                told.subject,
                fact(Fact::FiledAh)
            ),
            "Compare a steady current with a clamp meter. If the sensor is right, correct the capacity in the description.",
        ),
    };
    Story { text, what_to_do: what_to_do.into() }
}

/// What changed by one factor.
fn gain_words(told: &Told) -> String {
    let fact = |fact| told.evidence.get(fact).unwrap_or_default();
    let (before, after) = (fact(Fact::EarlierAh), fact(Fact::MeasuredAh));
    let (percent, way) = (100.0 * (after / before - 1.0).abs(), if after < before { "less" } else { "more" });
    format!(
        "Within weeks the measured capacity of {} went from {before:.0} to {after:.0} Ah, and the resistance of all its cells to \
         {:.2} times what it was: by one factor. Most likely the current sensor reads about {percent:.0} % {way} than before, \
         and the bank itself is as it was.",
        told.subject,
        fact(Fact::ResistanceFactor)
    )
}

/// The contradiction, and everything that can be behind it: from the data alone none of it can be told from the others.
fn reported_words(told: &Told) -> String {
    let fact = |fact| told.evidence.get(fact).unwrap_or_default();
    let (moved, ah, filed) = (fact(Fact::SocMovedPercent), fact(Fact::SocMovedAh), fact(Fact::FiledAh));
    let causes = if ah > moved / 100.0 * filed {
        "its capacity is larger than described, the current sensor reads too much"
    } else {
        "its capacity is smaller than described (aged cells, or a wrong number), the current sensor reads too little, \
         something bypasses it"
    };
    format!(
        "{} reports that its charge moved by {moved:.0} %, and {ah:.0} Ah were counted meanwhile; it is described with \
         {filed:.0} Ah. The three do not go together: {causes}, or the reported state of charge is wrong.",
        super::capital(told.subject)
    )
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::{Fact, Quantity};

    #[test]
    fn eight_cells_described_as_four_are_found_while_drawn_from() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 3600.0, 10.0, |_, bus| {
            bus.one(Quantity::PackVoltage, 26.4);
            bus.current(-10.0);
        });
        let lines = story.found_of("bank-description");
        assert_eq!(lines, ["bank-description warning pack 1 from 1 s to 3591 s, active"]);
    }

    #[test]
    fn a_float_and_an_ordinary_load_find_nothing() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 7200.0, 10.0, |t, bus| {
            let float = t < 3600.0;
            bus.one(Quantity::PackVoltage, if float { 13.8 } else { 13.1 });
            bus.current(if float { 0.5 } else { -20.0 });
        });
        assert!(story.found_of("bank-description").is_empty());
    }

    #[test]
    fn more_charge_than_there_can_be_names_both_causes() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 8.0 * 3600.0, 10.0, |_, bus| {
            bus.cells(&[3.28; 4]);
            bus.current(-20.0);
        });
        let lines = story.found_of("bank-description");
        assert_eq!(lines.len(), 1, "{:?}", story.findings());
        let told = story.snapshot().findings.into_iter().find(|f| f.code == "bank-description").unwrap();
        assert!(told.text.contains("or the current sensor reads too much"), "{}", told.text);
        let figures: Vec<Fact> = told.evidence.0.iter().map(|(fact, _)| *fact).collect();
        assert_eq!(figures, [Fact::FiledAh, Fact::OneWayAh], "its own and no other kind's");
    }

    #[test]
    fn what_a_learnt_offset_makes_in_two_days_is_no_larger_bank() {
        let told = |offset: f64, drawn: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 9.5 * 86_400.0, 60.0, |t, bus| {
                if t > 7.5 * 86_400.0 {
                    bus.cells(&[3.28; 4]);
                    bus.current(offset - drawn / 48.0);
                } else {
                    bus.day_of_full_charge(t, offset);
                }
            });
            story.found_of("bank-description").len()
        };
        assert_eq!(told(-0.9, 85.0), 0, "128 Ah by the sensor, 85 Ah less what it reads at zero");
        assert_eq!(told(0.0, 128.0), 1);
    }

    /// Drawn at 20 A for hours while the BMS counts by a capacity of its own; the bank is described with 100 Ah.
    fn reported(bms_ah: f64, hours: f64) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, hours * 3600.0, 10.0, |t, bus| {
            bus.cells(&[3.28; 4]);
            bus.current(-20.0);
            let soc = 0.93 - 20.0 * t / 3600.0 / bms_ah;
            bus.one(Quantity::ReportedSoc, (soc * 100.0).round() / 100.0);
        });
        story
    }

    #[test]
    fn a_reported_charge_that_moves_otherwise_than_the_count_is_told_with_all_that_can_be_behind_it() {
        let text =
            |story: &Story| story.snapshot().findings.into_iter().find(|f| f.code == "bank-description").unwrap().text;
        let larger = reported(180.0, 5.0);
        assert_eq!(larger.found_of("bank-description").len(), 1, "{:?}", larger.findings());
        assert_eq!(
            text(&larger),
            "Pack 1 reports that its charge moved by 56 %, and 100 Ah were counted meanwhile; it is described with 100 Ah. \
             The three do not go together: its capacity is larger than described, the current sensor reads too much, \
             or the reported state of charge is wrong."
        );
        assert_eq!(
            text(&reported(50.0, 2.0)),
            "Pack 1 reports that its charge moved by 80 %, and 40 Ah were counted meanwhile; it is described with 100 Ah. \
             The three do not go together: its capacity is smaller than described (aged cells, or a wrong number), the \
             current sensor reads too little, something bypasses it, or the reported state of charge is wrong."
        );
    }

    #[test]
    fn a_bms_that_counts_by_a_capacity_a_fifth_off_is_ordinary() {
        for bms_ah in [80.0, 90.0, 100.0, 110.0, 120.0] {
            assert!(reported(bms_ah, 4.0).found_of("bank-description").is_empty(), "{bms_ah} Ah");
        }
    }

    /// Cells of 2.5 mΩ; the sensor sees `seen` of what flows.
    fn told(flows: impl Fn(f64) -> f64, seen: impl Fn(f64, f64) -> f64) -> Vec<String> {
        let mut story = Story::new(four_cells());
        story.run(0.0, 6.0 * 3600.0, 1.0, |t, bus| {
            let amps = flows(t);
            let volts = 3.3 + 0.0005 * (t * 0.7).sin() + 2.5e-3 * amps;
            bus.cells(&[(volts * 1e3).round() / 1e3; 4]);
            bus.current(seen(t, amps));
            bus.celsius(0, 25.0);
        });
        story.found_of("bank-description")
    }

    fn loads(t: f64) -> f64 {
        if (t / 300.0) as i64 % 2 == 0 { -2.0 } else { -22.0 }
    }

    #[test]
    fn half_of_the_strings_gone_is_a_warning() {
        let lines = told(
            |t| loads(t) * if t > 10_800.0 { 2.0 } else { 1.0 },
            |_, amps| if amps < -23.0 || amps == -4.0 { amps / 2.0 } else { amps },
        );
        assert_eq!(lines.len(), 1, "{lines:?}");
        assert!(lines[0].starts_with("bank-description warning pack 1 from 1"), "{lines:?}");
        assert!(told(loads, |_, amps| amps).is_empty());
    }

    #[test]
    fn a_load_that_bypasses_the_sensor_is_found_by_the_third_step() {
        let hidden = |t: f64| if (t / 900.0) as i64 % 2 == 1 { -10.0 } else { 0.0 };
        let lines = told(
            |t| hidden(t) + if t < 1800.0 { loads(t) } else { -2.0 },
            |t, _| if t < 1800.0 { loads(t) } else { -2.0 },
        );
        assert_eq!(lines.len(), 1, "{lines:?}");
        assert!(lines[0].starts_with("bank-description notice pack 1"), "{lines:?}");
    }

    #[test]
    fn a_load_that_bypasses_the_sensor_is_found_beside_a_poor_connection() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 21_600.0, 2.0, |t, bus| {
            let amps = if t < 1800.0 { loads(t) } else { -2.0 };
            let hidden = if (t / 900.0) as i64 % 2 == 1 { -10.0 } else { 0.0 };
            let volts = |ohms: f64| 3.3 + 0.0005 * (t * 0.7).sin() + ohms * (amps + hidden);
            bus.cells(&[2.5e-3, 2.5e-3, 2.5e-3, 5.0e-3].map(volts));
            bus.current(amps);
            bus.celsius(0, 25.0);
        });
        let lines = story.found_of("bank-description");
        assert_eq!(lines.len(), 1, "{:?}", story.findings());
        assert!(lines[0].starts_with("bank-description notice pack 1"), "{lines:?}");
    }
}

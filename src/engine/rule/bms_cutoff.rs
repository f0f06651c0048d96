//! `bms-cutoff`: the BMS opened a path while current flowed.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::cut::{Fall, JITTER, Proof};
use crate::engine::estimate::minute::{First, Reached};
use crate::model::Change;
use crate::model::Quantity;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

/// It cut a discharge off; otherwise a charge. These add up in the kind of the case.
const DRAWING: u8 = 1;
/// An alternator was charging.
const ALTERNATOR: u8 = 2;
/// The BMS had announced it.
const ANNOUNCED: u8 = 4;
/// The BMS could have announced it and did not.
const SILENT: u8 = 8;
/// The path itself is reported open.
const REPORTED: u8 = 16;
/// The other packs took the current over.
const OTHERS: u8 = 32;

/// Figures at most.
const FACTS: usize = 9;
/// A cell that came to its limit by so much before another, V: it stands apart; for the words only.
const APART: f64 = 0.1;
/// Near a limit, for the words only: cells below or above this, V; sensors below or above this, °C.
const NEAR: [f64; 4] = [2.8, 3.6, 1.0, 54.0];

pub(super) const RULE: Rule = Rule {
    code: "bms-cutoff",
    page: include_str!("../../../docs/conditions/bms-cutoff.md"),
    title: "the BMS cut a pack off",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Do not bypass the BMS and do not hold it in. If it does not come back by itself within its maker's \
              instructions, a qualified person looks at it.",
    source: "judgement of this project",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let subject = bench.pack.subject();
    match blind(bench) {
        Some(why) => court.not_judged(why),
        None => court.judged(),
    }
    let cut = &bench.pack.estimates.stress.cut.now;
    if cut.is_none() && !court.has_cases() {
        return;
    }
    let sign = Sign::new(Severity::Warning, cut.is_some(), cut.is_some());
    let first = bench.pack.estimates.stress.minute.cut().and_then(|story| story.first);
    let mut facts = [(Fact::CutAmps, 0.0); FACTS];
    let count = cut.map_or(0, |cut| fill(&mut facts, &cut, first));
    court.say(subject, &[sign], &facts[..count]);
    if let Some(cut) = cut {
        court.kind(subject, kind(cut));
    }
}

/// What is missing to judge.
fn blind(bench: &Bench) -> Option<Why> {
    let (view, own) = (bench.view, bench.pack.gauge(Quantity::Current));
    let gauge = if own.count() > 0 { own } else { &bench.bank.current };
    let slow = gauge.period() > bench.limits.get(LimitId::CutoffSeconds) * JITTER;
    let paths = view.switches.charge_path.is_some() && view.switches.discharge_path.is_some();
    match view.current {
        None => Some(Why::NoCurrent),
        Some(_) if view.capacity.is_none() => Some(Why::NoCapacity),
        Some(_) if paths => None,
        Some(_) if gauge.count() < 2 => Some(Why::NothingYet),
        Some(_) if slow => Some(Why::TooSlowForCut),
        Some(_) if view.bus_voltage.is_none() && !bench.pack.estimates.stress.cut.has_others() => Some(Why::NoPathSeen),
        Some(_) => None,
    }
}

fn fill(facts: &mut [(Fact, f64); FACTS], (fall, proof): &(Fall, Proof), first: Option<First>) -> usize {
    let first = first.filter(|first| matches!(first.what, Reached::Low | Reached::High));
    let apart = match proof {
        Proof::Apart(volts) => Some((Fact::MarginVolts, *volts)),
        _ => None,
    };
    let all = [
        Some((Fact::CutAmps, fall.amps)),
        fall.volts.map(|(low, _)| (Fact::LowestVolts, low)),
        fall.volts.map(|(_, high)| (Fact::PeakVolts, high)),
        fall.celsius.map(|(cold, _)| (Fact::LowestCelsius, cold)),
        fall.celsius.map(|(_, hot)| (Fact::PeakCelsius, hot)),
        apart,
        first.map(|first| (Fact::FirstCell, f64::from(first.place) + 1.0)),
        first.map(|first| (Fact::CutMargin, first.margin)),
        first.map(|first| (Fact::NearSeconds, first.secs)),
    ];
    let mut count = 0;
    for fact in all.into_iter().flatten() {
        facts[count] = fact;
        count += 1;
    }
    count
}

fn kind((fall, proof): &(Fall, Proof)) -> u8 {
    let flag = |on: bool, flag: u8| if on { flag } else { 0 };
    flag(fall.amps < 0.0, DRAWING)
        | flag(fall.alternator && fall.amps > 0.0, ALTERNATOR)
        | flag(fall.pre_alarm == Some(true), ANNOUNCED)
        | flag(fall.pre_alarm == Some(false), SILENT)
        | flag(*proof == Proof::Path, REPORTED)
        | flag(*proof == Proof::Others, OTHERS)
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact);
    let has = |flag| told.kind & flag != 0;
    let doing = if has(DRAWING) { "giving" } else { "taking" };
    let how = match (has(REPORTED), has(OTHERS), get(Fact::MarginVolts)) {
        (true, ..) => "the BMS reports its path open".to_owned(),
        (false, true, _) => "the other packs took the current over".to_owned(),
        (false, false, apart) => {
            format!("cells and bus then stood {:.1} V apart (its BMS, a fuse or a switch)", apart.unwrap_or_default())
        }
    };
    let text = format!(
        "{} was cut off while {doing} {:.0} A: {how}. {}{}{}{}",
        capital(told.subject),
        get(Fact::CutAmps).unwrap_or_default().abs(),
        cause(told),
        first(told),
        announced(told),
        came_back(told),
    );
    let what_to_do = match (has(DRAWING), has(ALTERNATOR)) {
        (true, _) => {
            "Switch large loads off and charge by the ordinary charger as soon as it takes charge. Then find out which \
             cell or sensor came to its limit first."
        }
        (false, true) => {
            "Stop the engine before anything else is switched. Have the alternator's regulator set so that it stops \
             before the BMS does; a qualified person does that."
        }
        (false, false) if is_apart(told) => {
            "Lower the charger's voltage so far that the BMS stays closed (13.8 V on four cells, say) and hold it there for \
             some nights, so that balancing can bring the high cell down. If it still is the first, have the pack looked at: \
             balancing, this cell's capacity, its balance lead."
        }
        (false, false) => {
            "Lower the charger's voltage or current so that it ends the charge before the BMS does, and find out which \
             cell or sensor came to its limit first."
        }
    };
    Story { text, what_to_do: what_to_do.into() }
}

/// Which limit was near just before.
fn cause(told: &Told) -> String {
    let get = |fact| told.evidence.get(fact);
    let [low, high, cold, hot] = NEAR;
    let charging = told.kind & DRAWING == 0;
    let (lowest, highest) = (get(Fact::LowestVolts), get(Fact::PeakVolts));
    let (coldest, hottest) = (get(Fact::LowestCelsius), get(Fact::PeakCelsius));
    match (lowest, highest, coldest, hottest) {
        (Some(volts), other, ..) if volts < low => {
            let ahead = other.filter(|_| is_apart(told));
            let ahead =
                ahead.map_or_else(String::new, |v| format!(" and its highest at {v:.2} V: one was empty first"));
            format!("Just before, its lowest cell stood at {volts:.2} V{ahead}.")
        }
        (other, Some(volts), ..) if volts > high => {
            let ahead = other.filter(|_| is_apart(told));
            let ahead = ahead.map_or_else(String::new, |v| format!(" and its lowest at {v:.2} V: one was full first"));
            format!("Just before, its highest cell stood at {volts:.2} V{ahead}.")
        }
        (.., Some(celsius), _) if charging && celsius < cold => {
            format!("Just before, its coldest sensor read {celsius:.1} °C.")
        }
        (.., Some(celsius)) if celsius > hot => format!("Just before, its hottest sensor read {celsius:.1} °C."),
        (None, None, ..) => "Why is not visible: no cell voltages arrive.".into(),
        _ => "Neither cell voltages nor temperatures were near a limit just before.".into(),
    }
}

/// Whether highest and lowest cell stood well apart.
fn is_apart(told: &Told) -> bool {
    let volts = (told.evidence.get(Fact::LowestVolts), told.evidence.get(Fact::PeakVolts));
    matches!(volts, (Some(low), Some(high)) if high - low > APART)
}

/// Which cell came to its limit first.
fn first(told: &Told) -> String {
    let get = |fact| told.evidence.get(fact);
    let (Some(cell), Some(margin)) = (get(Fact::FirstCell), get(Fact::CutMargin)) else { return String::new() };
    let margin = match margin {
        m if m.abs() < 0.005 => "to it".to_owned(),
        m if m > 0.0 => format!("to {m:.2} V short of it"),
        m => format!("to {:.2} V beyond it", -m),
    };
    let secs = get(Fact::NearSeconds).unwrap_or_default();
    format!(" Cell {cell:.0} was the first near its limit, from {secs:.0} s before, and came {margin}.")
}

/// How long it was cut off, when it was once.
fn came_back(told: &Told) -> String {
    match told.active || told.case.episodes != 1 {
        true => String::new(),
        false => format!(" It came back after {}.", crate::model::span(told.case.total_secs)),
    }
}

fn announced(told: &Told) -> &'static str {
    let has = |flag| told.kind & flag != 0;
    match (has(ALTERNATOR), has(ANNOUNCED), has(SILENT)) {
        (true, true, _) => " An alternator was charging; the BMS had announced it.",
        (true, false, true) => {
            " An alternator was charging, and the BMS had not announced it: its voltage may have jumped."
        }
        (true, false, false) => " An alternator was charging: its voltage may have jumped.",
        (false, true, _) => " The BMS had announced it.",
        (false, false, _) => "",
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Bus, Story, four_cells};
    use crate::model::{Quantity, Slot, Value};

    fn set(bus: &mut Bus, cell: f64, amps: f64) {
        bus.cells(&[cell, cell, cell + 0.01, cell]);
        bus.celsius(0, 20.0);
        bus.current(amps);
    }

    fn paths(bus: &mut Bus, charge: bool, discharge: bool) {
        bus.one(Quantity::ChargePath, f64::from(u8::from(charge)));
        bus.one(Quantity::DischargePath, f64::from(u8::from(discharge)));
    }

    fn cutoffs(story: &Story) -> Vec<String> {
        story.found_of("bms-cutoff")
    }

    #[test]
    fn a_path_reported_open_while_current_flowed_is_a_cut_off_at_any_spacing() {
        for (step, expected) in [(1.0, "from 301 s to 600 s"), (60.0, "from 301 s to 541 s")] {
            let mut story = Story::new(four_cells());
            story.run(0.0, 600.0, step, |t, bus| {
                set(bus, if t < 300.0 { 2.6 } else { 3.0 }, if t < 300.0 { -40.0 } else { 0.0 });
                paths(bus, true, t < 300.0);
            });
            assert_eq!(cutoffs(&story), [format!("bms-cutoff warning pack 1 {expected}, active")]);
            let finding = story.snapshot().findings.into_iter().find(|f| f.code == "bms-cutoff").unwrap();
            assert_eq!(
                finding.text,
                "Pack 1 was cut off while giving 40 A: the BMS reports its path open. Just before, its lowest cell \
                 stood at 2.60 V. Cell 1 was the first near its limit, from 60 s before, and came to 0.10 V short of it."
            );
        }
    }

    #[test]
    fn it_is_over_when_current_flows_again() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 300.0, 1.0, |t, bus| {
            let cut = (100.0..200.0).contains(&t);
            set(bus, 3.1, if cut { 0.0 } else { -40.0 });
            paths(bus, true, !cut);
        });
        assert_eq!(cutoffs(&story), ["bms-cutoff warning pack 1 from 101 s to 200 s"]);
    }

    #[test]
    fn a_load_switched_off_is_no_cut_off() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 1.0, |t, bus| {
            set(bus, 3.25, if t % 100.0 < 50.0 { -80.0 } else { 0.0 });
            bus.one(Quantity::BusVoltage, if t % 100.0 < 50.0 { 12.75 } else { 13.02 });
        });
        assert!(story.found_of("bms-cutoff").is_empty(), "{:?}", story.found_of("bms-cutoff"));
        assert_eq!(story.why_not("bms-cutoff"), None);
    }

    #[test]
    fn cells_and_bus_that_part_are_a_cut_off_and_a_standing_offset_is_not() {
        let run = |after: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 60.0, 1.0, |t, bus| {
                set(bus, 3.3, if t < 30.0 { -40.0 } else { 0.0 });
                bus.one(Quantity::BusVoltage, if t < 30.0 { 12.9 } else { after });
            });
            cutoffs(&story)
        };
        assert_eq!(run(4.0), ["bms-cutoff warning pack 1 from 32 s to 60 s, active"]);
        assert!(run(13.19).is_empty(), "the voltages join");
        assert!(run(12.9).is_empty(), "a bus that reads 0.3 V low all the time");
    }

    #[test]
    fn a_main_switch_opened_a_while_after_the_loads_is_no_cut_off() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 120.0, 1.0, |t, bus| {
            set(bus, 3.3, if t < 30.0 { -40.0 } else { 0.0 });
            bus.one(Quantity::BusVoltage, if t < 45.0 { 13.2 } else { 0.0 });
        });
        assert!(story.found_of("bms-cutoff").is_empty(), "{:?}", story.found_of("bms-cutoff"));
    }

    #[test]
    fn a_path_reported_closed_clears_the_bms() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 120.0, 1.0, |t, bus| {
            set(bus, 3.3, if t < 30.0 { -40.0 } else { 0.0 });
            bus.one(Quantity::BusVoltage, if t < 30.0 { 13.2 } else { 0.0 });
            paths(bus, true, true);
        });
        assert!(
            story.found_of("bms-cutoff").is_empty(),
            "a switch or a fuse, not the BMS: {:?}",
            story.found_of("bms-cutoff")
        );
    }

    #[test]
    fn a_charge_that_tapers_off_or_a_path_that_opens_at_rest_is_no_cut_off() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 1200.0, 1.0, |t, bus| {
            set(bus, 3.45, (40.0 - t / 20.0).max(0.0));
            paths(bus, t < 1000.0, true);
        });
        assert!(cutoffs(&story).is_empty(), "{:?}", story.found_of("bms-cutoff"));
    }

    #[test]
    fn an_alternator_that_loses_its_bank_is_told() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |t, bus| {
            set(bus, if t < 30.0 { 3.64 } else { 3.5 }, if t < 30.0 { 48.0 } else { -6.0 });
            paths(bus, t < 30.0, true);
            bus.one(Quantity::PreAlarm, 0.0);
            bus.put(Slot::at(0, Quantity::SourceKind, 0), Value::Present(1.0));
            bus.put(Slot::at(0, Quantity::SourceCurrent, 0), Value::Present(60.0));
        });
        let finding = story.snapshot().findings.into_iter().find(|f| f.code == "bms-cutoff").unwrap();
        assert_eq!(
            finding.text,
            "Pack 1 was cut off while taking 48 A: the BMS reports its path open. Just before, its highest cell stood \
             at 3.65 V. Cell 3 was the first near its limit, from 30 s before, and came to it. An alternator was charging, and the BMS had not announced it: its voltage may have jumped."
        );
        assert!(finding.what_to_do.starts_with("Stop the engine before anything else is switched."));
    }

    #[test]
    fn other_packs_that_take_over_prove_it_and_a_load_that_is_switched_on_does_not() {
        let run = |(one, other): (f64, f64)| {
            let mut bank = four_cells();
            bank.packs.push(bank.packs[0].clone());
            let mut story = Story::new(bank);
            story.run(0.0, 60.0, 1.0, |t, bus| {
                set(bus, 3.3, if t < 30.0 { 8.0 } else { one });
                bus.put(Slot::of(1, Quantity::Current), Value::Present(if t < 30.0 { 14.0 } else { other }));
            });
            cutoffs(&story).len()
        };
        assert_eq!(run((0.0, 22.0)), 1);
        assert_eq!(run((0.5, 7.0)), 0, "a load took from both");
    }

    #[test]
    fn slow_readings_without_a_path_are_not_judged() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 10.0, |t, bus| {
            set(bus, 3.3, if t < 300.0 { -40.0 } else { 0.0 });
            bus.one(Quantity::BusVoltage, if t < 300.0 { 13.2 } else { 0.0 });
        });
        assert!(story.found_of("bms-cutoff").is_empty(), "{:?}", story.found_of("bms-cutoff"));
        let why = story.why_not("bms-cutoff");
        assert_eq!(why.as_deref(), Some("readings come too far apart and no path is reported"));
    }
}

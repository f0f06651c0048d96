//! Questions put to banks told as stories.

use super::QUESTIONS;
use crate::engine::story::{Story, four_cells};
use crate::model::snapshot::Answered;
use crate::model::{Quantity, Slot, Value};
use crate::unit::Volts;
use std::collections::BTreeSet;

const HOUR: f64 = 3600.0;

fn asked(story: &Story, code: &str) -> Option<Answered> {
    story.snapshot().answers.into_iter().find(|answered| answered.code == code)
}

fn answer(story: &Story, code: &str) -> String {
    let answered = asked(story, code).unwrap();
    answered.answer.clone().unwrap_or_else(|| format!("not known: {}", answered.open().unwrap_or_default()))
}

#[test]
fn no_question_stands_twice_and_nothing_is_answered_before_anything_was_heard() {
    let codes: BTreeSet<&str> = QUESTIONS.iter().map(|question| question.code).collect();
    assert_eq!(codes.len(), QUESTIONS.len());
    assert!(QUESTIONS.iter().all(|question| question.words.ends_with('?')));
    assert_eq!(Story::new(four_cells()).snapshot().answers, []);
}

#[test]
fn a_minute_of_quiet_answers_nearly_nothing_and_says_for_each_why_and_what_would_tell() {
    let mut story = Story::new(four_cells());
    story.run(0.0, 60.0, 1.0, |_, bus| {
        bus.cells(&[3.3; 4]);
        bus.celsius(0, 20.0);
        bus.current(-1.0);
    });
    let answers = story.snapshot().answers;
    let known: Vec<&str> = answers.iter().filter(|answered| answered.answer.is_some()).map(|a| a.code).collect();
    assert_eq!(known, ["cold"]);
    assert_eq!(answer(&story, "cold"), "It was never cold enough to tell: 20.0 °C at the coldest in what was heard.");
    assert_eq!(
        answer(&story, "cut-out"),
        "not known: neither the paths nor the voltage beyond the BMS are reported; would be told by the \
         state of the paths, or the voltage on both sides of the BMS once a second."
    );
    assert!(answers.iter().all(|answered| answered.answer.is_some() || answered.why.is_some()));
    assert_eq!(asked(&story, "fighting"), None, "one pack has nobody to fight with");
}

#[test]
fn a_cut_off_is_answered_with_its_story() {
    let mut story = Story::new(four_cells());
    story.run(0.0, 300.0, 1.0, |t, bus| {
        let cut = (100.0..200.0).contains(&t);
        bus.cells(&[if cut { 3.0 } else { 2.62 }; 4]);
        bus.celsius(0, 20.0);
        bus.current(if cut { 0.0 } else { -40.0 });
        bus.one(Quantity::ChargePath, 1.0);
        bus.one(Quantity::DischargePath, f64::from(u8::from(!cut)));
    });
    let answered = asked(&story, "cut-out").unwrap();
    let finding = story.snapshot().findings.into_iter().position(|f| f.code == "bms-cutoff").unwrap();
    assert!(answered.findings.contains(&finding));
    assert_eq!(answered.estimates, ["cut_margin_v"]);
    assert!(
        answered.answer.unwrap().starts_with("Pack 1 was cut off while giving 40 A: the BMS reports its path open.")
    );
}

#[test]
fn a_charge_that_the_bms_ended_is_the_charger_s_and_a_discharge_is_not() {
    let told = |amps: f64| {
        let mut story = Story::new(four_cells());
        story.run(0.0, 300.0, 1.0, |t, bus| {
            let cut = t >= 100.0;
            bus.cells(&[3.4; 4]);
            bus.celsius(0, 20.0);
            bus.current(if cut { 0.0 } else { amps });
            bus.one(Quantity::ChargePath, f64::from(u8::from(!cut)));
            bus.one(Quantity::DischargePath, f64::from(u8::from(!cut)));
        });
        answer(&story, "charger")
    };
    assert_eq!(told(40.0), "Not to what its cells take: the BMS of pack 1 ended a charge before the charger did.");
    assert!(told(-40.0).starts_with("not known: "), "{}", told(-40.0));
}

/// A charge, a night's draw, a full bank: what a day tells.
#[test]
fn a_day_with_a_full_charge_answers_charger_full_night_and_winter() {
    let mut bank = four_cells();
    bank.packs[0].absorption = Some(Volts::of(14.4));
    let mut story = Story::new(bank);
    story.run(0.0, 24.0 * HOUR, 10.0, |t, bus| {
        let h = t / HOUR;
        bus.celsius(0, 20.0);
        bus.cells(&[if h < 4.0 { 3.58 } else { 3.33 }; 4]);
        bus.current(if h < 4.0 { 40.0 * (-h).exp() } else { -0.5 });
    });
    assert_eq!(
        answer(&story, "charger"),
        "Yes, as far as it was seen: the last charge of pack 1 held 14.32 V (14.4 V is allowed), and ended at 0.7 A."
    );
    assert_eq!(
        answer(&story, "full"),
        "Pack 1 was last full on 2027-01-15 11:59 UTC, 20 h before the end of the data."
    );
    assert_eq!(
        answer(&story, "night"),
        "In the quietest hours 0.50 A (between 0.40 and 0.60), 12.0 Ah a day. Half of the hours without charge draw up \
         to 0.5 A. The bus does not tell which load it is: switch them off one by one and see by how much the current falls."
    );
    let winter = answer(&story, "winter");
    assert!(winter.starts_with("Pack 1 comes down to a tenth in 7 days (between 5 and 8)"), "{winter}");
    assert!(winter.ends_with("or have it charged in between."), "{winter}");
}

#[test]
fn packs_that_charge_each_other_fight_and_two_quiet_ones_do_not() {
    let told = |one: f64, other: f64| {
        let mut bank = four_cells();
        bank.packs.push(bank.packs[0].clone());
        let mut story = Story::new(bank);
        story.run(0.0, HOUR, 5.0, |_, bus| {
            for (pack, amps) in [(0, one), (1, other)] {
                bus.put(Slot::of(pack, Quantity::Current), Value::Present(amps));
                for cell in 0..4 {
                    bus.put(Slot::at(pack, Quantity::CellVoltage, cell), Value::Present(3.3));
                }
            }
        });
        answer(&story, "fighting")
    };
    assert!(
        told(10.0, -10.0).starts_with("Packs of the bank charged each other at up to 0.10"),
        "{}",
        told(10.0, -10.0)
    );
    assert_eq!(told(-1.0, -1.0), "No: none was seen to charge another for half an hour in what was heard.");
}

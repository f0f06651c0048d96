//! The conditions: one file each, one static table of all.
//!
//! A rule looks at one pack at one tick (or at the bank's links) and answers clear, found or not judged.
//! It never waits, counts or remembers by itself: holds and hysteresis are the [`Court`]'s, running figures
//! are the estimators'.

mod balance_lead_fault;
mod balancing_fails;
mod bank_description;
mod bms_cutoff;
mod cell_overvoltage;
mod cell_undervoltage;
mod charger_profile;
mod clock_step;
mod cold_charge;
mod doubt;
mod heater_weak;
mod high_resistance_connection;
mod hot_exposure;
mod imbalance;
mod left_empty;
mod lossy_link;
mod low_capacity_cell;
mod low_in_storage;
mod not_fully_charged;
mod over_current;
mod overtemperature;
mod prolonged_high_float;
mod self_discharging_cell;
mod sensor_fault;
mod stale_data;
mod temperature_spread;
mod unequal_sharing;

pub use doubt::{Doubt, Sighting};

use super::case::{Case, Cases, Moment, Sign};
use super::pack::Pack;
use super::view::View;
use crate::model::bank::PackSpec;
use crate::model::finding::{Evidence, Fact, Severity, Subject};
use crate::model::limits::Limits;
use crate::model::{BankEvent, Change, Stamp};
use serde::{Deserialize, Serialize};

/// A condition.
pub struct Rule {
    /// Code, as in reports and JSON.
    pub code: &'static str,
    /// Its page of the documentation, as `explain` prints it.
    pub page: &'static str,
    /// The condition in a few words, as in 'a cell is charged too high'.
    pub title: &'static str,
    /// Whether 'all well' needs it to have been judged.
    pub safety: bool,
    /// Whether a past finding still counts in the verdict for a while: harm was done, not only data lost.
    pub remembered: bool,
    /// Changes to a pack that take the ground of what was found about it, or put it right: it ends, and counts no more.
    /// Another pack ends everything about the one before.
    pub ends_with: &'static [Change],
    /// Caution that goes with every finding; may be empty.
    pub caution: &'static str,
    /// Where its limits come from, in a line.
    pub source: &'static str,
    /// Looks, once a tick.
    pub judge: Judge,
    /// Puts a case into words.
    pub tell: fn(&Told) -> Story,
}

impl Rule {
    /// Whether an event ends what was found about a subject.
    #[must_use]
    pub fn ends(&self, event: &BankEvent, subject: Subject) -> bool {
        let named = self.ends_with.contains(&event.change);
        match (&self.judge, subject.pack) {
            // what one pack does beside the others is about all of them
            (Judge::Bank(_), _) if named => true,
            (_, Some(pack)) if event.concerns(pack) => {
                let other = event.change == Change::SensorMoved && self.is_about_another_sensor(event, subject);
                event.change == Change::PackReplaced || (named && !other)
            }
            _ => false,
        }
    }

    /// Whether it is about a sensor that was not moved, or of a rule that looks at each by itself, about none.
    fn is_about_another_sensor(&self, event: &BankEvent, subject: Subject) -> bool {
        match subject.sensor {
            Some(own) => event.moved().is_some_and(|moved| moved != own),
            None => self.code == "sensor-fault",
        }
    }
}

/// What a rule looks at.
pub enum Judge {
    /// Each pack by itself.
    Pack(fn(&Bench, &mut Court)),
    /// The whole bank and its links.
    Bank(fn(&BankBench, &mut Court)),
}

/// Every condition, in the order of the documentation. Its index is the number of the rule.
pub static RULES: &[Rule] = &[
    cold_charge::RULE,
    overtemperature::RULE,
    hot_exposure::RULE,
    temperature_spread::RULE,
    heater_weak::RULE,
    imbalance::RULE,
    low_capacity_cell::RULE,
    self_discharging_cell::RULE,
    balancing_fails::RULE,
    high_resistance_connection::RULE,
    balance_lead_fault::RULE,
    bank_description::RULE,
    prolonged_high_float::RULE,
    cell_overvoltage::RULE,
    cell_undervoltage::RULE,
    left_empty::RULE,
    low_in_storage::RULE,
    not_fully_charged::RULE,
    over_current::RULE,
    unequal_sharing::RULE,
    charger_profile::RULE,
    bms_cutoff::RULE,
    sensor_fault::RULE,
    stale_data::RULE,
    lossy_link::RULE,
    clock_step::RULE,
];

/// What a rule may look at.
pub struct Bench<'a> {
    /// The pack with its estimates.
    pub pack: &'a Pack,
    /// What the tick shows.
    pub view: &'a View,
    /// The pack as described.
    pub spec: &'a PackSpec,
    /// The limits in force.
    pub limits: &'a Limits,
    /// The whole bank.
    pub bank: &'a super::BankState,
}

/// What a rule about the whole bank may look at.
pub struct BankBench<'a> {
    /// The packs.
    pub packs: &'a [Pack],
    /// The bank as described.
    pub bank: &'a crate::model::Bank,
    /// What belongs to the whole bank.
    pub state: &'a super::BankState,
    /// How good the data is.
    pub quality: &'a super::quality::DataQuality,
    /// The limits in force.
    pub limits: &'a Limits,
    /// Engine time of the tick.
    pub now: Stamp,
}

/// What a rule's words may draw on.
pub struct Told<'a> {
    /// What it is about.
    pub subject: Subject,
    /// Worst severity.
    pub severity: Severity,
    /// Whether it is active.
    pub active: bool,
    /// Figures.
    pub evidence: &'a Evidence,
    /// Which kind of the condition.
    pub kind: u8,
    /// The case itself.
    pub case: &'a Case,
    /// The pack as described.
    pub spec: &'a PackSpec,
    /// The limits in force.
    pub limits: &'a Limits,
}

/// A finding in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Story {
    /// The sentence: what happens to what, with its main figure.
    pub text: String,
    /// What to do.
    pub what_to_do: String,
}

/// Why a condition could not be judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Why {
    /// Nothing has been heard of it yet.
    NothingYet,
    /// No valid cell voltages.
    NoCellVoltages,
    /// Some cells are not valid.
    SomeCellsMissing,
    /// No valid temperature that may set a limit.
    NoTemperature,
    /// The only valid temperature is a terminal's.
    OnlyTerminal,
    /// No valid current.
    NoCurrent,
    /// The capacity is not described.
    NoCapacity,
    /// No cell voltages and no pack voltage with a cell count.
    NoVoltage,
    /// The cells never rose into the upper knee in a charge that tells.
    NoFullCharge,
    /// The charge ended before every cell had come to the knee.
    NotAllCame,
    /// Not both knees were seen.
    NeedsBothEnds,
    /// Not two tops far enough apart.
    NeedsTwoTops,
    /// Nothing tells which cell is bled, and how much.
    BalancingNotKnown,
    /// Too few hours of balancing that count.
    TooLittleBalancing,
    /// It does not balance, as described.
    NoBalancing,
    /// The bank never rested.
    NeverRested,
    /// No path is reported and readings come too far apart.
    TooSlowForCut,
    /// Nothing is reported by which a cut-off could be told from a load switched off.
    NoPathSeen,
    /// Fewer frames or less time than needed.
    TooLittleData,
    /// No sender's counter is mapped.
    NoCounter,
    /// No sensor was ever heard.
    NoSensors,
    /// Only the pack voltage is seen: the terminals may be cut off from the cells.
    PackVoltageOnly,
    /// A balance lead reads wrong.
    LeadFault,
    /// Two neighbours read like an open balance lead.
    LeadMayBeOpen,
    /// The heater does not say whether it is on.
    NoHeaterSignal,
    /// One temperature sensor cannot be compared with another.
    OneSensor,
    /// The state of charge is not known.
    SocNotKnown,
    /// Too much of the time was not seen.
    SeenTooLittle,
    /// Too few steps of the current, or too coarse ones.
    TooFewSteps,
    /// Temperatures lie far apart and some cells have no sensor.
    Uneven,
}

impl Why {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NothingYet => "nothing has been heard of it yet",
            Self::NoCellVoltages => "no cell voltages arrive",
            Self::SomeCellsMissing => "some cell voltages are missing",
            Self::NoTemperature => "no valid cell or case temperature",
            Self::OnlyTerminal => "the only temperature is a terminal's, which reads warm under load",
            Self::NoCurrent => "no valid current",
            Self::NoCapacity => "the rated capacity is not described",
            Self::NoVoltage => "neither cell voltages nor pack voltage with a number of cells",
            Self::NoFullCharge => {
                "not enough data yet: needs a full charge, warm and not too fast, in which every cell is seen to rise"
            }
            Self::NotAllCame => {
                "not enough data yet: the charge ended before every cell had come to the knee, so only a part of the distance \
                 is seen"
            }
            Self::NeedsBothEnds => "not enough data yet: needs a full charge and a discharge into the low knee",
            Self::NeedsTwoTops => "not enough data yet: needs two full charges at least five days apart",
            Self::BalancingNotKnown => "neither the kind and current of balancing nor the state of each cell is known",
            Self::TooLittleBalancing => {
                "not enough data yet: needs hours of balancing in which the high cell is bled, between two full charges"
            }
            Self::NoBalancing => "the pack does not balance, as described",
            Self::NeverRested => "the bank never rested long enough",
            Self::TooSlowForCut => "readings come too far apart and no path is reported",
            Self::NoPathSeen => "neither the paths nor the voltage beyond the BMS are reported",
            Self::TooLittleData => "not enough frames or time yet",
            Self::NoCounter => "no sender counts its frames",
            Self::NoSensors => "no temperature sensor was ever heard",
            Self::LeadFault => "a balance lead reads wrong: its voltages tell nothing of the cells' charge",
            Self::LeadMayBeOpen => "two neighbouring cells are off by as much up as down: a balance lead may be open",
            Self::NoHeaterSignal => "the heater does not say whether it is on",
            Self::OneSensor => "fewer than two cell or case temperatures",
            Self::SocNotKnown => "the state of charge is not known",
            Self::SeenTooLittle => "too much of the time was not seen",
            Self::TooFewSteps => "not enough steps of the current yet",
            Self::Uneven => "temperatures lie far apart and some cells have no sensor",
            Self::PackVoltageOnly => "only the pack voltage is seen, and the terminals may be cut off from the cells",
        }
    }
}

/// How a rule last answered about a pack.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Answer {
    /// Engine time at which it was last judged.
    pub judged: Option<Stamp>,
    /// Why it is not judged now; none when it is.
    pub why: Option<Why>,
    /// What it saw and could not tell.
    pub doubt: Option<Doubt>,
}

/// Takes down what a rule says: which conditions are met, and whether it could judge at all.
pub struct Court<'a> {
    /// Number of the rule that speaks.
    pub(super) rule: u16,
    /// The moment.
    pub(super) now: Moment,
    pub(super) cases: &'a mut Cases,
    pub(super) answer: &'a mut Answer,
    /// Whether the rule has any case at all: when not, what is not met need not be said.
    pub(super) open: bool,
}

impl Court<'_> {
    /// The rule could judge at this tick.
    pub fn judged(&mut self) {
        (self.answer.judged, self.answer.why) = (Some(self.now.engine), None);
    }

    /// The rule could not judge at this tick. What was found stays.
    pub fn not_judged(&mut self, why: Why) {
        self.answer.why = Some(why);
    }

    /// The rule cannot judge now, but what it judged before still stands.
    pub fn waits(&mut self, why: Why) {
        self.answer.why = if self.answer.judged.is_some() { None } else { Some(why) };
    }

    /// Whether the rule could judge when it last tried.
    #[must_use]
    pub fn has_judged(&self) -> bool {
        self.answer.judged.is_some()
    }

    /// Whether saying that nothing is met can matter.
    #[must_use]
    pub fn has_cases(&self) -> bool {
        self.open
    }

    /// What stands about a subject.
    #[must_use]
    pub fn case(&self, subject: Subject) -> Option<&Case> {
        self.cases.get(self.rule, subject)
    }

    /// Says what is met about a subject, a sign a severity, with figures that count while any is met.
    pub fn say(&mut self, subject: Subject, signs: &[Sign], facts: &[(Fact, f64)]) {
        if self.open || signs.iter().any(|sign| sign.met) {
            self.cases.sign((self.rule, subject), self.now, signs, facts);
            self.open = true;
        }
    }

    /// Ends what is active about subjects whose data is gone.
    pub fn end(&mut self, gone: impl Fn(Subject) -> bool) {
        if self.open {
            self.cases.close(self.rule, gone, self.now);
        }
    }

    /// Forgets the figures of a finding that is told in another way from now on.
    pub fn forget_figures(&mut self, subject: Subject) {
        self.cases.forget_figures((self.rule, subject));
    }

    /// Tells kinds of the condition apart, for the words.
    pub fn kind(&mut self, subject: Subject, kind: u8) {
        self.cases.set_kind(self.rule, subject, kind);
    }
}

/// The key of a rule in recordings: CRC-16/IBM-3740 of its code, so that the order of the table may change.
#[must_use]
pub fn key(rule: u16) -> u16 {
    let code = RULES.get(usize::from(rule)).map_or("", |row| row.code);
    crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740).checksum(code.as_bytes())
}

/// Number of the rule with this key.
#[must_use]
pub fn by_key(wanted: u16) -> Option<u16> {
    (0..RULES.len() as u16).find(|&rule| key(rule) == wanted)
}

/// Number of the rule with this code.
#[must_use]
pub fn number(code: &str) -> Option<u16> {
    RULES.iter().position(|rule| rule.code == code).map(|i| i as u16)
}

/// A subject at the start of a sentence, as in 'Cell 3 of pack 1'.
#[must_use]
pub fn capital(subject: Subject) -> String {
    let words = subject.to_string();
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_found_by_its_key() {
        for rule in 0..RULES.len() as u16 {
            assert_eq!(by_key(key(rule)), Some(rule), "two codes share a key: rename one");
        }
    }
}

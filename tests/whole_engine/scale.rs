//! Capacities and currents by k, resistances by 1/k: a larger bank of the same kind. Voltages stay.

use super::drawn::{banks, few};
use super::frames::{changed, each};
use super::told::{judged, plain};
use cellwright::model::limits::Limits;
use cellwright::model::{Input, Quantity as Q, Value};
use cellwright::pipeline::Setup;
use proptest::prelude::*;

/// What grows with the bank: ampere-hours and amperes.
const GROWS: [Q; 13] = [
    Q::Current,
    Q::BankCurrent,
    Q::ChargeLimit,
    Q::DischargeLimit,
    Q::SourceCurrent,
    Q::SourceOffer,
    Q::RatedCapacity,
    Q::RatedCharge,
    Q::RatedDischarge,
    Q::WeakestPart,
    Q::HeaterCurrent,
    Q::BalanceCurrent,
    Q::CurrentStep,
];

/// Every limit in amperes, milliohms or watts, by which power of k it goes. At the same current by capacity the
/// heat in a connection grows with k.
const ABSOLUTE: [(&str, i32); 9] = [
    ("current.dead-band-amps", 1),
    ("balancing-fails.current", 1),
    ("sensor-fault.offset", 1),
    ("soc.offset", 1),
    ("resistance.error", -1),
    ("high-resistance-connection.excess", -1),
    ("high-resistance-connection.growth", -1),
    ("high-resistance-connection.notice", 1),
    ("high-resistance-connection.warning", 1),
];

/// Conditions with a limit in amperes, milliohms or watts: with the limits left as they are, they may change.
const EXCEPTED: [&str; 5] =
    ["high-resistance-connection", "sensor-fault", "low-in-storage", "balance-lead-fault", "balancing-fails"];

fn scaled(inputs: &[Input], k: f64) -> Vec<Input> {
    let by = |value: Value, factor: f64| match value {
        Value::Present(number) => Value::Present(number * factor),
        other => other,
    };
    each(inputs, |frame| {
        Some(changed(frame, |slot, value| match slot.quantity {
            quantity if GROWS.contains(&quantity) => by(value, k),
            Q::LinkResistance => by(value, 1.0 / k),
            _ => value,
        }))
    })
}

fn limits(k: f64) -> Setup {
    let mut limits = Limits::default();
    for (name, power) in ABSOLUTE {
        let number = limits.named(name).expect("there is such a limit");
        limits.set(name, number * k.powi(power)).expect("it may be scaled");
    }
    Setup { limits, ..Setup::default() }
}

proptest! {
    #![proptest_config(few())]

    #[test]
    fn a_larger_bank_is_judged_alike_once_its_limits_in_amperes_milliohms_and_watts_are_as_large(
        bank in banks(), k in 2..4u32,
    ) {
        let (inputs, k) = (bank.inputs(), f64::from(k));
        let (small, large) = (judged(&inputs, plain()), judged(&scaled(&inputs, k), limits(k)));
        prop_assert_eq!(small, large);
    }

    #[test]
    fn a_larger_bank_is_judged_alike_by_the_same_limits_but_where_they_are_in_amperes_milliohms_or_watts(
        bank in banks(), k in 2..4u32,
    ) {
        let (inputs, k) = (bank.inputs(), f64::from(k));
        let (small, large) = (judged(&inputs, plain()), judged(&scaled(&inputs, k), plain()));
        let differs = small.findings.iter().chain(&large.findings).any(|told| EXCEPTED.contains(&told.code));
        prop_assert!(differs || small.level == large.level);
        prop_assert_eq!(small.without(&EXCEPTED).findings, large.without(&EXCEPTED).findings);
    }
}

/// The exceptions are the limits whose unit says so, all of them.
#[test]
fn the_limits_in_amperes_milliohms_and_watts_are_those_named_here() {
    let mut named: Vec<&str> = ABSOLUTE.iter().map(|(name, _)| *name).collect();
    let absolute = |unit: &str| matches!(unit, "A" | "mΩ" | "W" | "Ah" | "Wh" | "mA");
    let mut found: Vec<&str> =
        cellwright::model::limits::LIMITS.iter().filter(|row| absolute(row.unit)).map(|row| row.name).collect();
    named.sort_unstable();
    found.sort_unstable();
    assert_eq!(named, found);
}

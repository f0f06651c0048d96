//! The roles that a signal can play, and the units in which it may come.

use crate::model::{MAX_CELLS, MAX_SENSORS, MAX_SOURCES, Quantity};

/// Every role: its word, what it means, and how many of it a pack (or, for sources, a bank) can have.
pub const ROLES: &[(&str, Quantity, usize)] = &[
    ("cell-voltage", Quantity::CellVoltage, MAX_CELLS),
    ("temperature", Quantity::Temperature, MAX_SENSORS),
    ("pack-voltage", Quantity::PackVoltage, 1),
    ("bus-voltage", Quantity::BusVoltage, 1),
    ("current", Quantity::Current, 1),
    ("bank-current", Quantity::BankCurrent, 1),
    ("bank-voltage", Quantity::BankVoltage, 1),
    ("charge-path", Quantity::ChargePath, 1),
    ("discharge-path", Quantity::DischargePath, 1),
    ("heater-on", Quantity::HeaterOn, 1),
    ("pre-alarm", Quantity::PreAlarm, 1),
    ("balancing", Quantity::Balancing, 1),
    ("cell-balancing", Quantity::CellBalancing, MAX_CELLS),
    ("reported-soc", Quantity::ReportedSoc, 1),
    ("charge-limit", Quantity::ChargeLimit, 1),
    ("discharge-limit", Quantity::DischargeLimit, 1),
    ("cell-voltage-max", Quantity::CellVoltageMax, 1),
    ("cell-voltage-min", Quantity::CellVoltageMin, 1),
    ("charge-temp-min", Quantity::ChargeTempMin, 1),
    ("charge-temp-max", Quantity::ChargeTempMax, 1),
    ("discharge-temp-min", Quantity::DischargeTempMin, 1),
    ("discharge-temp-max", Quantity::DischargeTempMax, 1),
    ("source-kind", Quantity::SourceKind, MAX_SOURCES),
    ("source-state", Quantity::SourceState, MAX_SOURCES),
    ("source-current", Quantity::SourceCurrent, MAX_SOURCES),
    ("source-offer", Quantity::SourceOffer, MAX_SOURCES),
    ("source-voltage", Quantity::SourceVoltage, MAX_SOURCES),
    ("live-counter", Quantity::SenderFrames, MOST_COUNTERS),
];

/// Live counters of a bank, at most.
pub(super) const MOST_COUNTERS: usize = 16;

/// The role of a word.
#[must_use]
pub fn role_of(word: &str) -> Option<Quantity> {
    ROLES.iter().find(|(known, ..)| *known == word).map(|(_, role, _)| *role)
}

/// The word of a role; empty for a quantity that no signal of a bank file gives.
#[must_use]
pub fn word_of(role: Quantity) -> &'static str {
    ROLES.iter().find(|(_, known, _)| *known == role).map_or("", |(word, ..)| word)
}

/// Whether a role belongs to the whole bank and has no pack.
pub(super) fn is_of_the_bank(role: Quantity) -> bool {
    use Quantity::{
        BankCurrent, BankVoltage, SenderFrames, SourceCurrent, SourceKind, SourceOffer, SourceState, SourceVoltage,
    };
    matches!(
        role,
        BankCurrent
            | BankVoltage
            | SenderFrames
            | SourceKind
            | SourceState
            | SourceCurrent
            | SourceOffer
            | SourceVoltage
    )
}

/// Whether a role has a direction: positive is charging.
pub(super) fn is_directed(role: Quantity) -> bool {
    matches!(role, Quantity::Current | Quantity::BankCurrent)
}

/// Unit of the role, unit of the signal, factor and what is added after it.
const UNITS: &[(&str, &str, f64, f64)] = &[
    ("V", "V", 1.0, 0.0),
    ("V", "mV", 1e-3, 0.0),
    ("A", "A", 1.0, 0.0),
    ("A", "mA", 1e-3, 0.0),
    ("degC", "degC", 1.0, 0.0),
    ("degC", "°C", 1.0, 0.0),
    ("degC", "C", 1.0, 0.0),
    ("degC", "K", 1.0, -273.15),
    ("degC", "°F", 5.0 / 9.0, -160.0 / 9.0),
    ("degC", "degF", 5.0 / 9.0, -160.0 / 9.0),
    ("fraction", "fraction", 1.0, 0.0),
    ("fraction", "%", 1e-2, 0.0),
];

/// Factor and addend from a unit to the unit of the role; none when it is no unit of it.
#[must_use]
pub fn unit(role: Quantity, unit: &str) -> Option<(f64, f64)> {
    UNITS.iter().find(|row| row.0 == role.unit() && row.1 == unit).map(|row| (row.2, row.3))
}

/// Units in which a role may come.
pub fn units(role: Quantity) -> impl Iterator<Item = &'static str> + Clone {
    UNITS.iter().filter(move |row| row.0 == role.unit()).map(|row| row.1)
}

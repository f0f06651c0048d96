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

/// A unit in which a role may come.
struct Unit {
    /// Unit of the role.
    of: &'static str,
    /// How it is written; the first is how the program writes it.
    spelt: &'static [&'static str],
    /// What a number is multiplied by to be in the unit of the role.
    factor: f64,
    /// What is added after that.
    addend: f64,
}

const fn of(of: &'static str, spelt: &'static [&'static str], factor: f64, addend: f64) -> Unit {
    Unit { of, spelt, factor, addend }
}

/// Every unit that is known, for signals and for the columns of a table.
const UNITS: &[Unit] = &[
    of("V", &["V", "volt", "volts"], 1.0, 0.0),
    of("V", &["mV"], 1e-3, 0.0),
    of("V", &["kV"], 1e3, 0.0),
    of("A", &["A", "amp", "amps", "ampere", "amperes"], 1.0, 0.0),
    of("A", &["mA"], 1e-3, 0.0),
    of("A", &["kA"], 1e3, 0.0),
    of("degC", &["°C", "degC", "degrees C", "C", "Celsius", "deg Celsius", "degrees Celsius"], 1.0, 0.0),
    of("degC", &["K", "Kelvin", "degK", "°K"], 1.0, -273.15),
    of(
        "degC",
        &["°F", "degF", "degrees F", "F", "Fahrenheit", "deg Fahrenheit", "degrees Fahrenheit"],
        5.0 / 9.0,
        -160.0 / 9.0,
    ),
    of("fraction", &["fraction", "1", "ratio"], 1.0, 0.0),
    of("fraction", &["%", "percent", "per cent"], 1e-2, 0.0),
    of("fraction", &["‰", "per mille"], 1e-3, 0.0),
];

/// Factor and addend from a unit to the unit of the role; none when it is no unit of it.
#[must_use]
pub fn unit(role: Quantity, unit: &str) -> Option<(f64, f64)> {
    let found = UNITS.iter().find(|row| row.of == role.unit() && row.spelt.iter().any(|spelt| is_same(spelt, unit)));
    found.map(|row| (row.factor, row.addend))
}

/// Units in which a role may come, as the program writes them; none for states and counts.
pub fn units(role: Quantity) -> impl Iterator<Item = &'static str> + Clone {
    UNITS.iter().filter(move |row| row.of == role.unit()).filter_map(|row| row.spelt.first().copied())
}

/// Whether a unit is spelt so, whatever its spaces and capitals. A capital M is a million and never a thousandth.
fn is_same(spelt: &str, unit: &str) -> bool {
    let letters = |text: &str| -> String {
        let degree = |letter| match letter {
            'º' | '˚' => "°".to_owned(),
            '℃' => "°C".to_owned(),
            '℉' => "°F".to_owned(),
            other => String::from(other),
        };
        text.chars().filter(|letter| !letter.is_whitespace() && !matches!(letter, '_' | '.')).map(degree).collect()
    };
    let (spelt, unit) = (letters(spelt), letters(unit));
    spelt.eq_ignore_ascii_case(&unit) && !(unit.starts_with('M') && spelt.starts_with('m'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_known_by_its_common_spellings() {
        let warmth = |text| unit(Quantity::Temperature, text).map(|(factor, addend)| (factor * 50.0 + addend).round());
        for text in ["°F", "ºF", "℉", "F", "degF", "deg F", "deg. F", "Deg_F", "degrees F", "Fahrenheit", "fahrenheit"]
        {
            assert_eq!(warmth(text), Some(10.0), "{text}");
        }
        for text in ["°C", "ºC", "℃", "C", "c", "degC", "deg C", "DegC", "degrees C", "Celsius", "celsius"] {
            assert_eq!(warmth(text), Some(50.0), "{text}");
        }
        assert_eq!((warmth("K"), warmth("kelvin")), (Some(-223.0), Some(-223.0)));
        let amps = |text| unit(Quantity::Current, text).map(|(factor, _)| factor);
        assert_eq!(["A", "Amps", "mA", "ma", "kA", "KA"].map(amps), [1.0, 1.0, 1e-3, 1e-3, 1e3, 1e3].map(Some));
        let soc = |text| unit(Quantity::ReportedSoc, text).map(|(factor, _)| factor);
        assert_eq!(["1", "Fraction", "%", "Percent", "‰"].map(soc), [1.0, 1.0, 1e-2, 1e-2, 1e-3].map(Some));
    }

    #[test]
    fn what_may_mean_something_else_is_no_unit() {
        for (role, text) in [
            (Quantity::Current, "V"),
            (Quantity::Current, "MA"),
            (Quantity::CellVoltage, "MV"),
            (Quantity::CellVoltage, "V/cell"),
            (Quantity::Temperature, "R"),
            (Quantity::Temperature, ""),
            (Quantity::HeaterOn, "on/off"),
        ] {
            assert_eq!(unit(role, text), None, "{text}");
        }
        assert_eq!(units(Quantity::Temperature).collect::<Vec<_>>(), ["°C", "K", "°F"]);
    }
}

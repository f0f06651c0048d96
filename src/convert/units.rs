//! Units of columns: as a heading or the bank file names them.

use crate::model::Quantity;

/// How a number in some unit becomes one in the quantity's own: times the first, plus the second.
pub(super) type Into = (f64, f64);

/// Unit of a quantity, names of a column's unit, and what the number is multiplied by and added to.
static UNITS: &[(&str, &[&str], Into)] = &[
    ("V", &["V", "Volt", "Volts"], (1.0, 0.0)),
    ("V", &["mV"], (1e-3, 0.0)),
    ("A", &["A", "Amp", "Amps"], (1.0, 0.0)),
    ("A", &["mA"], (1e-3, 0.0)),
    ("degC", &["°C", "C", "degC", "deg C", "Celsius"], (1.0, 0.0)),
    ("degC", &["°F", "F", "degF", "deg F", "Fahrenheit"], (5.0 / 9.0, -160.0 / 9.0)),
    ("degC", &["K", "Kelvin"], (1.0, -273.15)),
    ("fraction", &["%", "percent"], (0.01, 0.0)),
    ("fraction", &["1", "fraction"], (1.0, 0.0)),
];

/// How a column's unit becomes the quantity's own; the names that there are when it is none of them.
pub(super) fn conversion(quantity: Quantity, unit: &str) -> Result<Into, String> {
    let own = || UNITS.iter().filter(|(of, ..)| *of == quantity.unit());
    let found = own().find(|(_, names, _)| names.contains(&unit));
    found.map(|(.., into)| *into).ok_or_else(|| {
        let names: Vec<&str> = own().flat_map(|(_, names, _)| names.iter().copied()).collect();
        names.join(", ")
    })
}

/// Heading without its unit, and the unit: `Cell 1 [mV]`, `Cell 1 (mV)`.
pub(super) fn split(heading: &str) -> (&str, Option<&str>) {
    let heading = heading.trim();
    let brackets = [('[', ']'), ('(', ')')];
    brackets
        .iter()
        .find_map(|(open, close)| {
            let (name, unit) = heading.strip_suffix(*close)?.rsplit_once(*open)?;
            Some((name.trim(), Some(unit.trim())))
        })
        .unwrap_or((heading, None))
}

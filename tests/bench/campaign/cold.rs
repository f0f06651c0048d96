//! How fast a cell may be charged at a temperature: what a sheet allows, and where plating is feared. Apart from the
//! engine's own, so that the two cannot be wrong together.

use cellwright::curve::{Scale, Table};

/// Largest charge rate at a temperature, C.
static SHEET: Table = Table {
    name: "charge rate (C) by temperature (°C), from freezing on",
    source: "docs/conditions/cold-charge.md",
    scale: Scale::Linear,
    points: &[
        (0.0, 0.05),
        (5.0, 0.10),
        (10.0, 0.16),
        (15.0, 0.33),
        (20.0, 0.5),
        (45.0, 0.5),
        (50.0, 0.3),
        (55.0, 0.1),
        (60.0, 0.0),
    ],
};

/// Largest charge rate of the sheet at a temperature.
pub(crate) fn sheet(celsius: f64) -> f64 {
    if celsius < 0.0 { 0.0 } else { SHEET.at(celsius) }
}

/// Charge rate at which plating is feared: 0.20C at −4 °C, 31 kJ/mol, never under the sheet.
pub(crate) fn plating(celsius: f64) -> f64 {
    let law = 0.20 * (-31_000.0 / 8.3145 * (1.0 / (celsius + 273.15) - 1.0 / 269.15)).exp();
    if celsius < -20.0 { 0.0 } else { law.max(sheet(celsius)) }
}

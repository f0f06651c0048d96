//! How fast a cell may be charged at a temperature: what a sheet allows, and where plating is feared.

/// Straight lines between points.
fn between(points: &[(f64, f64)], x: f64) -> f64 {
    let first = points.first().map_or(0.0, |point| point.1);
    let last = points.last().map_or(0.0, |point| point.1);
    let line = |pair: &[(f64, f64)]| {
        (pair[0].0 <= x && x <= pair[1].0)
            .then(|| pair[0].1 + (pair[1].1 - pair[0].1) * (x - pair[0].0) / (pair[1].0 - pair[0].0))
    };
    points.windows(2).find_map(line).unwrap_or(if points.first().is_some_and(|point| x < point.0) {
        first
    } else {
        last
    })
}

/// Largest charge rate of the sheet at a temperature.
pub(crate) fn sheet(celsius: f64) -> f64 {
    if celsius < 0.0 {
        return 0.0;
    }
    between(
        &[
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
        celsius,
    )
}

/// Charge rate at which plating is feared: 0.20C at −4 °C, 31 kJ/mol, never under the sheet.
pub(crate) fn plating(celsius: f64) -> f64 {
    let law = 0.20 * (-31_000.0 / 8.3145 * (1.0 / (celsius + 273.15) - 1.0 / 269.15)).exp();
    if celsius < -20.0 { 0.0 } else { law.max(sheet(celsius)) }
}

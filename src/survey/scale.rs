//! Scales and offsets that are usual on buses, with how usual they are. Judgement, no source: ours are decimal steps,
//! the steps of the open standards (J1939, RV-C, IEC 61162-3), and a few binary ones.

/// A scale, an offset, and how usual it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Usual {
    pub(super) scale: f64,
    pub(super) offset: f64,
    pub(super) weight: f64,
}

const fn usual(scale: f64, offset: f64, weight: f64) -> Usual {
    Usual { scale, offset, weight }
}

/// Of cell voltages, V.
pub(super) const CELL: &[Usual] = &[
    usual(0.001, 0.0, 1.0),
    usual(0.0001, 0.0, 0.7),
    usual(0.002, 0.0, 0.5),
    usual(0.005, 0.0, 0.5),
    usual(0.01, 0.0, 0.6),
    usual(0.0005, 0.0, 0.5),
    usual(0.00025, 0.0, 0.3),
    usual(0.0002, 0.0, 0.3),
    usual(0.02, 0.0, 0.5),
    usual(0.01, 2.0, 0.3),
];

/// Of pack voltages, V.
pub(super) const PACK: &[Usual] = &[
    usual(0.01, 0.0, 1.0),
    usual(0.1, 0.0, 0.8),
    usual(0.001, 0.0, 0.7),
    usual(0.05, 0.0, 0.6),
    usual(0.02, 0.0, 0.3),
    usual(0.025, 0.0, 0.2),
    usual(0.005, 0.0, 0.2),
    usual(0.002, 0.0, 0.2),
    usual(0.0625, 0.0, 0.2),
    usual(0.125, 0.0, 0.2),
];

/// Of currents, A. Their offsets are found apart.
pub(super) const AMPS: &[Usual] = &[
    usual(0.1, 0.0, 1.0),
    usual(0.01, 0.0, 0.6),
    usual(0.001, 0.0, 0.5),
    usual(0.05, 0.0, 0.5),
    usual(0.02, 0.0, 0.12),
    usual(0.025, 0.0, 0.08),
    usual(0.125, 0.0, 0.07),
    usual(0.0625, 0.0, 0.05),
    usual(0.03125, 0.0, 0.05),
    usual(0.5, 0.0, 0.2),
    usual(0.2, 0.0, 0.05),
    usual(1.0, 0.0, 0.3),
    usual(0.25, 0.0, 0.05),
];

/// Of states of charge, as a share of 1.
pub(super) const SOC: &[Usual] = &[
    usual(0.01, 0.0, 1.0),
    usual(0.005, 0.0, 0.6),
    usual(0.004, 0.0, 0.4),
    usual(0.001, 0.0, 0.6),
    usual(0.0001, 0.0, 0.4),
    usual(0.0025, 0.0, 0.1),
    usual(0.002, 0.0, 0.05),
    usual(1.0 / 255.0, 0.0, 0.03),
    usual(0.00001, 0.0, 0.1),
];

/// In °F: so many of them a count, and so many at count 0.
const fn fahrenheit(scale: f64, offset: f64, weight: f64) -> Usual {
    Usual { scale: scale * 5.0 / 9.0, offset: (offset - 32.0) * 5.0 / 9.0, weight }
}

/// The scales that are in °F: so many of them a count, and so many at count 0.
const FAHRENHEIT: [(f64, f64); 4] = [(1.0, 0.0), (0.1, 0.0), (1.0, -40.0), (0.01, 0.0)];

/// A scale and an offset of temperatures in °F, if that is what they are written in.
pub(super) fn in_fahrenheit(scale: f64, offset: f64) -> Option<(f64, f64)> {
    let is_same = |(per_count, at_zero): &(f64, f64)| {
        let usual = fahrenheit(*per_count, *at_zero, 1.0);
        (usual.scale, usual.offset) == (scale, offset)
    };
    FAHRENHEIT.into_iter().find(is_same)
}

/// Of temperatures, °C.
pub(super) const WARM: &[Usual] = &[
    usual(1.0, -40.0, 1.0),
    usual(1.0, 0.0, 0.7),
    usual(0.1, 0.0, 0.8),
    usual(0.01, 0.0, 0.3),
    usual(0.5, -40.0, 0.4),
    usual(0.1, -40.0, 0.3),
    usual(0.03125, -273.0, 0.4),
    usual(0.1, -273.15, 0.4),
    usual(1.0, -50.0, 0.3),
    usual(0.5, 0.0, 0.2),
    usual(0.03125, -273.15, 0.1),
    usual(0.01, -273.15, 0.1),
    usual(0.5, -50.0, 0.1),
    usual(1.0, -273.0, 0.05),
    fahrenheit(FAHRENHEIT[0].0, FAHRENHEIT[0].1, 0.3),
    fahrenheit(FAHRENHEIT[1].0, FAHRENHEIT[1].1, 0.3),
    fahrenheit(FAHRENHEIT[2].0, FAHRENHEIT[2].1, 0.1),
    fahrenheit(FAHRENHEIT[3].0, FAHRENHEIT[3].1, 0.03),
];

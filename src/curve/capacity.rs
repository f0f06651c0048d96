//! Capacity of LFP cells by temperature: slowly, and fast as a band, since cells differ widely there.

use super::{Scale, Table};

/// Capacity at C/30 to 2.0 V as a share of that at 25 °C.
pub static CAPACITY_SLOW_PLETT: Table = Table {
    name: "capacity at C/30 (share of that at 25 °C) by temperature (°C)",
    source: "esctoolbox-python, Plett's open LFP 26650 test set (2.3 Ah)",
    scale: Scale::Linear,
    points: &[
        (-25.0, 0.982),
        (-15.0, 0.989),
        (-5.0, 0.987),
        (5.0, 0.991),
        (15.0, 0.998),
        (25.0, 1.0),
        (35.0, 1.002),
        (45.0, 1.003),
    ],
};

/// Capacity from C/2 on, the lower edge of what is found in publications.
pub static CAPACITY_FAST_LOW: Table = Table {
    name: "capacity at C/2, at least (share of that at 25 °C) by temperature (°C)",
    source: "typical published LFP cells to 2.0 to 2.5 V at C/2 to 1C, from memory: a band, not a figure",
    scale: Scale::Linear,
    points: &[(-20.0, 0.55), (-10.0, 0.70), (0.0, 0.80), (25.0, 0.97), (40.0, 0.98)],
};

/// Capacity at C/2, most likely.
pub static CAPACITY_FAST: Table = Table {
    name: "capacity at C/2 (share of that at 25 °C) by temperature (°C)",
    source: "common practice, no source: a bank of 100 Ah at freezing gives about 85 Ah at C/2; else as the band",
    scale: Scale::Linear,
    points: &[(-20.0, 0.65), (-10.0, 0.78), (0.0, 0.85), (25.0, 0.99), (40.0, 1.0)],
};

/// Capacity at C/2, at most.
pub static CAPACITY_FAST_HIGH: Table = Table {
    name: "capacity at C/2, at most (share of that at 25 °C) by temperature (°C)",
    source: "computed with PyBaMM (DFN, isothermal, 2.5 V, graphite of 5 and 13.7 µm), the higher of the two",
    scale: Scale::Linear,
    points: &[(-20.0, 0.98), (-10.0, 0.98), (0.0, 0.99), (25.0, 1.0), (40.0, 1.03)],
};

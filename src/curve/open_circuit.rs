//! Open-circuit voltage of one LFP/graphite cell by state of charge, its hysteresis and temperature coefficient.

use super::{Scale, Table};

const PLETT: &str =
    "esctoolbox-python, Plett's open LFP 26650 test set (2.3 Ah, C/30, 25 °C, 50 % blend of both branches)";
const NAUMANN: &str = "SimSES (Möller 2022, 10.1016/j.est.2021.103743), 3 Ah LFP 26650: Naumann, thesis, TUM 2018";

/// Open-circuit voltage half way between the charge and the discharge branch.
pub static OCV_PLETT_MID: Table = Table {
    name: "open-circuit voltage (V) by state of charge",
    source: PLETT,
    scale: Scale::Linear,
    points: &[
        (0.0, 2.295),
        (0.02, 2.858),
        (0.05, 3.038),
        (0.10, 3.181),
        (0.15, 3.215),
        (0.20, 3.245),
        (0.30, 3.287),
        (0.40, 3.299),
        (0.50, 3.305),
        (0.60, 3.309),
        (0.70, 3.320),
        (0.80, 3.339),
        (0.90, 3.345),
        (0.95, 3.357),
        (0.98, 3.407),
        (1.0, 3.583),
    ],
};

/// Charge branch less discharge branch at C/30.
pub static HYSTERESIS_PLETT: Table = Table {
    name: "voltage between the branches (V) by state of charge",
    source: PLETT,
    scale: Scale::Linear,
    points: &[
        (0.02, 0.129),
        (0.05, 0.077),
        (0.10, 0.055),
        (0.15, 0.043),
        (0.20, 0.049),
        (0.30, 0.060),
        (0.40, 0.039),
        (0.50, 0.034),
        (0.60, 0.040),
        (0.70, 0.041),
        (0.80, 0.028),
        (0.90, 0.024),
        (0.95, 0.033),
        (0.98, 0.074),
    ],
};

/// Open-circuit voltage, taken from the published closed form at points that lie close together in both knees
/// (within 4 mV of the form everywhere).
pub static OCV_TUM: Table = Table {
    name: "open-circuit voltage (V) by state of charge",
    source: NAUMANN,
    scale: Scale::Linear,
    points: &[
        (0.0, 2.0098),
        (0.001, 2.1877),
        (0.002, 2.3465),
        (0.003, 2.4749),
        (0.004, 2.5714),
        (0.005, 2.6406),
        (0.006, 2.6893),
        (0.007, 2.7237),
        (0.008, 2.7487),
        (0.01, 2.7826),
        (0.0125, 2.8113),
        (0.015, 2.8344),
        (0.02, 2.8747),
        (0.025, 2.9107),
        (0.03, 2.9434),
        (0.04, 3.0000),
        (0.05, 3.0464),
        (0.06, 3.0843),
        (0.08, 3.1405),
        (0.1, 3.1779),
        (0.125, 3.2078),
        (0.15, 3.2264),
        (0.2, 3.2465),
        (0.25, 3.2573),
        (0.3, 3.2650),
        (0.4, 3.2782),
        (0.5, 3.2907),
        (0.6, 3.3033),
        (0.7, 3.3158),
        (0.8, 3.3283),
        (0.9, 3.3408),
        (0.95, 3.3470),
        (0.97, 3.3496),
        (0.975, 3.3502),
        (0.98, 3.3511),
        (0.983, 3.3522),
        (0.986, 3.3545),
        (0.988, 3.3579),
        (0.99, 3.3643),
        (0.991, 3.3696),
        (0.992, 3.3768),
        (0.993, 3.3867),
        (0.994, 3.4001),
        (0.995, 3.4179),
        (0.996, 3.4407),
        (0.997, 3.4692),
        (0.998, 3.5030),
        (0.999, 3.5413),
        (1.0, 3.5820),
    ],
};

/// Voltage between the charge and the discharge branch at rest.
pub static HYSTERESIS_TUM: Table = Table {
    name: "voltage between the branches (V) by state of charge",
    source: NAUMANN,
    scale: Scale::Linear,
    points: &[
        (0.0, 0.030),
        (0.05, 0.029),
        (0.10, 0.025),
        (0.15, 0.024),
        (0.20, 0.025),
        (0.30, 0.029),
        (0.40, 0.023),
        (0.50, 0.019),
        (0.60, 0.019),
        (0.70, 0.021),
        (0.80, 0.019),
        (0.90, 0.017),
        (0.95, 0.019),
        (1.0, 0.030),
    ],
};

/// Change of the open-circuit voltage with temperature.
pub static ENTROPY_TUM: Table = Table {
    name: "temperature coefficient (V/K) by state of charge",
    source: NAUMANN,
    scale: Scale::Linear,
    points: &[
        (0.0, -0.490e-3),
        (0.05, -0.327e-3),
        (0.10, -0.164e-3),
        (0.15, -0.141e-3),
        (0.20, -0.118e-3),
        (0.30, -0.044e-3),
        (0.40, 0.098e-3),
        (0.50, 0.110e-3),
        (0.60, 0.129e-3),
        (0.70, 0.145e-3),
        (0.80, 0.100e-3),
        (0.90, 0.084e-3),
        (0.95, 0.101e-3),
        (1.0, 0.118e-3),
    ],
};

/// Open-circuit voltage of a third cell, for checks of the others.
pub static OCV_SUNIL: Table = Table {
    name: "open-circuit voltage (V) by state of charge",
    source: "Sunil & Pattipati 2025 open data, 1.2 Ah LFP 18650 at C/32, ten best breakpoints",
    scale: Scale::Linear,
    points: &[
        (0.0, 2.010),
        (0.0033, 2.418),
        (0.0117, 2.741),
        (0.0267, 2.930),
        (0.0534, 3.087),
        (0.0885, 3.194),
        (0.2972, 3.277),
        (0.9833, 3.351),
        (0.9950, 3.418),
        (1.0, 3.598),
    ],
};

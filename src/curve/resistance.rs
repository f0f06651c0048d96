//! Resistance and capacity of LFP cells by temperature, as multiples of those at 25 °C.

use super::{Scale, Table};

/// Pulse resistance (about 1 s), more than 1500 steps at each temperature.
pub static RESISTANCE_RATIO_PLETT: Table = Table {
    name: "resistance (times that at 25 °C) by temperature (°C)",
    source: "esctoolbox-python, Plett's open LFP 26650 test set (2.3 Ah)",
    scale: Scale::Log,
    points: &[
        (-25.0, 12.99),
        (-15.0, 6.07),
        (-5.0, 2.99),
        (5.0, 1.79),
        (15.0, 1.26),
        (25.0, 1.0),
        (35.0, 0.87),
        (45.0, 0.78),
    ],
};

/// Resistance from every step of at least 0.05C.
pub static RESISTANCE_RATIO_KAWAKITA: Table = Table {
    name: "resistance (times that at 25 °C) by temperature (°C)",
    source: "Kawakita de Souza 2021, 10.17632/p8kf893yv3.1, open data of a 2.5 Ah LFP 26650",
    scale: Scale::Log,
    points: &[
        (-25.0, 13.8),
        (-15.0, 6.7),
        (-5.0, 3.4),
        (5.0, 2.05),
        (15.0, 1.38),
        (25.0, 1.0),
        (35.0, 0.99),
        (45.0, 0.90),
    ],
};

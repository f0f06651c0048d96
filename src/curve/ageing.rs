//! How heat ages a stored LFP cell: published models as the ratio of loss to that at 25 °C after equal time, at half
//! charge. Comparisons, not forecasts: the models differ widely, and all were measured on other cells.

/// Gas constant, J/(mol K). Source: CODATA 2018.
const GAS_CONSTANT: f64 = 8.314_462_618;
/// 0 °C in kelvin.
const ZERO_CELSIUS: f64 = 273.15;
/// Temperature to which the others are compared, °C.
pub const REFERENCE_CELSIUS: f64 = 25.0;

/// A published model of ageing by temperature.
#[derive(Debug, Clone, Copy)]
pub struct Ageing {
    /// Short name.
    pub name: &'static str,
    /// Where it was published.
    pub source: &'static str,
    /// Loss at a temperature in °C as a multiple of that at 25 °C.
    ratio: fn(f64) -> f64,
}

impl Ageing {
    /// Loss at a temperature as a multiple of that at 25 °C after the same time.
    #[must_use]
    pub fn ratio(&self, celsius: f64) -> f64 {
        (self.ratio)(celsius) / (self.ratio)(REFERENCE_CELSIUS)
    }
}

/// Arrhenius' law: how much faster than at 25 °C, at an activation energy in kJ/mol.
#[must_use]
pub fn arrhenius(celsius: f64, kilojoule: f64) -> f64 {
    let inverse = 1.0 / (REFERENCE_CELSIUS + ZERO_CELSIUS) - 1.0 / (celsius + ZERO_CELSIUS);
    (kilojoule * 1e3 / GAS_CONSTANT * inverse).exp()
}

/// The models whose spread is shown. The second is of the cells nearest to those of house banks.
pub static AGEING: [Ageing; 4] = [
    Ageing {
        name: "Naumann 2018",
        source: "Naumann 2018, J. Energy Storage 17:153, 10.1016/j.est.2018.01.019 (3 Ah LFP 26650): 17.126 kJ/mol",
        ratio: |celsius| arrhenius(celsius, 17.126),
    },
    Ageing {
        name: "Gasper 2023",
        source: "Gasper 2023, J. Energy Storage, 10.1016/j.est.2023.109042 (LFP prismatic of more than 250 Ah): \
                 exp(-5210/T) exp(-3560 Ua/T), Ua 0.1233 V at half charge",
        ratio: |celsius| (-(5210.0 + 3560.0 * 0.1233) / (celsius + ZERO_CELSIUS)).exp(),
    },
    Ageing {
        name: "Swierczynski 2015",
        source: "Swierczynski 2015, IEEE Trans. Ind. Appl. 51:3453 (2.5 Ah LFP): 3.258e-9 t^5.087 + 0.295, t in °C",
        ratio: |celsius| 3.258e-9 * celsius.max(0.0).powf(5.087) + 0.295,
    },
    Ageing {
        name: "SimSES generic LFP",
        source: "SimSES (Moeller 2022, 10.1016/j.est.2021.103743), fit over several published LFP cells: (T/273.15)^10.2987",
        ratio: |celsius| ((celsius + ZERO_CELSIUS) / ZERO_CELSIUS).powf(10.2987),
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Ratios of loss worked from the published equations apart from this program.
    #[test]
    fn the_models_meet_their_tables() {
        let table = [
            (10.0, [0.694, 0.367, 0.876, 0.588]),
            (30.0, [1.121, 1.367, 1.191, 1.187]),
            (38.0, [1.335, 2.207, 1.926, 1.552]),
            (45.0, [1.544, 3.291, 3.359, 1.952]),
            (60.0, [2.066, 7.319, 11.61, 3.137]),
        ];
        for (celsius, ratios) in table {
            for (model, expected) in AGEING.iter().zip(ratios) {
                let found = model.ratio(celsius);
                assert!((found / expected - 1.0).abs() < 0.003, "{} at {celsius} °C: {found}", model.name);
            }
        }
    }

    #[test]
    fn arrhenius_meets_its_table() {
        for (kilojoule, ratios) in [(30.0, [0.527, 1.221, 1.658, 2.140]), (50.0, [0.344, 1.395, 2.323, 3.554])] {
            for (celsius, expected) in [10.0, 30.0, 38.0, 45.0].into_iter().zip(ratios) {
                assert!((arrhenius(celsius, kilojoule) - expected).abs() < 0.001, "{celsius} °C, {kilojoule} kJ/mol");
            }
        }
        assert!((arrhenius(36.0, 47.0) - 1.96).abs() < 0.01);
    }
}

//! Named published tables: open-circuit voltage, hysteresis, temperature coefficient, resistance by temperature.
//!
//! Each says where it was published. Who uses which is no business of this room; a test sees to it that the
//! engine and the simulated bank never use the same one.

mod ageing;
mod capacity;
mod open_circuit;
mod resistance;

pub use ageing::{AGEING, Ageing, REFERENCE_CELSIUS, arrhenius};
pub use capacity::{CAPACITY_FAST, CAPACITY_FAST_HIGH, CAPACITY_FAST_LOW, CAPACITY_SLOW_PLETT};
pub use open_circuit::{ENTROPY_TUM, HYSTERESIS_PLETT, HYSTERESIS_TUM, OCV_PLETT_MID, OCV_SUNIL, OCV_TUM};
pub use resistance::{RESISTANCE_RATIO_KAWAKITA, RESISTANCE_RATIO_PLETT};

/// How a table is read between two of its points.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// A straight line.
    Linear,
    /// A straight line through the logarithms; every value of the table is above zero.
    Log,
}

/// A published table of one quantity by another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Table {
    /// What it gives, by what, with units.
    pub name: &'static str,
    /// Where it was published.
    pub source: &'static str,
    /// How it is read between points.
    pub scale: Scale,
    /// The points, in rising order of the first number; at least two.
    pub points: &'static [(f64, f64)],
}

impl Table {
    /// The value at `x`; beyond the ends of the table the value at its end.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        match self.points {
            [(start, value), ..] if x <= *start => *value,
            [.., (end, value)] if x >= *end => *value,
            _ => self.beyond(x),
        }
    }

    /// The value at `x`; beyond the ends of the table its first or last line goes on.
    #[must_use]
    pub fn beyond(&self, x: f64) -> f64 {
        let ((x0, y0), (x1, y1)) = self.segment(x);
        let part = (x - x0) / (x1 - x0);
        match self.scale {
            Scale::Linear => y0 + (y1 - y0) * part,
            Scale::Log => (y0.ln() + (y1.ln() - y0.ln()) * part).exp(),
        }
    }

    /// Rise of the value per unit of `x`, of the straight line between the points around `x`.
    #[must_use]
    pub fn slope(&self, x: f64) -> f64 {
        let ((x0, y0), (x1, y1)) = self.segment(x);
        (y1 - y0) / (x1 - x0)
    }

    /// Where a rising table has the value `y`; beyond the ends of the table its end.
    #[must_use]
    pub fn inverse(&self, y: f64) -> f64 {
        let after = self.points.partition_point(|point| point.1 <= y);
        let (Some(high), Some(low)) = (self.points.get(after), after.checked_sub(1).and_then(|i| self.points.get(i)))
        else {
            let end = if after == 0 { self.points.first() } else { self.points.last() };
            return end.map_or(f64::NAN, |point| point.0);
        };
        let part = match self.scale {
            Scale::Linear => (y - low.1) / (high.1 - low.1),
            Scale::Log => (y / low.1).ln() / (high.1 / low.1).ln(),
        };
        low.0 + (high.0 - low.0) * part
    }

    /// The two points around `x`, or the first or last two.
    fn segment(&self, x: f64) -> ((f64, f64), (f64, f64)) {
        let last = self.points.len().saturating_sub(1).max(1);
        let high = self.points.partition_point(|point| point.0 <= x).clamp(1, last);
        let point = |index: usize| self.points.get(index).copied().unwrap_or((f64::NAN, f64::NAN));
        (point(high - 1), point(high))
    }
}

/// Every table of this room.
pub static TABLES: &[&Table] = &[
    &OCV_PLETT_MID,
    &HYSTERESIS_PLETT,
    &RESISTANCE_RATIO_PLETT,
    &OCV_TUM,
    &HYSTERESIS_TUM,
    &ENTROPY_TUM,
    &RESISTANCE_RATIO_KAWAKITA,
    &OCV_SUNIL,
    &CAPACITY_SLOW_PLETT,
    &CAPACITY_FAST_LOW,
    &CAPACITY_FAST,
    &CAPACITY_FAST_HIGH,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_table_rises_in_its_first_number_and_names_its_source() {
        for table in TABLES {
            assert!(table.points.len() >= 2, "{}", table.name);
            assert!(table.points.windows(2).all(|pair| pair[0].0 < pair[1].0), "{}", table.name);
            assert!(table.source.len() > 20, "{}", table.name);
            if table.scale == Scale::Log {
                assert!(table.points.iter().all(|point| point.1 > 0.0), "{}", table.name);
            }
        }
    }

    #[test]
    fn a_table_gives_its_own_points_its_ends_and_the_way_back() {
        for table in TABLES {
            for &(x, y) in table.points {
                assert!((table.at(x) - y).abs() < 1e-9, "{} at {x}", table.name);
            }
            assert_eq!(table.at(-1.0e6), table.points[0].1);
            assert_eq!(table.at(1.0e6), table.points[table.points.len() - 1].1);
        }
        for x in [0.03, 0.2, 0.5, 0.93, 0.99] {
            assert!((OCV_PLETT_MID.inverse(OCV_PLETT_MID.at(x)) - x).abs() < 1e-9);
        }
        assert_eq!(OCV_PLETT_MID.inverse(5.0), 1.0);
        assert_eq!(OCV_PLETT_MID.inverse(1.0), 0.0);
    }

    /// Arrhenius between 5 and 45 °C as computed from the same data set: 15.2 kJ/mol.
    #[test]
    fn logs_are_read_between_the_points_of_resistance() {
        let middle = RESISTANCE_RATIO_PLETT.at(10.0);
        assert!((middle - (1.79f64 * 1.26).sqrt()).abs() < 1e-9);
        let kelvin = |celsius: f64| celsius + 273.15;
        let ratio = RESISTANCE_RATIO_PLETT.at(5.0) / RESISTANCE_RATIO_PLETT.at(45.0);
        let activation = 8.3145 * ratio.ln() / (1.0 / kelvin(5.0) - 1.0 / kelvin(45.0));
        assert!((activation / 1000.0 - 15.2).abs() < 0.3, "{activation}");
    }

    /// The published closed form of the same cell, and its check values.
    #[test]
    fn the_table_from_munich_follows_its_closed_form() {
        let closed = |s: f64| {
            2.0020 - 3.3160 / (1.0 + (-116.2064 * (s + 0.1572)).exp())
                + 4.9996 / (1.0 + (-22.4512 * (s + 0.0944)).exp())
                - 0.4574 / (1.0 + (358.9072 * (s - 1.0)).exp())
                - 1.3646 / (1.0 + (499.9994 * s).exp())
                + 0.1251 * s
        };
        for (s, volts) in [(0.1, 3.1779), (0.5, 3.2907), (0.9, 3.3408), (1.0, 3.5820)] {
            assert!((closed(s) - volts).abs() < 5e-5);
            assert!((OCV_TUM.at(s) - volts).abs() < 5e-5);
        }
        for step in 0..=1000 {
            let s = f64::from(step) / 1000.0;
            assert!((OCV_TUM.at(s) - closed(s)).abs() < 0.004, "{s}");
        }
    }

    /// A third cell, measured at C/32: two published sets agree with it and with each other within 40 mV on the
    /// plateau, which is what cells of different makers differ by.
    #[test]
    fn three_published_cells_agree_on_the_plateau() {
        for percent in (15..=97).step_by(2) {
            let s = f64::from(percent) / 100.0;
            let (a, b, c) = (OCV_PLETT_MID.at(s), OCV_TUM.at(s), OCV_SUNIL.at(s));
            assert!((a - b).abs() < 0.045 && (b - c).abs() < 0.04, "{percent} %: {a} {b} {c}");
        }
    }
}

//! The newtypes themselves, made by one macro so that all of them behave alike.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// A number outside of what its quantity can be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{name} {found} {unit} is outside {min} to {max} {unit}")]
pub struct OutOfBounds {
    /// Name of the quantity, as in 'voltage'.
    pub name: &'static str,
    /// Symbol of its unit, as in 'V'.
    pub unit: &'static str,
    /// Smallest value that is accepted.
    pub min: f64,
    /// Largest value that is accepted.
    pub max: f64,
    /// What was found.
    pub found: f64,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $type:ident, $name:literal, $unit:literal, $min:literal, $max:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $type(f64);

        impl $type {
            /// Name of the quantity.
            pub const NAME: &'static str = $name;
            /// Symbol of the unit.
            pub const UNIT: &'static str = $unit;
            /// Smallest value that [`Self::new`] accepts.
            pub const MIN: f64 = $min;
            /// Largest value that [`Self::new`] accepts.
            pub const MAX: f64 = $max;

            /// Checks a number against the bounds of the quantity; refuses not-a-number.
            ///
            /// # Errors
            /// [`OutOfBounds`] with the name, the bounds and what was found.
            pub fn new(value: f64) -> Result<Self, OutOfBounds> {
                if ($min..=$max).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfBounds { name: $name, unit: $unit, min: $min, max: $max, found: value })
                }
            }

            /// A constant of the program; not checked.
            #[must_use]
            pub const fn of(value: f64) -> Self {
                Self(value)
            }

            /// The bare number, in the unit of the type.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }

            /// The size without its sign.
            #[must_use]
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }
        }

        impl fmt::Display for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                let digits = f.precision().unwrap_or(2);
                write!(f, "{:.digits$} {}", self.0, $unit)
            }
        }

        impl Add for $type {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $type {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl Neg for $type {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f64> for $type {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl Div<f64> for $type {
            type Output = Self;
            fn div(self, by: f64) -> Self {
                Self(self.0 / by)
            }
        }

        impl Div for $type {
            type Output = f64;
            fn div(self, by: Self) -> f64 {
                self.0 / by.0
            }
        }
    };
}

quantity!(
    /// Electric potential of a cell, a pack or a bus.
    Volts, "voltage", "V", -10.0, 150.0
);
quantity!(
    /// Current; positive is charge into the cells.
    Amps, "current", "A", -5000.0, 5000.0
);
quantity!(
    /// Charge.
    AmpHours, "charge", "Ah", -1.0e7, 1.0e7
);
quantity!(
    /// Temperature.
    Celsius, "temperature", "°C", -60.0, 250.0
);
quantity!(
    /// Resistance.
    Ohms, "resistance", "Ω", -1.0, 1000.0
);
quantity!(
    /// Power.
    Watts, "power", "W", -1.0e6, 1.0e6
);
quantity!(
    /// Time spent, in hours.
    Hours, "time", "h", -1.0e7, 1.0e7
);
quantity!(
    /// State of charge as a fraction: 0 is empty, 1 is full.
    Soc, "state of charge", "of full", -0.5, 1.5
);
quantity!(
    /// Current divided by the rated capacity of the pack: 1 C fills it in an hour.
    CRate, "rate", "C", -100.0, 100.0
);

impl Mul<Hours> for Amps {
    type Output = AmpHours;
    fn mul(self, time: Hours) -> AmpHours {
        AmpHours(self.0 * time.0)
    }
}

impl Mul<Ohms> for Amps {
    type Output = Volts;
    fn mul(self, resistance: Ohms) -> Volts {
        Volts(self.0 * resistance.0)
    }
}

impl Mul<Amps> for Volts {
    type Output = Watts;
    fn mul(self, current: Amps) -> Watts {
        Watts(self.0 * current.0)
    }
}

impl Amps {
    /// The current as a rate of a pack's capacity.
    #[must_use]
    pub fn rate(self, capacity: AmpHours) -> CRate {
        CRate(self.0 / capacity.0)
    }
}

impl CRate {
    /// The rate as amperes of a pack with this capacity.
    #[must_use]
    pub fn amps(self, capacity: AmpHours) -> Amps {
        Amps(self.0 * capacity.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_name_what_they_refuse() {
        let error = Celsius::new(300.0).unwrap_err();
        assert_eq!(error.to_string(), "temperature 300 °C is outside -60 to 250 °C");
        assert!(Volts::new(f64::NAN).is_err());
    }

    #[test]
    fn units_combine_as_physics_says() {
        assert_eq!(Amps::of(50.0).rate(AmpHours::of(100.0)), CRate::of(0.5));
        assert_eq!(Amps::of(20.0) * Hours::of(3.0), AmpHours::of(60.0));
        assert_eq!((Volts::of(13.0) * Amps::of(2.0)).to_string(), "26.00 W");
    }
}

//! Quantities with their units and bounds.
//!
//! A number that has crossed into the program carries its unit in its type. `new` checks the bounds that
//! the quantity can have at all (not the limits of a bank: those stand in [`crate::model::limits`]).

mod quantity;

pub use quantity::{AmpHours, Amps, CRate, Celsius, Hours, Ohms, OutOfBounds, Soc, Volts, Watts};

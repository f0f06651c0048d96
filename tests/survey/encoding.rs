//! How a foreign bus may write each kind of value: bits, form, scale, offset, and how often that is drawn.

use crate::dice::Dice;
use cellwright::layout::{Blank, Field, Form, Order};
use cellwright::model::Quantity;

/// One way to write a value.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Encoding {
    pub(crate) bits: u8,
    pub(crate) form: Form,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
    weight: f64,
}

const fn way(bits: u8, form: Form, scale: f64, offset: f64, weight: f64) -> Encoding {
    Encoding { bits, form, scale, offset, weight }
}

use Form::{Signed as S, Unsigned as U};

const CELL: &[Encoding] = &[
    way(16, U, 0.001, 0.0, 40.0),
    way(12, U, 0.001, 0.0, 12.0),
    way(13, U, 0.001, 0.0, 4.0),
    way(16, U, 0.0001, 0.0, 12.0),
    way(14, U, 0.0005, 0.0, 5.0),
    way(11, U, 0.002, 0.0, 5.0),
    way(10, U, 0.005, 0.0, 6.0),
    way(16, U, 0.005, 0.0, 3.0),
    way(16, U, 0.01, 0.0, 3.0),
    way(9, U, 0.01, 0.0, 2.0),
    way(8, U, 0.02, 0.0, 4.0),
    way(8, U, 0.01, 2.0, 3.0),
    way(16, U, 0.00025, 0.0, 2.0),
];

const PACK: &[Encoding] = &[
    way(16, U, 0.01, 0.0, 45.0),
    way(16, U, 0.1, 0.0, 14.0),
    way(16, U, 0.001, 0.0, 12.0),
    way(16, U, 0.05, 0.0, 8.0),
    way(12, U, 0.02, 0.0, 3.0),
    way(14, U, 0.01, 0.0, 5.0),
    way(10, U, 0.1, 0.0, 4.0),
    way(10, U, 0.0625, 0.0, 2.0),
    way(32, U, 0.001, 0.0, 4.0),
];

const AMPS: &[Encoding] = &[
    way(16, S, 0.1, 0.0, 35.0),
    way(16, S, 0.01, 0.0, 12.0),
    way(32, S, 0.001, 0.0, 8.0),
    way(16, U, 0.05, -1600.0, 10.0),
    way(16, U, 0.1, -1000.0, 6.0),
    way(16, U, 0.1, -3000.0, 5.0),
    way(16, U, 0.1, -500.0, 3.0),
    way(14, S, 0.1, 0.0, 4.0),
    way(16, S, 0.05, 0.0, 4.0),
    way(16, S, 0.02, 0.0, 3.0),
    way(16, S, 0.125, 0.0, 3.0),
    way(12, S, 0.5, 0.0, 3.0),
    way(24, S, 0.01, 0.0, 2.0),
    way(10, S, 1.0, 0.0, 2.0),
];

const SOC: &[Encoding] = &[
    way(8, U, 0.01, 0.0, 35.0),
    way(7, U, 0.01, 0.0, 6.0),
    way(8, U, 0.005, 0.0, 18.0),
    way(8, U, 0.004, 0.0, 10.0),
    way(16, U, 0.001, 0.0, 14.0),
    way(10, U, 0.001, 0.0, 5.0),
    way(16, U, 0.0001, 0.0, 9.0),
];

/// K.
const FAHRENHEIT: f64 = 5.0 / 9.0;

const WARM: &[Encoding] = &[
    way(8, U, 1.0, -40.0, 34.0),
    way(8, S, 1.0, 0.0, 12.0),
    way(16, S, 0.1, 0.0, 20.0),
    way(16, S, 0.01, 0.0, 5.0),
    way(8, U, 0.5, -40.0, 6.0),
    way(12, U, 0.1, -40.0, 3.0),
    way(16, U, 0.1, -40.0, 3.0),
    way(16, U, 0.03125, -273.0, 6.0),
    way(16, U, 0.1, -273.15, 5.0),
    way(8, U, 1.0, -50.0, 4.0),
    way(12, S, 0.1, 0.0, 2.0),
    // in °F, one in eight
    way(8, U, FAHRENHEIT, -32.0 * FAHRENHEIT, 6.0),
    way(16, S, 0.1 * FAHRENHEIT, -32.0 * FAHRENHEIT, 6.0),
    way(8, U, FAHRENHEIT, -72.0 * FAHRENHEIT, 2.0),
];

/// A way to write this quantity that `most` bits hold.
pub(crate) fn draw(dice: &mut Dice, quantity: Quantity, most: u8) -> Option<Encoding> {
    let table = match quantity {
        Quantity::CellVoltage => CELL,
        Quantity::PackVoltage => PACK,
        Quantity::Current => AMPS,
        Quantity::ReportedSoc => SOC,
        _ => WARM,
    };
    let fitting: Vec<Encoding> = table.iter().copied().filter(|way| way.bits <= most).collect();
    (!fitting.is_empty()).then(|| *dice.weighed(&fitting, |way| way.weight))
}

impl Encoding {
    /// The field of this value at a place of the frame. `flip`: positive means the other direction.
    pub(crate) fn at(&self, start: u16, bits: u8, order: Order, flip: bool) -> Field {
        let sign = if flip { -1.0 } else { 1.0 };
        let (scale, offset) = (sign * self.scale, sign * self.offset);
        Field { start, len: bits, order, form: self.form, scale, offset, blank: Blank::None }
    }
}

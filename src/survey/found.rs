//! What was found, as data.

use super::scale;
use crate::layout::Field;
use crate::model::{Id, Quantity, Slot};

/// What the person knows about the bank already; everything is optional.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Known {
    /// Rated capacity of one pack, Ah, as printed on it.
    pub capacity: Option<f64>,
    /// How warm it is around the bank, °C.
    pub celsius: Option<f64>,
}

/// Which frames of a message carry a value: those in which a field has this number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct When {
    /// The field that chooses.
    pub field: Field,
    /// Its number.
    pub number: u64,
}

impl When {
    /// Whether a frame with this data is chosen.
    #[must_use]
    pub fn holds(&self, data: &[u8]) -> bool {
        self.field.get(data) == Some(self.number)
    }
}

/// A value of the bank, and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Role {
    /// Whose value it is.
    pub slot: Slot,
    /// Interface, in the order in which interfaces were first seen.
    pub channel: u8,
    /// Id of the message.
    pub id: Id,
    /// Bytes of the message.
    pub bytes: u8,
    /// Which of its frames carry the value.
    pub when: Option<When>,
    /// The bits, with scale and offset.
    pub field: Field,
    /// How sure, 0 to 1.
    pub confidence: f64,
    /// Why, in a sentence.
    pub evidence: String,
}

impl Role {
    /// °F a count and °F at count 0, of a temperature that the bus writes in these.
    #[must_use]
    pub fn in_fahrenheit(&self) -> Option<(f64, f64)> {
        let is_warmth = self.slot.quantity == Quantity::Temperature;
        is_warmth.then(|| scale::in_fahrenheit(self.field.scale, self.field.offset)).flatten()
    }
}

/// What was found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// Data frames heard.
    pub frames: u64,
    /// Messages (ids with their lengths) heard.
    pub messages: usize,
    /// Seconds from the first to the last.
    pub seconds: f64,
    /// Packs found.
    pub packs: u8,
    /// The values of the bank.
    pub roles: Vec<Role>,
    /// What was looked for and not found, why, and what would settle it.
    pub open: Vec<Open>,
}

/// Something that was looked for and not found.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    /// What.
    pub what: Quantity,
    /// Why it is open.
    pub why: String,
    /// What the person at the bank can do to settle it.
    pub settle: &'static str,
}

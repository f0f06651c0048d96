//! A bus in a test: frames in, what they said out.

use cellwright::decode::{Decoder, Settings};
use cellwright::model::{Frame, Heard, Quantity, Slot, Stamp, Value};

/// An id as SAE J1939-21 puts it together.
pub(crate) const fn id(priority: u32, group: u32, address: u8) -> u32 {
    priority << 26 | group << 8 | address as u32
}

/// A decoder that is given frames, a tenth of a second apart.
pub(crate) struct Bus {
    pub(crate) decoder: Decoder,
    pub(crate) millis: i64,
}

impl Bus {
    pub(crate) fn new(settings: Settings) -> Self {
        Self { decoder: Decoder::new(settings), millis: 0 }
    }

    pub(crate) fn found() -> Self {
        Self::new(Settings::default())
    }

    pub(crate) fn hear(&mut self, frame: &Frame) -> (Vec<(Slot, Value)>, Heard) {
        self.millis += 100;
        let mut said = Vec::new();
        let at = Stamp::from_nanos(self.millis * 1_000_000);
        let heard = self.decoder.frame(at, frame, |slot, value| said.push((slot, value)));
        (said, heard)
    }

    /// What eight bytes of a group say.
    pub(crate) fn say(&mut self, group: u32, address: u8, data: [u8; 8]) -> Vec<(Slot, Value)> {
        self.hear(&Frame::extended(id(6, group, address), data)).0
    }
}

/// The value of a slot among those that were said.
pub(crate) fn value(said: &[(Slot, Value)], pack: u8, quantity: Quantity, index: u8) -> Option<Value> {
    said.iter().find(|(slot, _)| *slot == Slot::at(pack, quantity, index)).map(|(_, value)| *value)
}

/// The number of a slot, to a millionth.
pub(crate) fn number(said: &[(Slot, Value)], pack: u8, quantity: Quantity, index: u8) -> f64 {
    match value(said, pack, quantity, index) {
        Some(Value::Present(number)) => (number * 1e6).round() / 1e6,
        other => panic!("{quantity:?} {index} of pack {pack} is {other:?} in {said:?}"),
    }
}

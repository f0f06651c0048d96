//! Random numbers from a seed (SplitMix64 of Vigna, public domain), the same on every machine.

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    /// A stream of its own for each seed and label.
    pub(crate) fn new(seed: u64, label: u64) -> Self {
        let mut dice = Self(seed ^ label.wrapping_mul(0xD6E8_FEB8_6659_FD93));
        dice.next();
        dice
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ mixed >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ mixed >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ mixed >> 31
    }

    /// Evenly from `low` to `high`.
    pub(crate) fn from(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// True this often.
    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.from(0.0, 1.0) < share
    }

    /// One of a list.
    pub(crate) fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[(self.next() % list.len() as u64) as usize]
    }
}

/// A seed from any text: its FNV-1a checksum.
pub(crate) fn seed_of(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |sum, byte| (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

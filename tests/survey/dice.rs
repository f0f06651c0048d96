//! Random numbers from a seed for the generator (SplitMix64 of Steele, Lea and Flood, 2014, 10.1145/2714064.2660195).

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64, label: u64) -> Self {
        let mut dice = Self(seed ^ label.wrapping_mul(0xD6E8_FEB8_6659_FD93));
        dice.bits();
        dice
    }

    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Evenly from 0 to 1.
    pub(crate) fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// A whole number below `count`.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        (self.share() * count as f64) as usize
    }

    pub(crate) fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// Close to a normal distribution of deviation 1.
    pub(crate) fn bell(&mut self) -> f64 {
        (0..3).map(|_| self.share() * 2.0 - 1.0).sum()
    }

    pub(crate) fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }

    /// One of a table, by its weight.
    pub(crate) fn weighed<'a, T>(&mut self, from: &'a [T], weight: impl Fn(&T) -> f64) -> &'a T {
        let mut left = self.share() * from.iter().map(&weight).sum::<f64>();
        for one in from {
            left -= weight(one);
            if left <= 0.0 {
                return one;
            }
        }
        &from[from.len() - 1]
    }

    pub(crate) fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            list.swap(last, self.below(last + 1));
        }
    }
}

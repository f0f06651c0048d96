//! Random numbers from a seed, the same on every machine.
//!
//! SplitMix64 and xoshiro256++ of Blackman and Vigna (2019, 10.1145/3460772), public domain.

/// One step of SplitMix64: a well-mixed number from a state, which moves on.
pub(super) fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut mixed = *state;
    mixed = (mixed ^ mixed >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    mixed = (mixed ^ mixed >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    mixed ^ mixed >> 31
}

/// A number from 0 to 1 that depends on nothing but the seed and two labels: the weather of a day, the hour
/// at which somebody cooks.
pub(super) fn fate(seed: u64, what: u64, when: i64) -> f64 {
    let mut state = seed ^ what.wrapping_mul(0xD6E8_FEB8_6659_FD93);
    let mut state = split_mix(&mut state) ^ when as u64;
    unit(split_mix(&mut state))
}

/// The upper 53 bits as a number from 0 (included) to 1 (not).
fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
}

/// A stream of random numbers (xoshiro256++).
#[derive(Debug, Clone)]
pub(super) struct Random {
    state: [u64; 4],
}

impl Random {
    /// A stream; different labels give independent streams of the same seed.
    pub(super) fn new(seed: u64, label: u64) -> Self {
        let mut state = seed ^ label.rotate_left(32);
        Self { state: std::array::from_fn(|_| split_mix(&mut state)) }
    }

    fn next(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let shifted = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= shifted;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Evenly from −1 to 1.
    pub(super) fn even(&mut self) -> f64 {
        unit(self.next()) * 2.0 - 1.0
    }

    /// Close to a normal distribution of deviation 1, and never beyond 3: the sum of three even numbers.
    pub(super) fn bell(&mut self) -> f64 {
        self.even() + self.even() + self.even()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The authors' reference code: SplitMix64 from 1234567, xoshiro256++ from the state 1, 2, 3, 4.
    #[test]
    fn the_reference_vectors_come_out() {
        let mut state = 1_234_567;
        assert_eq!(split_mix(&mut state), 6_457_827_717_110_365_317);
        assert_eq!(split_mix(&mut state), 3_203_168_211_198_807_973);
        let mut random = Random { state: [1, 2, 3, 4] };
        let drawn: Vec<u64> = (0..4).map(|_| random.next()).collect();
        assert_eq!(drawn, [41_943_041, 58_720_359, 3_588_806_011_781_223, 3_591_011_842_654_386]);
    }

    #[test]
    fn the_bell_has_deviation_one_and_no_far_outlier() {
        let mut random = Random::new(7, 1);
        let drawn: Vec<f64> = (0..20_000).map(|_| random.bell()).collect();
        let mean = drawn.iter().sum::<f64>() / 20_000.0;
        let square = drawn.iter().map(|x| x * x).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (square - 1.0).abs() < 0.05, "{mean} {square}");
        assert!(drawn.iter().all(|x| x.abs() <= 3.0));
    }
}

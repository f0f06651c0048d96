//! Recursive least squares with forgetting, for a line through the origin: y = θ·x.
//!
//! Source: Chinese Journal of Mechanical Engineering 2023, 10.1186/s10033-023-00846-0, eq. 12.

use serde::{Deserialize, Serialize};

/// A slope that is learnt one pair at a time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slope {
    /// The slope, y per x.
    pub theta: f64,
    /// One over the sum of x², the older the less of it.
    pub p: f64,
}

impl Default for Slope {
    /// Nothing known: the first pair alone decides.
    fn default() -> Self {
        Self { theta: 0.0, p: UNKNOWN }
    }
}

/// Stands for knowing nothing: far above what any step in amperes leaves.
const UNKNOWN: f64 = 1e9;

impl Slope {
    /// Takes a pair; `keep` is what the older ones keep of their weight, 0.9 to 1.
    pub fn take(&mut self, x: f64, y: f64, keep: f64) {
        let gain = self.p * x / (keep + x * self.p * x);
        self.theta += gain * (y - self.theta * x);
        self.p = ((1.0 - gain * x) * self.p / keep).min(UNKNOWN);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worked_vector_of_a_slope_that_is_not_known_well() {
        // Computed once with NumPy by the equation named above: λ = 0.98, P₀ = 1, y = 0.0021·x.
        let mut slope = Slope { theta: 0.0, p: 1.0 };
        let expected = [2.079620, 2.093774, 2.097903, 2.098537, 2.098753];
        for (x, theta) in [10.0, -15.0, 25.0, -20.0, 15.0].into_iter().zip(expected) {
            slope.take(x, 0.0021 * x, 0.98);
            assert!((slope.theta * 1e3 - theta).abs() < 1e-6, "{}", slope.theta * 1e3);
        }
        assert!((slope.p - 6.570e-4).abs() < 5e-8, "{}", slope.p);
    }

    #[test]
    fn with_nothing_known_one_pair_is_believed() {
        let mut slope = Slope::default();
        slope.take(5.0, 0.01, 0.998);
        assert!((slope.theta - 0.002).abs() < 1e-9);
    }
}

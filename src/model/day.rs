//! What is kept of a pack's hours and days: sums and extremes as small whole numbers.

use serde::{Deserialize, Serialize};

/// Lower edges of the bands of mean cell voltage above the first, V: plateau, knee, float, high, higher.
pub const BAND_EDGES: [f64; 4] = [3.40, 3.475, 3.55, 3.65];
/// Bands of mean cell voltage.
pub const BANDS: usize = BAND_EDGES.len() + 1;

/// Smallest and largest of what was seen; the first above the second when nothing was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Range<T> {
    /// Smallest.
    pub low: T,
    /// Largest.
    pub high: T,
}

impl<T: Ord + Copy> Range<T> {
    /// The wider of both.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    /// Smallest and largest, if anything was seen.
    #[must_use]
    pub fn seen(self) -> Option<(T, T)> {
        (self.low <= self.high).then_some((self.low, self.high))
    }
}

/// Cell voltages in mV.
pub type Millivolts = Range<u16>;
/// Temperatures in whole °C.
pub type Degrees = Range<i8>;

impl Default for Millivolts {
    fn default() -> Self {
        Self { low: u16::MAX, high: 0 }
    }
}

impl Default for Degrees {
    fn default() -> Self {
        Self { low: i8::MAX, high: i8::MIN }
    }
}

/// One hour of a pack.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hour {
    /// Hours since 1970 by engine time.
    pub hour: u32,
    /// Time with a known mean cell voltage, s.
    pub seen_s: u16,
    /// Time held high, s.
    pub high_s: u16,
    /// Time held high, weighted by heat, s.
    pub high_weighted_s: u32,
    /// Time held between the middle and the high mark, weighted by heat, s.
    pub middle_weighted_s: u32,
    /// Charge put in, mAh.
    pub charged_mah: u32,
    /// Charge drawn, mAh.
    pub drawn_mah: u32,
    /// Cell voltages.
    pub cells: Millivolts,
    /// Temperatures that set limits.
    pub celsius: Degrees,
}

/// One day of a pack.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Day {
    /// Days since 1970 by engine time, which is UTC less the clock's steps.
    pub day: u32,
    /// Time with a known mean cell voltage, s.
    pub seen_s: u32,
    /// Time at next to no current in each band of mean cell voltage, s.
    pub quiet_s: [u32; BANDS],
    /// Time held high, s.
    pub high_s: u32,
    /// Time held high, weighted by heat, s.
    pub high_weighted_s: u32,
    /// Charge put in, mAh.
    pub charged_mah: u32,
    /// Charge drawn, mAh.
    pub drawn_mah: u32,
    /// Cell voltages.
    pub cells: Millivolts,
    /// Temperatures that set limits.
    pub celsius: Degrees,
}

/// The days of a pack.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackDays {
    /// Number of the pack, from 0.
    pub pack: u8,
    /// Its capacity is known, without which no current is told from next to none.
    pub has_capacity: bool,
    /// Those of which something was seen, oldest first.
    pub days: Vec<Day>,
}

impl Day {
    /// Whether a current was known on it: one that is next to none leaves its time in a band, any other moves charge.
    #[must_use]
    pub fn has_current(&self) -> bool {
        self.charged_mah > 0 || self.drawn_mah > 0 || self.quiet_s.iter().any(|secs| *secs > 0)
    }

    /// Whether anything was seen on it.
    #[must_use]
    pub fn is_seen(&self) -> bool {
        *self != Self { day: self.day, ..Self::default() }
    }

    /// Adds an hour of this day, with its seconds at next to no current in each band.
    pub fn add(&mut self, hour: &Hour, quiet_s: [u32; BANDS]) {
        self.seen_s = self.seen_s.saturating_add(u32::from(hour.seen_s));
        self.high_s = self.high_s.saturating_add(u32::from(hour.high_s));
        self.high_weighted_s = self.high_weighted_s.saturating_add(hour.high_weighted_s);
        self.charged_mah = self.charged_mah.saturating_add(hour.charged_mah);
        self.drawn_mah = self.drawn_mah.saturating_add(hour.drawn_mah);
        for (sum, secs) in self.quiet_s.iter_mut().zip(quiet_s) {
            *sum = sum.saturating_add(secs);
        }
        self.cells = self.cells.or(hour.cells);
        self.celsius = self.celsius.or(hour.celsius);
    }
}

/// Which band a mean cell voltage lies in.
#[must_use]
pub fn band(mean_volts: f64) -> usize {
    BAND_EDGES.iter().filter(|edge| mean_volts >= **edge).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_begin_at_their_edges() {
        assert_eq!([3.3, 3.40, 3.47, 3.475, 3.55, 3.70].map(band), [0, 1, 1, 2, 3, 4]);
    }

    #[test]
    fn a_day_is_the_sum_of_its_hours_and_an_hour_without_temperatures_adds_none() {
        let mut day = Day::default();
        let cells = Millivolts { low: 3290, high: 3310 };
        day.add(&Hour { seen_s: 3600, charged_mah: 500, cells, ..Hour::default() }, [3000, 0, 0, 0, 0]);
        day.add(&Hour { seen_s: 1800, celsius: Degrees { low: 4, high: 6 }, ..Hour::default() }, [600, 0, 0, 0, 0]);
        assert_eq!((day.seen_s, day.quiet_s[0], day.charged_mah), (5400, 3600, 500));
        assert_eq!((day.cells.seen(), day.celsius.seen()), (Some((3290, 3310)), Some((4, 6))));
        assert_eq!(Day::default().celsius.seen(), None);
    }
}

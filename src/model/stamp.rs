//! A moment: nanoseconds since 1970 UTC. Time is data here; nothing in this room asks what time it is.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Nanoseconds in a second.
pub const NANOS_PER_SEC: i64 = 1_000_000_000;

/// A moment on the wall clock or, once the clock's steps are subtracted, on the engine's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Stamp(i64);

impl Stamp {
    /// The earliest moment there is.
    pub const MIN: Self = Self(i64::MIN);
    /// The latest moment there is.
    pub const MAX: Self = Self(i64::MAX);

    /// From nanoseconds since 1970-01-01 00:00 UTC.
    #[must_use]
    pub const fn from_nanos(nanos: i64) -> Self {
        Self(nanos)
    }

    /// From whole seconds since 1970-01-01 00:00 UTC; saturates.
    #[must_use]
    pub const fn from_secs(secs: i64) -> Self {
        Self(secs.saturating_mul(NANOS_PER_SEC))
    }

    /// Nanoseconds since 1970-01-01 00:00 UTC.
    #[must_use]
    pub const fn nanos(self) -> i64 {
        self.0
    }

    /// Whole seconds since 1970, rounded down.
    #[must_use]
    pub const fn secs(self) -> i64 {
        self.0.div_euclid(NANOS_PER_SEC)
    }

    /// Seconds from `earlier` to here; negative when `earlier` is later.
    #[must_use]
    pub fn since(self, earlier: Self) -> f64 {
        self.0.saturating_sub(earlier.0) as f64 * 1e-9
    }

    /// This many seconds later; saturates.
    #[must_use]
    pub fn plus_secs(self, secs: f64) -> Self {
        Self(self.0.saturating_add((secs * 1e9) as i64))
    }

    /// This many nanoseconds later (or earlier); saturates.
    #[must_use]
    pub const fn plus_nanos(self, nanos: i64) -> Self {
        Self(self.0.saturating_add(nanos))
    }
}

/// RFC 3339 in UTC with nanoseconds, as in `2026-01-31T05:00:00.250000000Z`.
impl fmt::Display for Stamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_nanosecond(i128::from(self.0)) {
            Ok(time) => {
                let digits = u8::try_from(f.precision().unwrap_or(9)).unwrap_or(9);
                let printer = jiff::fmt::temporal::DateTimePrinter::new().precision(Some(digits.min(9)));
                printer.print_timestamp(&time, jiff::fmt::StdFmtWrite(f)).map_err(|_| fmt::Error)
            }
            Err(_) => write!(f, "{} ns", self.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prints_as_rfc_3339() {
        let stamp = Stamp::from_nanos(1_769_835_600_250_000_000);
        assert_eq!(stamp.to_string(), "2026-01-31T05:00:00.250000000Z");
        assert_eq!(format!("{stamp:.0}"), "2026-01-31T05:00:00Z");
        assert_eq!(Stamp::from_nanos(-1).secs(), -1);
    }
}

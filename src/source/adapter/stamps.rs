//! The adapter's own time: milliseconds that begin again every minute, laid onto the wall clock of arrival.

use crate::model::Stamp;

/// The adapter's milliseconds begin again after this many.
const ROUND: i64 = 60_000;
/// How much earlier than its arrival a frame may be stamped: live sources are merged within this time.
const LATEST_MS: i64 = 45;

/// Lays the adapter's stamps onto the wall clock. Between two frames the adapter's time counts; against the wall
/// clock a stamp is never later than its arrival, never earlier by more than what live sources wait for each other,
/// and never runs backwards.
#[derive(Debug, Clone, Default)]
pub(super) struct Stamps {
    /// The last adapter time and its stamp.
    last: Option<(u16, Stamp)>,
}

impl Stamps {
    /// The stamp of a frame that arrived at `arrival`.
    pub(super) fn stamp(&mut self, millis: Option<u16>, arrival: Stamp) -> Stamp {
        let Some(millis) = millis else { return arrival };
        let earliest = arrival.plus_nanos(-LATEST_MS * 1_000_000);
        let stamp = match self.last {
            None => arrival,
            Some((before, at)) => {
                let passed = (i64::from(millis) - i64::from(before)).rem_euclid(ROUND);
                at.plus_nanos(passed * 1_000_000).max(earliest).min(arrival).max(at.min(arrival))
            }
        };
        self.last = Some((millis, stamp));
        stamp
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(millis: i64) -> Stamp {
        Stamp::from_secs(1_800_000_000).plus_nanos(millis * 1_000_000)
    }

    #[test]
    fn frames_that_arrive_together_keep_their_distance() {
        let mut stamps = Stamps::default();
        assert_eq!(stamps.stamp(Some(59_990), at(0)), at(0));
        // Two frames, 20 and 30 ms later by the adapter, arrive in one piece after 40 ms; its minute has begun anew.
        assert_eq!(stamps.stamp(Some(10), at(40)), at(20));
        assert_eq!(stamps.stamp(Some(20), at(40)), at(30));
        assert_eq!(stamps.stamp(None, at(41)), at(41));
    }

    #[test]
    fn an_adapter_whose_clock_runs_fast_or_slow_stays_near_the_arrival() {
        let mut stamps = Stamps::default();
        stamps.stamp(Some(0), at(0));
        assert_eq!(stamps.stamp(Some(2000), at(1000)), at(1000), "never later than it arrived");
        assert_eq!(stamps.stamp(Some(2100), at(61_000)), at(60_955), "never much earlier");
    }
}

//! Live counters of a bank file's map: what they tell of lost frames and of a clock that was set.

use crate::model::{Beat, NANOS_PER_SEC, Stamp};
use serde::{Deserialize, Serialize};

/// Numbers of senders that count by a bank file's map begin here, beyond those of our own format.
const FIRST_SENDER: u8 = 64;
/// Regular intervals after which the usual one is known.
const LEARNT: u8 = 8;
/// Share of a new interval in the usual one.
const SHARE: f64 = 0.125;

/// One counter.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Counter {
    /// Count and moment of its last frame.
    last: Option<(u64, Stamp)>,
    /// Usual seconds between two frames, and how many intervals it rests on.
    usual: f64,
    learnt: u8,
    /// Its time so far, s: counts at the usual interval.
    uptime: f64,
}

impl Counter {
    /// Takes a count; `counts` is how many there are before it begins anew. What a repeated frame says is nothing.
    pub(super) fn hear(&mut self, number: u8, count: u64, counts: u64, at: Stamp) -> Option<Beat> {
        let before = self.last.replace((count, at));
        let sender = FIRST_SENDER.saturating_add(number);
        let first = Beat { sender, lost: 0, sent: 0, uptime: self.uptime, restarted: true };
        let Some((last, since)) = before else { return Some(first) };
        if counts < 2 || count >= counts {
            return None;
        }
        let step = (count + counts - last % counts) % counts;
        if step == 0 {
            self.last = before;
            return None;
        }
        if step > counts / 2 {
            return Some(first);
        }
        if step == 1 {
            self.learn((at.nanos().saturating_sub(since.nanos())) as f64 / NANOS_PER_SEC as f64);
        }
        self.uptime += step as f64 * self.usual;
        let known = self.learnt >= LEARNT;
        let sent = u32::try_from(step).unwrap_or(u32::MAX);
        Some(Beat { sender, lost: sent - 1, sent, uptime: self.uptime, restarted: !known })
    }

    /// A regular interval; one that is far longer than usual moves it no further than a long one.
    fn learn(&mut self, secs: f64) {
        if self.learnt < LEARNT {
            self.learnt += 1;
            self.usual = self.usual.max(secs);
        } else {
            self.usual += SHARE * (secs.clamp(0.0, 2.0 * self.usual) - self.usual);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(counts: &[(u64, i64)]) -> Vec<Option<(u32, f64)>> {
        let mut counter = Counter::default();
        let mut hear = |(count, secs): &(u64, i64)| counter.hear(0, *count, 256, Stamp::from_secs(*secs));
        counts.iter().map(|count| hear(count).filter(|b| !b.restarted).map(|b| (b.lost, b.uptime))).collect()
    }

    #[test]
    fn a_counter_that_goes_on_over_a_leap_counts_its_own_time() {
        let mut counts: Vec<(u64, i64)> = (0..20).map(|n| ((250 + n) % 256, n as i64)).collect();
        counts.extend([(14, 7220), (15, 7221), (15, 7221), (19, 7225)]);
        let told = told(&counts);
        assert_eq!(told[7], None, "not yet learnt");
        assert_eq!(told[19], Some((0, 19.0)));
        let (lost, uptime) = told[20].unwrap();
        assert!(lost == 0 && uptime - 19.0 < 1.2, "two hours of the clock, one count: {uptime}");
        assert_eq!(told[22], None, "a frame that came twice");
        assert_eq!(told[23].unwrap().0, 3);
    }

    #[test]
    fn a_counter_that_jumps_back_has_begun_anew() {
        let mut counts: Vec<(u64, i64)> = (100..120).map(|n| (n, n as i64)).collect();
        counts.push((0, 500));
        assert_eq!(told(&counts)[20], None);
    }
}

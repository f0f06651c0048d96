//! Wall stamps and steady time: what is left of a clock once its steps are known.

use super::Moment;
use crate::model::{NANOS_PER_SEC, Stamp};

/// A change of the clock smaller than this is no step: reading two clocks takes time, and slewing is slow.
const LEAST_STEP: i64 = 50_000_000;
/// Asleep for less than this is not worth an input.
const LEAST_SLEEP: i64 = NANOS_PER_SEC;
/// A stamp this far before the last look at the clock may still be waiting in a kernel's queue.
const OLDEST_WAITING: i64 = 10 * NANOS_PER_SEC;
/// How far a stamp may lie after the moment it is read: clocks are read one after another.
const SLACK: i64 = 5_000_000;

/// What a look at the clock showed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Change {
    /// The wall clock was set: wall less steady time is now this.
    pub(super) offset: Option<i64>,
    /// The computer slept for so many seconds.
    pub(super) slept: Option<u32>,
}

/// The wall clock as steps over a steady time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Timeline {
    /// Wall less steady time.
    offset: i64,
    /// The same before the last step.
    before: i64,
    last: Moment,
}

impl Timeline {
    pub(super) fn new(now: Moment) -> Self {
        let offset = offset_of(now);
        Self { offset, before: offset, last: now }
    }

    /// Looks at the clock; to be called before stamps of that moment are taken.
    pub(super) fn look(&mut self, now: Moment) -> Change {
        let offset = offset_of(now);
        let asleep = (now.steady - self.last.steady) - (now.awake - self.last.awake);
        let stepped = (offset - self.offset).abs() >= LEAST_STEP;
        if stepped {
            self.before = self.offset;
            self.offset = offset;
        }
        self.last = now;
        Change {
            offset: stepped.then_some(offset),
            slept: (asleep >= LEAST_SLEEP).then(|| u32::try_from(asleep / NANOS_PER_SEC).unwrap_or(u32::MAX)),
        }
    }

    /// Wall less steady time.
    pub(super) fn offset(&self) -> i64 {
        self.offset
    }

    /// The steady time of a stamp that this computer gave a little while ago, perhaps before its clock was set.
    pub(super) fn steady(&self, stamp: Stamp) -> i64 {
        let possible = |t: &i64| *t <= self.last.steady + SLACK && *t >= self.last.steady - OLDEST_WAITING;
        let by = |offset: i64| stamp.nanos().saturating_sub(offset);
        let now = Some(by(self.offset)).filter(possible);
        now.or_else(|| Some(by(self.before)).filter(possible)).unwrap_or(self.last.steady)
    }
}

fn offset_of(now: Moment) -> i64 {
    now.wall.nanos().saturating_sub(now.steady)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(wall: f64, steady: f64, awake: f64) -> Moment {
        Moment { wall: Stamp::from_secs(0).plus_secs(wall), steady: (steady * 1e9) as i64, awake: (awake * 1e9) as i64 }
    }

    #[test]
    fn a_clock_that_runs_evenly_shows_nothing() {
        let mut line = Timeline::new(at(1000.0, 10.0, 10.0));
        assert_eq!(line.look(at(1001.0002, 11.0, 11.0)), Change::default());
        assert_eq!(line.offset(), 990 * NANOS_PER_SEC);
    }

    #[test]
    fn stamps_from_before_and_after_a_step_find_their_place() {
        let mut line = Timeline::new(at(1000.0, 10.0, 10.0));
        let change = line.look(at(-6198.0, 12.0, 12.0));
        assert_eq!(change, Change { offset: Some(-6210 * NANOS_PER_SEC), slept: None });
        let before = Stamp::from_secs(1001);
        let after = Stamp::from_secs(0).plus_secs(-6198.5);
        assert_eq!(line.steady(before), 11 * NANOS_PER_SEC);
        assert_eq!(line.steady(after), 11_500_000_000);
    }

    #[test]
    fn sleep_is_no_step_of_the_clock() {
        let mut line = Timeline::new(at(1000.0, 10.0, 10.0));
        let change = line.look(at(4601.0, 3611.0, 11.0));
        assert_eq!(change, Change { offset: None, slept: Some(3600) });
    }

    #[test]
    fn a_stamp_that_cannot_be_is_now() {
        let line = Timeline::new(at(1000.0, 10.0, 10.0));
        assert_eq!(line.steady(Stamp::from_secs(0)), 10 * NANOS_PER_SEC);
        assert_eq!(line.steady(Stamp::from_secs(1001)), 10 * NANOS_PER_SEC);
    }
}

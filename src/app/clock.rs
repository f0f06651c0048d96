//! The clock of the computer, read here and nowhere else on the way of the data.

use crate::model::{NANOS_PER_SEC, Stamp};
use crate::source::{Clock, Moment};
use rustix::time::{ClockId, clock_gettime};

/// The computer's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> Moment {
        let nanos = |id| {
            let time = clock_gettime(id);
            time.tv_sec.saturating_mul(NANOS_PER_SEC).saturating_add(time.tv_nsec)
        };
        Moment {
            wall: Stamp::from_nanos(nanos(ClockId::Realtime)),
            steady: nanos(ClockId::Boottime),
            awake: nanos(ClockId::Monotonic),
        }
    }
}

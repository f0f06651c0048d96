//! What the clock says. Rooms below the application never read it; they are handed a [`Clock`].

use crate::model::Stamp;

/// One reading of the clock, three ways at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// The wall clock, which somebody may set.
    pub wall: Stamp,
    /// Nanoseconds since the computer started, those asleep included. Nobody sets it.
    pub steady: i64,
    /// Nanoseconds since the computer started, those asleep left out.
    pub awake: i64,
}

/// Where the time is read. The application hands one in; tests hand in their own.
pub trait Clock: Send + Sync {
    /// What the clock says now.
    fn now(&self) -> Moment;
}

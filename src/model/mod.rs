//! The nouns of the program as plain data: what arrives, what it says, what was found.
//!
//! Nothing in here opens a file, reads a clock or draws.

pub mod bank;
pub mod day;
pub mod dialect;
mod estimate;
pub mod figure;
pub mod finding;
pub mod frame;
pub mod heard;
pub mod history;
pub mod input;
pub mod limits;
pub mod reading;
pub mod snapshot;
mod stamp;
mod text;

pub use bank::{Bank, PackSpec, SensorRole};
pub use day::{Day, PackDays};
pub use dialect::Dialect;
pub use estimate::Estimate;
pub use figure::figure;
pub use finding::{Evidence, Fact, Finding, Level, Severity, Subject};
pub use frame::{Frame, FrameKind, Id};
pub use heard::{Beat, Heard, Sent};
pub use history::{BankEvent, Change};
pub use input::{Body, Input, Rejection};
pub use limits::{Limit, Limits};
pub use reading::{Quantity, Reading, Slot, Value};
pub use snapshot::Snapshot;
pub use stamp::{NANOS_PER_SEC, Stamp};
pub use text::{clean, nearest, ranges, span};

/// Most packs in a bank.
pub const MAX_PACKS: usize = 16;
/// Most cells in series in a pack.
pub const MAX_CELLS: usize = 32;
/// Most temperature sensors of a pack.
pub const MAX_SENSORS: usize = 16;
/// Most charging sources of a bank.
pub const MAX_SOURCES: usize = 8;

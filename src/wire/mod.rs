//! Bytes to frames and back, without knowing where bytes come from: lines of the plain text log, the inputs
//! that are no frames, the envelope of serial lines.
//!
//! `docs/frame-format.md` describes all of it for somebody who writes a sender or reads a recording.

pub mod envelope;
mod interfaces;
pub mod reserved;
pub mod serial_can;
pub mod textlog;

#[cfg(test)]
mod arbitrary;

pub use interfaces::{Interfaces, MAX_INTERFACES};

//! An unknown bus, mapped by physics: which fields are the cells, the pack's voltage and current, its state of charge
//! and its temperatures. What cannot be told is said to be open; nothing is guessed.

mod amps;
mod beside;
mod bits;
mod cells;
mod coarse;
mod draft;
mod fit;
mod found;
mod heat;
mod keep;
mod likeliest;
mod mux;
mod named;
mod packs;
mod scale;
mod search;
mod sensors;
mod size;
mod soc;
mod starts;
mod twins;
mod view;
mod volts;
mod warm;

pub use beside::{Beside, Verdict, beside};
pub use draft::draft;
pub use found::{Found, Known, Open, Role, When};

use crate::model::{Frame, Stamp};
use keep::Keep;

/// A bus that is listened to.
#[derive(Debug, Clone, Default)]
pub struct Survey {
    keep: Keep,
}

impl Survey {
    /// Nothing heard yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a frame, in the order of time. Memory is bounded: a long log is thinned evenly.
    pub fn push(&mut self, stamp: Stamp, frame: &Frame) {
        self.keep.push(stamp, frame);
    }

    /// Data frames heard so far.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.keep.frames
    }

    /// Says what was found in what was heard so far.
    #[must_use]
    pub fn find(&self, known: &Known) -> Found {
        search::find(&self.keep, known)
    }
}

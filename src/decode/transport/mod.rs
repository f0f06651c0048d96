//! Messages that do not fit into one frame. Bounded memory: so many messages under way, the oldest dropped and
//! counted; a message whose frames stop coming is dropped and counted too.

mod broadcast;
mod fast;

pub use broadcast::Broadcasts;
pub use fast::FastPackets;

use serde::{Deserialize, Serialize};

/// Longest pause between two frames of a message, s. SAE J1939-21's T1 for broadcasts; that fast packets wait as long
/// is judgement.
const PAUSE_SECS: f64 = 0.75;

/// What became of messages in several frames.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts {
    /// Came whole.
    pub whole: u64,
    /// Never became whole: a frame was lost, or there were too many at once.
    pub broken: u64,
}

/// Who sends on which interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Sender {
    /// Interface.
    pub channel: u8,
    /// Address.
    pub address: u8,
}

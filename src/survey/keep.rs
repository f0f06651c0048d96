//! What is kept of a bus: whole spans of a few seconds with everything that was sent in them, thinned evenly when
//! the store is full, so that messages stay side by side however long the log is.

use crate::model::{Frame, FrameKind, Id, Stamp};
use std::collections::BTreeMap;

/// Bytes that are kept at most, with eight for each frame's stamp and place.
const MOST_BYTES: usize = 48 << 20;
/// Messages (interface, id, length) that are followed at most; more are counted.
const MOST_MESSAGES: usize = 1024;
/// Length of a span, ms.
const SPAN_MS: u64 = 4096;
/// What a frame costs beside its data, bytes.
const FRAME_COST: usize = 8;

/// A message: an id with a length on an interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Key {
    pub(super) channel: u8,
    pub(super) id: Id,
    pub(super) bytes: u8,
}

/// How far apart the ids of one sender's messages usually are at most (judgement).
const NEAR_ID: u32 = 64;

impl Key {
    /// Whether another message may come from the same sender.
    pub(super) fn is_near(&self, other: &Self) -> bool {
        self.channel == other.channel && self.id.key().abs_diff(other.id.key()) <= NEAR_ID
    }
}

/// The frames of a message that were kept.
#[derive(Debug, Clone, Default)]
pub(super) struct Kept {
    /// Milliseconds since the first frame of the bus.
    pub(super) times: Vec<u32>,
    /// Data, one after another.
    pub(super) data: Vec<u8>,
    /// Frames heard, kept or not.
    pub(super) heard: u64,
}

/// What is kept of a bus.
#[derive(Debug, Clone, Default)]
pub(super) struct Keep {
    start: Option<Stamp>,
    /// Of the last frame, ms.
    pub(super) last: u32,
    pub(super) messages: BTreeMap<Key, Kept>,
    /// One span in 2^level is kept.
    level: u32,
    bytes: usize,
    /// Data frames heard.
    pub(super) frames: u64,
    /// Frames of messages beyond the most that are followed.
    pub(super) beyond: u64,
}

impl Keep {
    /// Whether an id is heard on another interface too.
    pub(super) fn is_elsewhere(&self, id: Id, channel: u8) -> bool {
        self.messages.keys().any(|key| key.id == id && key.channel != channel)
    }

    pub(super) fn push(&mut self, stamp: Stamp, frame: &Frame) {
        if !matches!(frame.kind, FrameKind::Data | FrameKind::Fd(_)) || frame.is_empty() {
            return;
        }
        self.frames += 1;
        let start = *self.start.get_or_insert(stamp);
        // a clock that goes back stands still here
        self.last = self.last.max((stamp.since(start).max(0.0) * 1e3) as u32);
        let key = Key { channel: frame.channel, id: frame.id, bytes: frame.len() as u8 };
        let full = self.messages.len() >= MOST_MESSAGES;
        let kept = match self.messages.entry(key) {
            std::collections::btree_map::Entry::Vacant(_) if full => {
                self.beyond += 1;
                return;
            }
            entry => entry.or_default(),
        };
        kept.heard += 1;
        if is_kept(self.last, self.level) {
            kept.times.push(self.last);
            kept.data.extend_from_slice(frame.data());
            self.bytes += FRAME_COST + frame.len();
            while self.bytes > MOST_BYTES && self.level < 40 {
                self.thin();
            }
        }
    }

    /// Seconds from the first frame to the last.
    pub(super) fn seconds(&self) -> f64 {
        f64::from(self.last) * 1e-3
    }

    /// Keeps half of the spans.
    fn thin(&mut self) {
        self.level += 1;
        self.bytes = 0;
        for (key, kept) in &mut self.messages {
            let bytes = usize::from(key.bytes);
            let mut thinned = Kept { heard: kept.heard, ..Kept::default() };
            for (&time, data) in kept.times.iter().zip(kept.data.chunks_exact(bytes)) {
                if is_kept(time, self.level) {
                    thinned.times.push(time);
                    thinned.data.extend_from_slice(data);
                }
            }
            self.bytes += thinned.times.len() * (FRAME_COST + bytes);
            *kept = thinned;
        }
    }
}

/// Whether the span of this moment is kept; chosen by a mixed number, so that nothing that repeats falls out of it.
fn is_kept(time: u32, level: u32) -> bool {
    let mut mixed = u64::from(time) / SPAN_MS;
    mixed = (mixed ^ mixed >> 31).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    mixed = (mixed ^ mixed >> 29).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (mixed >> 20) & ((1 << level) - 1) == 0
}

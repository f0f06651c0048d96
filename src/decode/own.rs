//! Senders of our own format: who has said hello, and what their counters tell.

use crate::layout::own::{self as format, SENDERS};
use crate::model::{Beat, Frame};
use serde::{Deserialize, Serialize};

/// One sender.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Sender {
    /// It has said hello with the right magic and version.
    known: bool,
    /// Frames heard since its last beat.
    heard: u32,
    /// Counter and uptime, in tenths of a second, of its last beat.
    beat: Option<(u32, u32)>,
}

/// Senders of our own format.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct OwnState {
    senders: [Sender; SENDERS],
}

impl OwnState {
    /// Counts a frame of a sender; returns whether the sender is one of ours.
    #[inline]
    pub(super) fn hear(&mut self, group: u8, sender: u8, frame: &Frame) -> bool {
        let Some(sender) = self.senders.get_mut(usize::from(sender)) else { return false };
        if group == format::HELLO && !format::is_hello(frame) {
            return false;
        }
        sender.known |= group == format::HELLO;
        if sender.known {
            sender.heard = sender.heard.saturating_add(1);
        }
        sender.known
    }

    /// Whether a sender has said hello.
    pub(super) fn knows(&self, sender: u8) -> bool {
        self.senders.get(usize::from(sender)).is_some_and(|sender| sender.known)
    }

    /// Takes a beat: compares what the sender sent with what was heard.
    pub(super) fn beat(&mut self, number: u8, frame: &Frame) -> Option<Beat> {
        if frame.len() < 8 {
            return None;
        }
        let sender = self.senders.get_mut(usize::from(number))?;
        let word = frame.word();
        let (count, uptime) = (word as u32, (word >> 32) as u32);
        if count >= u32::MAX - 1 || uptime >= u32::MAX - 1 {
            return None;
        }
        let before = sender.beat.replace((count, uptime));
        let heard = std::mem::take(&mut sender.heard);
        let uptime_secs = f64::from(uptime) * 0.1;
        match before {
            Some((last, since)) if count >= last && uptime >= since => {
                let sent = count - last;
                Some(Beat {
                    sender: number,
                    lost: sent.saturating_sub(heard),
                    sent,
                    uptime: uptime_secs,
                    restarted: false,
                })
            }
            _ => Some(Beat { sender: number, lost: 0, sent: 0, uptime: uptime_secs, restarted: true }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::own::{BEAT, encode, frame_of, hello};
    use crate::model::{Quantity, Value};

    fn beat(count: f64, uptime: f64) -> Frame {
        let (layout, part) = frame_of(BEAT).unwrap();
        encode(layout, part, 0, |slot| {
            Value::Present(if slot.quantity == Quantity::SenderFrames { count } else { uptime })
        })
    }

    #[test]
    fn nothing_of_a_sender_counts_before_its_hello() {
        let mut state = OwnState::default();
        assert!(!state.hear(BEAT, 0, &beat(0.0, 0.0)));
        assert!(!state.hear(0, 0, &Frame::extended(format::id(0, 0), [0; 8])), "another maker's frame on the same id");
        assert!(state.hear(0, 0, &hello(0)));
        assert!(state.hear(BEAT, 0, &beat(1.0, 0.0)));
    }

    #[test]
    fn frames_that_did_not_arrive_are_counted_by_the_next_beat() {
        let mut state = OwnState::default();
        state.hear(0, 0, &hello(0));
        state.hear(BEAT, 0, &beat(1.0, 0.0));
        assert!(state.beat(0, &beat(1.0, 0.0)).unwrap().restarted);
        for _ in 0..7 {
            state.hear(0x10, 0, &hello(0));
        }
        let next = beat(11.0, 1.0);
        state.hear(BEAT, 0, &next);
        let told = state.beat(0, &next).unwrap();
        assert_eq!((told.sent, told.lost, told.restarted), (10, 2, false));
    }
}

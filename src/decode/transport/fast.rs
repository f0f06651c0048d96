//! Fast packets of IEC 61162-3: up to 223 bytes in up to 32 frames. Byte 0 of a frame is the message's number (three
//! bits) and the frame's (five bits); frame 0 has the length in byte 1 and six bytes of data, later ones seven.

use super::{Counts, PAUSE_SECS, Sender};
use crate::model::Stamp;
use serde::{Deserialize, Serialize};

/// Messages under way, at most.
const SESSIONS: usize = 32;
/// Longest message, bytes.
const LONGEST: usize = 223;
/// Bytes of data of frame 0, and of each later one.
const FIRST: usize = 6;
const LATER: usize = 7;

/// One message under way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Session {
    sender: Sender,
    group: u32,
    /// The message's number, 0 to 7.
    number: u8,
    /// Moment of its latest frame.
    at: Stamp,
    /// Length; 0 until frame 0 has come.
    len: u8,
    /// Which frames have come, a bit each.
    come: u32,
    /// The data, as far as it has come.
    data: Vec<u8>,
}

/// Fast packets under way. A message may lose its order, come twice, and run beside others of the same sender.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct FastPackets {
    /// The one that began first stands first.
    sessions: Vec<Session>,
    /// What became of them.
    pub counts: Counts,
}

impl Session {
    /// Where a frame's data lies in the message.
    const fn place(frame: u8) -> usize {
        if frame == 0 { 0 } else { FIRST + (frame as usize - 1) * LATER }
    }

    /// Whether it may take the frame: its number has not come yet, or came with the same bytes.
    fn fits(&self, frame: u8, length: u8, part: &[u8]) -> bool {
        if self.come & 1 << frame == 0 {
            return self.len == 0 || Self::place(frame) < usize::from(self.len);
        }
        let same_length = frame > 0 || length == self.len;
        let start = Self::place(frame);
        same_length && self.data.get(start..start + part.len()) == Some(part)
    }

    fn take(&mut self, frame: u8, length: u8, part: &[u8]) {
        let start = Self::place(frame);
        if let Some(to) = self.data.get_mut(start..start + part.len()) {
            to.copy_from_slice(part);
            self.come |= 1 << frame;
            if frame == 0 {
                self.len = length;
            }
        }
    }

    /// Whether every frame that its length needs has come.
    fn is_whole(&self) -> bool {
        let later = usize::from(self.len).saturating_sub(FIRST).div_ceil(LATER);
        let needed = if later >= 31 { u32::MAX } else { (1 << (later + 1)) - 1 };
        self.len > 0 && self.come & needed == needed
    }

    fn is_in_bounds(&self) -> bool {
        self.data.len() == LONGEST + 1 && usize::from(self.len) <= LONGEST && self.number < 8
    }
}

impl FastPackets {
    /// Takes a frame; returns the message when it is whole.
    pub fn take(&mut self, at: Stamp, sender: Sender, group: u32, frame: &[u8]) -> Option<Vec<u8>> {
        let (head, rest) = frame.split_first()?;
        let (number, frame) = (head >> 5, head & 0x1F);
        let (length, part) = match frame {
            0 => rest.split_first().map(|(length, part)| (*length, part))?,
            _ => (0, rest),
        };
        let most = if frame == 0 { FIRST } else { LATER };
        let starts_badly = frame == 0 && (length == 0 || usize::from(length) > LONGEST);
        if part.len() != most || starts_badly {
            return None;
        }
        self.forget(at, sender, group, number);
        let same = |s: &Session| s.sender == sender && s.group == group && s.number == number;
        let mut index = self.sessions.iter().position(same);
        if let Some(known) = index.filter(|known| !self.sessions[*known].fits(frame, length, part)) {
            self.sessions.remove(known);
            self.counts.broken += 1;
            index = None;
        }
        let index = index.unwrap_or_else(|| {
            self.open(Session { sender, group, number, at, len: 0, come: 0, data: vec![0; LONGEST + 1] })
        });
        let session = self.sessions.get_mut(index)?;
        session.at = at;
        session.take(frame, length, part);
        if !session.is_whole() {
            return None;
        }
        let mut done = self.sessions.remove(index);
        done.data.truncate(usize::from(done.len));
        self.counts.whole += 1;
        Some(done.data)
    }

    /// Drops what waited too long, and messages of the same sender and group that are long over: two numbers back
    /// or more. Numbers come round after eight.
    fn forget(&mut self, at: Stamp, sender: Sender, group: u32, number: u8) {
        let before = self.sessions.len();
        self.sessions.retain(|s| {
            let over = s.sender == sender && s.group == group && (2..=6).contains(&(number.wrapping_sub(s.number) & 7));
            !over && at.since(s.at) <= PAUSE_SECS
        });
        self.counts.broken += (before - self.sessions.len()) as u64;
    }

    fn open(&mut self, session: Session) -> usize {
        if self.sessions.len() >= SESSIONS {
            self.sessions.remove(0);
            self.counts.broken += 1;
        }
        self.sessions.push(session);
        self.sessions.len() - 1
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_in_bounds(&self) -> bool {
        self.sessions.len() <= SESSIONS && self.sessions.iter().all(Session::is_in_bounds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SENDER: Sender = Sender { channel: 0, address: 3 };
    const GROUP: u32 = 0x1_F212;
    /// Message 2 of 127506: 87 %, health 100 %, 244 min, 120 Ah.
    const SENT: [[u8; 8]; 2] = [[0x40, 0x0B, 5, 0, 0, 0x57, 0x64, 0xF4], [0x41, 0, 0xFF, 0xFF, 0x78, 0, 0xFF, 0xFF]];
    const WHOLE: [u8; 11] = [5, 0, 0, 0x57, 0x64, 0xF4, 0, 0xFF, 0xFF, 0x78, 0];

    fn at(millis: i64) -> Stamp {
        Stamp::from_nanos(millis * 1_000_000)
    }

    fn take(packets: &mut FastPackets, millis: i64, frame: &[u8]) -> Option<Vec<u8>> {
        packets.take(at(millis), SENDER, GROUP, frame)
    }

    #[test]
    fn two_frames_make_the_message_in_either_order_and_twice() {
        let mut packets = FastPackets::default();
        assert_eq!(take(&mut packets, 0, &SENT[0]), None);
        assert_eq!(take(&mut packets, 1, &SENT[0]), None, "the same frame again");
        assert_eq!(take(&mut packets, 2, &SENT[1]).as_deref(), Some(&WHOLE[..]));
        assert_eq!(take(&mut packets, 700, &SENT[1]), None);
        assert_eq!(take(&mut packets, 701, &SENT[0]).as_deref(), Some(&WHOLE[..]));
        assert_eq!(packets.counts, Counts { whole: 2, broken: 0 });
    }

    #[test]
    fn half_a_message_never_meets_the_half_of_another() {
        let mut packets = FastPackets::default();
        take(&mut packets, 0, &SENT[0]);
        assert_eq!(take(&mut packets, 751, &SENT[1]), None, "too late");
        let other = Sender { address: 4, ..SENDER };
        take(&mut packets, 2000, &SENT[0]);
        assert_eq!(packets.take(at(2001), other, GROUP, &SENT[1]), None, "another sender's");
        let mut next = SENT[1];
        next[0] = 0x61;
        assert_eq!(take(&mut packets, 2002, &next), None, "the next message's");
        assert_eq!(take(&mut packets, 2003, &SENT[1]).as_deref(), Some(&WHOLE[..]));
        assert_eq!(packets.counts.whole, 1);
    }

    #[test]
    fn a_first_frame_with_other_bytes_starts_anew() {
        let mut packets = FastPackets::default();
        take(&mut packets, 0, &SENT[0]);
        let mut changed = SENT[0];
        changed[5] = 0x56;
        take(&mut packets, 1, &changed);
        let message = take(&mut packets, 2, &SENT[1]).expect("whole");
        assert_eq!((message[3], packets.counts.broken), (0x56, 1));
    }

    #[test]
    fn a_thousand_messages_that_never_end_take_no_more_room_than_thirty_two() {
        let mut packets = FastPackets::default();
        for address in 0..=255 {
            packets.take(at(0), Sender { channel: 0, address }, GROUP, &SENT[0]);
        }
        assert_eq!((packets.sessions.len(), packets.counts.broken), (SESSIONS, 224));
        assert!(packets.is_in_bounds());
    }
}

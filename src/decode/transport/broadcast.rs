//! Long messages of RV-C, to everyone (SAE J1939-21's broadcast): a frame of group EC00 to address FF announces length,
//! number of packets and group; packets of seven bytes follow in group EB00. 255 packets are a number here, not 'not
//! available'.

use super::{Counts, PAUSE_SECS, Sender};
use crate::model::Stamp;
use serde::{Deserialize, Serialize};

/// Messages under way, at most; a sender has one at a time.
const SESSIONS: usize = 16;
/// Bytes of a packet.
const PACKET: usize = 7;
/// Longest message, bytes.
const LONGEST: usize = 255 * PACKET;
/// First byte of an announcement to everyone.
const ANNOUNCES: u8 = 32;

/// One message under way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Session {
    sender: Sender,
    group: u32,
    /// Moment of its latest frame.
    at: Stamp,
    packets: u8,
    /// Which packets have come, a bit each.
    come: [u64; 4],
    /// The data, as far as it has come; its length is the message's.
    data: Vec<u8>,
}

/// Broadcasts under way. Packets may lose their order and come twice.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Broadcasts {
    /// The one that began first stands first.
    sessions: Vec<Session>,
    /// What became of them.
    pub counts: Counts,
}

impl Session {
    fn is_in_bounds(&self) -> bool {
        self.data.len() <= LONGEST && self.data.len().div_ceil(PACKET) == usize::from(self.packets)
    }
}

impl Broadcasts {
    /// Takes an announcement: the packets that follow belong to it. One that announces what cannot be, or is no
    /// announcement to everyone, is passed over.
    pub fn announce(&mut self, at: Stamp, sender: Sender, frame: &[u8]) {
        self.forget(at);
        let &[ANNOUNCES, low, high, packets, _, g0, g1, g2] = frame else { return };
        let length = usize::from(u16::from_le_bytes([low, high]));
        if length <= 8 || length > LONGEST || length.div_ceil(PACKET) != usize::from(packets) {
            return;
        }
        let before = self.sessions.len();
        self.sessions.retain(|session| session.sender != sender);
        self.counts.broken += (before - self.sessions.len()) as u64;
        if self.sessions.len() >= SESSIONS {
            self.sessions.remove(0);
            self.counts.broken += 1;
        }
        let group = u32::from_le_bytes([g0, g1, g2, 0]) & 0x3_FFFF;
        self.sessions.push(Session { sender, group, at, packets, come: [0; 4], data: vec![0; length] });
    }

    /// Takes a packet; returns group and data of the message when it is whole.
    pub fn packet(&mut self, at: Stamp, sender: Sender, frame: &[u8]) -> Option<(u32, Vec<u8>)> {
        self.forget(at);
        let (number, part) = frame.split_first().filter(|(number, part)| **number > 0 && part.len() == PACKET)?;
        let index = self.sessions.iter().position(|session| session.sender == sender)?;
        let session = self.sessions.get_mut(index).filter(|session| *number <= session.packets)?;
        let start = (usize::from(*number) - 1) * PACKET;
        session.at = at;
        session.data.iter_mut().skip(start).zip(part).for_each(|(to, from)| *to = *from);
        let bit = *number - 1;
        *session.come.get_mut(usize::from(bit / 64))? |= 1 << (bit % 64);
        let come: u32 = session.come.iter().map(|bits| bits.count_ones()).sum();
        if come < u32::from(session.packets) {
            return None;
        }
        let done = self.sessions.remove(index);
        self.counts.whole += 1;
        Some((done.group, done.data))
    }

    fn forget(&mut self, at: Stamp) {
        let before = self.sessions.len();
        self.sessions.retain(|session| at.since(session.at) <= PAUSE_SECS);
        self.counts.broken += (before - self.sessions.len()) as u64;
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

    const SENDER: Sender = Sender { channel: 0, address: 0x46 };

    fn announcement(length: u16, packets: u8) -> [u8; 8] {
        let [low, high] = length.to_le_bytes();
        [32, low, high, packets, 0xFF, 0xEB, 0xFE, 0x00]
    }

    fn packet(number: u8) -> [u8; 8] {
        [number, number, 1, 2, 3, 4, 5, 6]
    }

    #[test]
    fn packets_make_the_message_in_any_order_and_twice() {
        let mut broadcasts = Broadcasts::default();
        broadcasts.announce(Stamp::from_secs(0), SENDER, &announcement(16, 3));
        for number in [3, 1, 1] {
            assert_eq!(broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(number)), None);
        }
        let (group, data) = broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(2)).expect("whole");
        assert_eq!((group, data), (0xFEEB, vec![1, 1, 2, 3, 4, 5, 6, 2, 1, 2, 3, 4, 5, 6, 3, 1]));
    }

    #[test]
    fn two_hundred_and_fifty_five_packets_are_a_number() {
        let mut broadcasts = Broadcasts::default();
        broadcasts.announce(Stamp::from_secs(0), SENDER, &announcement(1785, 255));
        let whole = (1..=255).filter_map(|n| broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(n))).count();
        assert_eq!((whole, broadcasts.counts), (1, Counts { whole: 1, broken: 0 }));
    }

    #[test]
    fn a_lost_packet_breaks_its_own_message_only() {
        let mut broadcasts = Broadcasts::default();
        broadcasts.announce(Stamp::from_secs(0), SENDER, &announcement(14, 2));
        broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(1));
        broadcasts.announce(Stamp::from_secs(0), SENDER, &announcement(14, 2));
        assert_eq!(broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(2)), None);
        assert!(broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(1)).is_some());
        assert_eq!(broadcasts.counts, Counts { whole: 1, broken: 1 });
        assert_eq!(broadcasts.packet(Stamp::from_secs(0), SENDER, &packet(1)), None, "without an announcement");
    }
}

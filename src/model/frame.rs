//! One CAN-shaped frame: what everything on every wire becomes.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A CAN identifier. Its width is part of it: the 11-bit 0x123 is not the 29-bit 0x00000123.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Id {
    /// 11 bits, 0 to 0x7FF.
    Standard(u16),
    /// 29 bits, 0 to 0x1FFF_FFFF.
    Extended(u32),
}

impl Id {
    /// Largest 11-bit identifier.
    pub const STANDARD_MAX: u16 = 0x7FF;
    /// Largest 29-bit identifier.
    pub const EXTENDED_MAX: u32 = 0x1FFF_FFFF;

    /// The identifier as a key that keeps the two widths apart (bit 31 set for 29 bits, as in SocketCAN).
    #[must_use]
    pub const fn key(self) -> u32 {
        match self {
            Self::Standard(id) => id as u32,
            Self::Extended(id) => id | 0x8000_0000,
        }
    }
}

/// As the text log writes it: 3 hex digits for 11 bits, 8 for 29.
impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Standard(id) => write!(f, "{id:03X}"),
            Self::Extended(id) => write!(f, "{id:08X}"),
        }
    }
}

/// What sort of frame it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum FrameKind {
    /// Classical data frame, up to 8 bytes.
    Data,
    /// Remote frame: no data; `len` is the length asked for.
    Remote,
    /// Report of the controller about an error on the bus; the id holds the error class bits.
    Error,
    /// CAN FD data frame, up to 64 bytes, with its flags nibble (1 bit-rate switch, 2 error state, 4 FD).
    Fd(u8),
}

/// One frame. Bytes beyond `len` are zero.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// Identifier.
    pub id: Id,
    /// Sort of frame.
    pub kind: FrameKind,
    /// Index of the interface it came over, in the order in which interfaces were first seen.
    pub channel: u8,
    len: u8,
    data: [u8; 64],
}

impl Frame {
    /// A frame of any kind; `None` when the data is longer than the kind carries.
    #[must_use]
    pub fn new(id: Id, kind: FrameKind, bytes: &[u8]) -> Option<Self> {
        let most = if matches!(kind, FrameKind::Fd(_)) { 64 } else { 8 };
        if bytes.len() > most {
            return None;
        }
        let mut data = [0; 64];
        data[..bytes.len()].copy_from_slice(bytes);
        Some(Self { id, kind, channel: 0, len: bytes.len() as u8, data })
    }

    /// A classical data frame with a 29-bit id and 8 bytes: the shape of all frames of our own format.
    #[must_use]
    pub fn extended(id: u32, bytes: [u8; 8]) -> Self {
        let mut data = [0; 64];
        data[..8].copy_from_slice(&bytes);
        Self { id: Id::Extended(id & Id::EXTENDED_MAX), kind: FrameKind::Data, channel: 0, len: 8, data }
    }

    /// Makes this the classical data frame with a 29-bit id and 8 bytes, where it stands: nothing is moved.
    #[inline]
    pub fn refill(&mut self, id: u32, channel: u8, bytes: [u8; 8]) {
        self.id = Id::Extended(id & Id::EXTENDED_MAX);
        self.kind = FrameKind::Data;
        self.channel = channel;
        self.data[..8].copy_from_slice(&bytes);
        if self.len > 8 {
            self.data[8..].fill(0);
        }
        self.len = 8;
    }

    /// A remote frame that asks for `len` bytes (0 to 8).
    #[must_use]
    pub fn remote(id: Id, len: u8) -> Self {
        Self { id, kind: FrameKind::Remote, channel: 0, len: len.min(8), data: [0; 64] }
    }

    /// The same frame as seen on interface `channel`.
    #[must_use]
    pub const fn on(mut self, channel: u8) -> Self {
        self.channel = channel;
        self
    }

    /// Number of data bytes; for a remote frame the number that is asked for.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.len as usize
    }

    /// Whether there are no data bytes.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The data bytes; none for a remote frame.
    #[must_use]
    pub fn data(&self) -> &[u8] {
        match self.kind {
            FrameKind::Remote => &[],
            _ => &self.data[..self.len()],
        }
    }

    /// The first eight bytes as a little-endian word, zero where the frame is shorter.
    #[must_use]
    pub fn word(&self) -> u64 {
        let mut bytes = [0; 8];
        bytes.copy_from_slice(&self.data[..8]);
        u64::from_le_bytes(bytes)
    }
}

impl fmt::Debug for Frame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Frame({} {:?} ch{} {:02X?})", self.id, self.kind, self.channel, self.data())
    }
}

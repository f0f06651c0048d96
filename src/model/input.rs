//! Everything that can change the state: frames, and the things that are no frames. All of it is recorded.

use super::{Frame, Stamp, Subject};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// One input with its moment on the wall clock of whoever recorded it.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// Wall stamp, as recorded.
    pub stamp: Stamp,
    /// What came.
    pub body: Body,
}

impl Input {
    /// Makes this the input of a classical data frame with a 29-bit id and 8 bytes, where it stands.
    #[inline]
    pub fn refill(&mut self, stamp: Stamp, (id, channel): (u32, u8), bytes: [u8; 8]) {
        self.stamp = stamp;
        match &mut self.body {
            Body::Frame(frame) => frame.refill(id, channel, bytes),
            other => *other = Body::Frame(Frame::extended(id, bytes).on(channel)),
        }
    }
}

/// What came.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant)] // the large one, a frame, is all but every input
pub enum Body {
    /// A frame from a bus.
    Frame(Frame),
    /// Bytes or lines that were no frame.
    Rejected {
        /// Why.
        reason: Rejection,
        /// How many.
        count: u32,
    },
    /// Frames lost before they reached us, with who counted them.
    Lost {
        /// Who noticed.
        by: Loss,
        /// How many frames.
        count: u32,
    },
    /// A link went up or down.
    Link {
        /// Interface, in the order in which interfaces were first seen.
        channel: u8,
        /// Up or down.
        up: bool,
    },
    /// State of a CAN controller.
    Controller {
        /// Interface.
        channel: u8,
        /// Its state.
        state: ControllerState,
    },
    /// The wall clock was set: the stamp of this input is the new time.
    ClockStep {
        /// What the clock said before.
        old: Stamp,
    },
    /// The computer slept.
    Suspend {
        /// Seconds asleep.
        secs: u32,
    },
    /// Inputs that were not kept, by a recorder whose disk or queue was full.
    Gap {
        /// How many inputs.
        count: u32,
    },
    /// The bank file by which what follows is read and judged.
    BankFile {
        /// CRC-64/XZ of its text.
        digest: u64,
        /// Its text; empty where a recording names the digest alone.
        text: Arc<str>,
    },
    /// Somebody has seen a finding. Changes what is shown, never what was found.
    Acknowledge {
        /// Key of the rule: CRC-16/IBM-3740 of its code.
        rule: u16,
        /// What it was about.
        subject: Subject,
    },
    /// A remark, up to 240 bytes of clean text.
    Note(String),
    /// The recording ends here in good order.
    Closing,
}

/// Who counted lost frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Loss {
    /// This computer: its receive queue overran.
    Computer,
    /// The adapter or controller: its buffer overran.
    Adapter,
    /// The counter in the sender's own frames.
    Sender,
}

/// State of a CAN controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum ControllerState {
    /// Takes part normally.
    Active,
    /// Error counters above the warning level (96).
    Warning,
    /// Error passive (128).
    Passive,
    /// Off the bus (256).
    BusOff,
    /// Stopped or not configured.
    Stopped,
}

/// Why bytes or a line were no frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Rejection {
    /// No stamp in brackets at the start of the line.
    NoStamp,
    /// A stamp that is no number, or outside 1970 to 2262.
    BadStamp,
    /// No name of an interface.
    NoInterface,
    /// More different interfaces than 64.
    TooManyInterfaces,
    /// An id that is not 3 or 8 hex digits, or too large.
    BadId,
    /// Data that is not pairs of hex digits.
    BadHex,
    /// More data than the kind of frame carries.
    TooLong,
    /// A form of the log that is not read (CAN XL).
    Unsupported,
    /// The line is longer than 64 KiB.
    LongLine,
    /// The last line has no end and is no frame.
    TornTail,
    /// Nul bytes, as a power cut leaves them.
    Nuls,
    /// Envelope: not COBS.
    BadCobs,
    /// Envelope: the length does not fit.
    BadLength,
    /// Envelope: the checksum differs.
    BadChecksum,
    /// Envelope: no end within the longest frame.
    Overlong,
    /// One of our own reserved inputs that does not parse.
    BadInput,
    /// Frames in the text that the compressed file's end cut off.
    TornArchive,
}

impl Rejection {
    /// All reasons, in the order of the numbers that the reserved frames carry.
    pub const ALL: [Self; 17] = [
        Self::NoStamp,
        Self::BadStamp,
        Self::NoInterface,
        Self::TooManyInterfaces,
        Self::BadId,
        Self::BadHex,
        Self::TooLong,
        Self::Unsupported,
        Self::LongLine,
        Self::TornTail,
        Self::Nuls,
        Self::BadCobs,
        Self::BadLength,
        Self::BadChecksum,
        Self::Overlong,
        Self::BadInput,
        Self::TornArchive,
    ];

    /// Name in JSON and in the log's documentation.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::NoStamp => "no_stamp",
            Self::BadStamp => "bad_stamp",
            Self::NoInterface => "no_interface",
            Self::TooManyInterfaces => "too_many_interfaces",
            Self::BadId => "bad_id",
            Self::BadHex => "bad_hex",
            Self::TooLong => "too_long",
            Self::Unsupported => "unsupported",
            Self::LongLine => "long_line",
            Self::TornTail => "torn_tail",
            Self::Nuls => "nuls",
            Self::BadCobs => "bad_cobs",
            Self::BadLength => "bad_length",
            Self::BadChecksum => "bad_checksum",
            Self::Overlong => "overlong",
            Self::BadInput => "bad_input",
            Self::TornArchive => "torn_archive",
        }
    }
}

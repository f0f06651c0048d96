//! Serial-line CAN: the ASCII protocol of serial CAN adapters, as the Linux kernel's `slcan` driver and python-can
//! read it. What an adapter says, taken apart; what is said to an adapter is [`SetUp`], and nothing else.
//!
//! A line ends with CR, or is the single byte BEL for 'refused'. `tIIIL…` and `TIIIIIIIIL…` are data frames with an
//! 11- and a 29-bit id, `r`/`R` remote frames, `d`/`D` FD frames and `b`/`B` the same with the bit-rate switch; with
//! stamps on, four hex digits of milliseconds (0000 to EA5F) follow. `s` reports the controller, `e` errors.

use super::textlog::digits::{hex, hex_number};
use crate::model::input::ControllerState;
use crate::model::{Frame, FrameKind, Id, Rejection};

/// Longest line: `D`, eight digits of id, one of length, 64 bytes, four digits of stamp.
const MOST: usize = 1 + 8 + 1 + 128 + 4;
const CR: u8 = b'\r';
const BEL: u8 = 7;

/// Everything that is ever written to an adapter. None of it makes the adapter transmit: it is closed, told the
/// bus's speed, told to stamp frames, and opened to listen only. The command that opens it as a member of the bus
/// does not exist here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SetUp {
    /// Close the channel.
    Close,
    /// Stamp every frame with milliseconds. Sent first as well: a half line that another program left in the
    /// adapter becomes nonsense by it, whatever it was.
    Stamp,
    /// The bus's speed.
    Speed(Speed),
    /// Open to listen only.
    Listen,
}

impl SetUp {
    /// The bytes, with the CR at their end.
    #[must_use]
    pub const fn bytes(self) -> &'static [u8] {
        match self {
            Self::Close => b"C\r",
            Self::Stamp => b"Z1\r",
            Self::Listen => b"L\r",
            Self::Speed(speed) => speed.command(),
        }
    }
}

macro_rules! speeds {
    ($($variant:ident $kbit:literal $command:literal;)*) => {
        /// Speed of a CAN bus.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Speed { $(#[doc = concat!(stringify!($kbit), " kbit/s.")] $variant,)* }

        impl Speed {
            /// Every speed that the protocol has, most likely first: 250 kbit/s is the speed of J1939, RV-C and
            /// IEC 61162-3; the rest is common practice, no source.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// In kbit/s.
            #[must_use]
            pub const fn kbit(self) -> u32 {
                match self { $(Self::$variant => $kbit,)* }
            }

            const fn command(self) -> &'static [u8] {
                match self { $(Self::$variant => $command,)* }
            }
        }
    };
}

speeds! {
    K250 250 b"S5\r";
    K500 500 b"S6\r";
    K125 125 b"S4\r";
    K1000 1000 b"S8\r";
    K100 100 b"S3\r";
    K50 50 b"S2\r";
    K800 800 b"S7\r";
    K20 20 b"S1\r";
    K10 10 b"S0\r";
}

/// What an adapter said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(clippy::large_enum_variant)] // the large one, a frame, is all but every line
pub enum Said {
    /// A frame, with the adapter's milliseconds (0 to 59 999) where it stamps.
    Frame(Frame, Option<u16>),
    /// State of its controller.
    State(ControllerState),
    /// The last command was taken.
    Done,
    /// The last command was refused.
    Refused,
    /// A line that is none of these.
    Bad(Rejection),
}

/// Takes lines out of what an adapter sends, however it is cut. Holds one line at most.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    line: Vec<u8>,
    skipping: bool,
}

impl Lines {
    /// Takes the next bytes; calls `each` with everything that the adapter said.
    pub fn push(&mut self, bytes: &[u8], mut each: impl FnMut(Said)) {
        for &byte in bytes {
            match byte {
                CR if std::mem::take(&mut self.skipping) => {}
                CR => each(read(&self.line)),
                BEL => each(Said::Refused),
                b'\n' => continue, // some add one
                _ if self.skipping => continue,
                _ if self.line.len() == MOST => {
                    self.skipping = true;
                    each(Said::Bad(Rejection::Overlong));
                }
                _ => {
                    self.line.push(byte);
                    continue;
                }
            }
            self.line.clear();
        }
    }
}

fn read(line: &[u8]) -> Said {
    let Some((&kind, rest)) = line.split_first() else { return Said::Done };
    let frame = match kind {
        b't' => frame(rest, 3, FrameKind::Data),
        b'T' => frame(rest, 8, FrameKind::Data),
        b'r' => frame(rest, 3, FrameKind::Remote),
        b'R' => frame(rest, 8, FrameKind::Remote),
        b'd' => frame(rest, 3, FrameKind::Fd(4)),
        b'D' => frame(rest, 8, FrameKind::Fd(4)),
        b'b' => frame(rest, 3, FrameKind::Fd(5)),
        b'B' => frame(rest, 8, FrameKind::Fd(5)),
        b's' => return state(rest).map_or_else(Said::Bad, Said::State),
        b'e' => return errors(rest).map_or_else(Said::Bad, |frame| Said::Frame(frame, None)),
        // Answers to a transmission ('z', 'Z') and to questions are nothing that we cause.
        _ => Err(Rejection::Unsupported),
    };
    frame.map_or_else(Said::Bad, |(frame, stamp)| Said::Frame(frame, stamp))
}

/// Data bytes by the code in a frame; above 8 for FD frames (ISO 11898-1).
const LENGTHS: [usize; 16] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64];

fn frame(rest: &[u8], digits: usize, kind: FrameKind) -> Result<(Frame, Option<u16>), Rejection> {
    let (id, rest) = rest.split_at_checked(digits).ok_or(Rejection::BadLength)?;
    let number = hex_number(id).ok_or(Rejection::BadId)?;
    let id = if digits == 3 {
        u16::try_from(number).ok().filter(|id| *id <= Id::STANDARD_MAX).map(Id::Standard)
    } else {
        Some(Id::Extended(number)).filter(|_| number <= Id::EXTENDED_MAX)
    };
    let id = id.ok_or(Rejection::BadId)?;
    let (&code, rest) = rest.split_first().ok_or(Rejection::BadLength)?;
    let code = usize::from(hex(code).ok_or(Rejection::BadHex)?);
    let is_fd = matches!(kind, FrameKind::Fd(_));
    if code > 8 && !is_fd {
        return Err(Rejection::TooLong);
    }
    if kind == FrameKind::Remote {
        return Ok((Frame::remote(id, code as u8), stamp(rest)?));
    }
    let len = LENGTHS.get(code).copied().unwrap_or(0);
    let (digits, rest) = rest.split_at_checked(len * 2).ok_or(Rejection::BadLength)?;
    let mut data = [0; 64];
    for (byte, pair) in data.iter_mut().zip(digits.chunks_exact(2)) {
        *byte = hex_number(pair).ok_or(Rejection::BadHex)? as u8;
    }
    let frame = Frame::new(id, kind, data.get(..len).unwrap_or_default()).ok_or(Rejection::TooLong)?;
    Ok((frame, stamp(rest)?))
}

/// Milliseconds after a frame, where the adapter stamps.
fn stamp(rest: &[u8]) -> Result<Option<u16>, Rejection> {
    match rest.len() {
        0 => Ok(None),
        4 => {
            let millis = hex_number(rest).ok_or(Rejection::BadStamp)?;
            let millis = u16::try_from(millis).ok().filter(|millis| *millis < 60_000);
            millis.map(Some).ok_or(Rejection::BadStamp)
        }
        _ => Err(Rejection::BadLength),
    }
}

/// `sb256256`: state, receive and transmit error counters. The letters are those of the kernel's driver.
fn state(rest: &[u8]) -> Result<ControllerState, Rejection> {
    match (rest.first(), rest.len()) {
        (Some(b'a'), 7) => Ok(ControllerState::Active),
        (Some(b'w'), 7) => Ok(ControllerState::Warning),
        (Some(b'p'), 7) => Ok(ControllerState::Passive),
        (Some(b'b'), 7) => Ok(ControllerState::BusOff),
        (_, 7) => Err(Rejection::Unsupported),
        _ => Err(Rejection::BadLength),
    }
}

/// `e3bcO`: how many letters, and the letters, as an error frame with the bits of the kernel's `linux/can/error.h`.
fn errors(rest: &[u8]) -> Result<Frame, Rejection> {
    let (&count, letters) = rest.split_first().ok_or(Rejection::BadLength)?;
    if hex(count).map(usize::from) != Some(letters.len()) {
        return Err(Rejection::BadLength);
    }
    const CONTROLLER: u32 = 0x04;
    const PROTOCOL: u32 = 0x08;
    const NO_ACK: u32 = 0x20;
    const BUS_ERROR: u32 = 0x80;
    let (mut class, mut data) = (0, [0u8; 8]);
    for letter in letters {
        // class, bit of byte 1 (controller), bit of byte 2 (kind), place in byte 3
        let (bits, controller, kind, place) = match letter {
            b'a' => (NO_ACK | BUS_ERROR, 0, 0, 0),
            b'b' => (PROTOCOL | BUS_ERROR, 0, 0x08, 0),
            b'B' => (PROTOCOL | BUS_ERROR, 0, 0x10, 0),
            b'c' => (PROTOCOL | BUS_ERROR, 0, 0, 0x08),
            b'f' => (PROTOCOL | BUS_ERROR, 0, 0x02, 0),
            b's' => (PROTOCOL | BUS_ERROR, 0, 0x04, 0),
            b'o' => (CONTROLLER, 0x01, 0, 0),
            b'O' => (CONTROLLER, 0x02, 0, 0),
            _ => return Err(Rejection::Unsupported),
        };
        class |= bits;
        data[1] |= controller;
        data[2] |= kind;
        data[3] |= place;
    }
    Frame::new(Id::Extended(class), FrameKind::Error, &data).ok_or(Rejection::TooLong)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn said(bytes: &[u8]) -> Vec<Said> {
        let (mut lines, mut all) = (Lines::default(), Vec::new());
        lines.push(bytes, |said| all.push(said));
        all
    }

    fn data(id: Id, bytes: &[u8]) -> Frame {
        Frame::new(id, FrameKind::Data, bytes).unwrap()
    }

    /// The examples of the kernel's driver and of the protocol's text.
    #[test]
    fn what_the_published_examples_say() {
        let frame = |frame| vec![Said::Frame(frame, None)];
        assert_eq!(said(b"t4563112233\r"), frame(data(Id::Standard(0x456), &[0x11, 0x22, 0x33])));
        assert_eq!(said(b"T12ABCDEF2AA55\r"), frame(data(Id::Extended(0x12AB_CDEF), &[0xAA, 0x55])));
        assert_eq!(said(b"r1230\r"), frame(Frame::remote(Id::Standard(0x123), 0)));
        assert_eq!(said(b"R123456784\r"), frame(Frame::remote(Id::Extended(0x1234_5678), 4)));
        assert_eq!(
            said(b"sb256256\rsa057033\r"),
            [Said::State(ControllerState::BusOff), Said::State(ControllerState::Active)]
        );
        let longest = b"T1FFFFFFF80011223344556677EA5F\r";
        let eight = data(Id::Extended(0x1FFF_FFFF), &[0, 0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77]);
        assert_eq!((longest.len() - 1, said(longest)), (30, vec![Said::Frame(eight, Some(59_999))]));
        assert_eq!(said(b"\r\x07"), [Said::Done, Said::Refused]);
    }

    #[test]
    fn errors_become_the_error_frames_that_a_socket_gives() {
        let ack = Frame::new(Id::Extended(0xA0), FrameKind::Error, &[0; 8]).unwrap();
        assert_eq!(said(b"e1a\r"), [Said::Frame(ack, None)]);
        let three = Frame::new(Id::Extended(0x8C), FrameKind::Error, &[0, 2, 8, 8, 0, 0, 0, 0]).unwrap();
        assert_eq!(said(b"e3bcO\r"), [Said::Frame(three, None)]);
        assert_eq!(said(b"e2a\r"), [Said::Bad(Rejection::BadLength)]);
    }

    #[test]
    fn fd_frames_have_their_lengths_and_flags() {
        let line = format!("b123A{}\r", "5A".repeat(16));
        let frame = Frame::new(Id::Standard(0x123), FrameKind::Fd(5), &[0x5A; 16]).unwrap();
        assert_eq!(said(line.as_bytes()), [Said::Frame(frame, None)]);
        let longest = format!("D1234567FF{}0001\r", "00".repeat(64));
        assert!(matches!(said(longest.as_bytes())[..], [Said::Frame(frame, Some(1))] if frame.len() == 64));
    }

    #[test]
    fn what_is_wrong_has_its_reason() {
        for (line, reason) in [
            ("t8001", Rejection::BadId),
            ("tXYZ0", Rejection::BadId),
            ("T200000000", Rejection::BadId),
            ("t1239", Rejection::TooLong),
            ("t12321", Rejection::BadLength),
            ("t1231GG", Rejection::BadHex),
            ("t12311AFFFF", Rejection::BadStamp),
            ("t12", Rejection::BadLength),
            ("AT+GCAP", Rejection::Unsupported),
        ] {
            assert_eq!(said(format!("{line}\r").as_bytes()), [Said::Bad(reason)], "{line}");
        }
        let long = [b"t".repeat(5000), b"\rt1230\r".to_vec()].concat();
        let frame = Said::Frame(data(Id::Standard(0x123), &[]), None);
        assert_eq!(said(&long), [Said::Bad(Rejection::Overlong), frame]);
    }

    /// No byte string that opens an adapter as a member of the bus or sends a frame is among the commands.
    #[test]
    fn nothing_that_transmits_can_be_said_to_an_adapter() {
        let mut commands = vec![SetUp::Close, SetUp::Stamp, SetUp::Listen];
        commands.extend(Speed::ALL.iter().map(|speed| SetUp::Speed(*speed)));
        for command in commands {
            let bytes = command.bytes();
            assert!(matches!(bytes[0], b'C' | b'Z' | b'L' | b'S') && bytes.len() <= 3, "{bytes:?}");
            assert_eq!(bytes.iter().position(|byte| *byte == b'\r'), Some(bytes.len() - 1));
        }
    }

    proptest! {
        #[test]
        fn however_it_is_cut_the_same_is_said(bytes: Vec<u8>, text in "[tTrRdse][0-9A-F]{0,40}\r", cut in 0usize..40) {
            let all = [bytes.as_slice(), b"\r", text.as_bytes()].concat();
            let cut = cut.min(all.len());
            let (mut lines, mut pieces) = (Lines::default(), Vec::new());
            lines.push(&all[..cut], |said| pieces.push(said));
            lines.push(&all[cut..], |said| pieces.push(said));
            prop_assert_eq!(pieces, said(&all));
        }

        #[test]
        fn a_frame_comes_back(id in 0u32..=Id::EXTENDED_MAX, bytes in proptest::collection::vec(any::<u8>(), 0..=8), stamp in 0u16..60_000) {
            let hex: String = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
            let line = format!("T{id:08X}{}{hex}{stamp:04X}\r", bytes.len());
            prop_assert_eq!(said(line.as_bytes()), [Said::Frame(data(Id::Extended(id), &bytes), Some(stamp))]);
        }
    }
}

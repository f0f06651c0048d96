//! The bytes that the kernel gives for a frame (`struct can_frame`, `struct canfd_frame`: linux/can.h).

use crate::model::{Frame, FrameKind, Id};

/// Bytes of a classical frame and of an FD frame.
const CLASSIC: usize = 16;
pub(super) const MOST: usize = 72;
const EXTENDED: u32 = 0x8000_0000;
const REMOTE: u32 = 0x4000_0000;
const ERROR: u32 = 0x2000_0000;

/// The frame; `None` for bytes that are none.
pub(super) fn frame(bytes: &[u8]) -> Option<Frame> {
    let is_fd = match bytes.len() {
        CLASSIC => false,
        MOST => true,
        _ => return None,
    };
    let (id, rest) = bytes.split_first_chunk()?;
    let id = u32::from_ne_bytes(*id);
    let [len, flags, _, _, data @ ..] = rest else { return None };
    let data = data.get(..usize::from(*len))?;
    let number = id & Id::EXTENDED_MAX;
    if id & ERROR != 0 {
        return Frame::new(Id::Extended(number), FrameKind::Error, data);
    }
    let width = if id & EXTENDED != 0 {
        Id::Extended(number)
    } else {
        Id::Standard(u16::try_from(number).ok().filter(|id| *id <= Id::STANDARD_MAX)?)
    };
    if is_fd {
        return Frame::new(width, FrameKind::Fd(flags & 0xF), data);
    }
    if id & REMOTE != 0 { Some(Frame::remote(width, *len)) } else { Frame::new(width, FrameKind::Data, data) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn classic(id: u32, data: &[u8]) -> Vec<u8> {
        let mut bytes = id.to_ne_bytes().to_vec();
        bytes.extend([data.len() as u8, 0, 0, 0]);
        bytes.extend(data);
        bytes.resize(CLASSIC, 0);
        bytes
    }

    #[test]
    fn every_kind_of_frame_is_told_by_its_bits() {
        let data = Frame::new(Id::Standard(0x123), FrameKind::Data, &[1, 2]);
        assert_eq!(frame(&classic(0x123, &[1, 2])), data);
        let extended = Frame::new(Id::Extended(0x123), FrameKind::Data, &[1, 2]);
        assert_eq!(frame(&classic(0x8000_0123, &[1, 2])), extended);
        assert_eq!(frame(&classic(0x4000_0123, &[0; 3])), Some(Frame::remote(Id::Standard(0x123), 3)));
        let error = Frame::new(Id::Extended(0x44), FrameKind::Error, &[0; 8]);
        assert_eq!(frame(&classic(0x2000_0044, &[0; 8])), error);
        let mut fd = 0x8000_0001_u32.to_ne_bytes().to_vec();
        fd.extend([12, 5, 0, 0]);
        fd.extend([7; 64]);
        assert_eq!(frame(&fd), Frame::new(Id::Extended(1), FrameKind::Fd(5), &[7; 12]));
    }

    #[test]
    fn what_cannot_be_is_no_frame() {
        assert_eq!(frame(&[0; 15]), None);
        assert_eq!(frame(&classic(0x800, &[])), None, "no standard id is that large");
        let mut long = classic(0x123, &[]);
        long[4] = 9;
        assert_eq!(frame(&long), None);
    }
}

//! What an error frame says about the controller. Bits: linux/can/error.h of the kernel.

use crate::model::input::ControllerState;
use crate::model::{Frame, Id};

const CONTROLLER_PROBLEM: u32 = 0x004;
const BUS_OFF: u32 = 0x040;
const RESTARTED: u32 = 0x100;
/// Of byte 1 of a controller problem.
const RECEIVE_OVERFLOW: u8 = 0x01;
const WARNING: u8 = 0x04 | 0x08;
const PASSIVE: u8 = 0x10 | 0x20;
const ACTIVE: u8 = 0x40;

/// What an error frame told.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Told {
    pub(super) state: Option<ControllerState>,
    /// The controller's own buffer overran: at least one frame is lost.
    pub(super) overflow: bool,
}

pub(super) fn read(frame: &Frame) -> Told {
    let Id::Extended(class) = frame.id else { return Told::default() };
    let problem = if class & CONTROLLER_PROBLEM != 0 { frame.data().get(1).copied().unwrap_or(0) } else { 0 };
    let state = if class & BUS_OFF != 0 {
        Some(ControllerState::BusOff)
    } else if problem & PASSIVE != 0 {
        Some(ControllerState::Passive)
    } else if problem & WARNING != 0 {
        Some(ControllerState::Warning)
    } else if problem & ACTIVE != 0 || class & RESTARTED != 0 {
        Some(ControllerState::Active)
    } else {
        None
    };
    Told { state, overflow: problem & RECEIVE_OVERFLOW != 0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::FrameKind;

    fn told(class: u32, problem: u8) -> Told {
        read(&Frame::new(Id::Extended(class), FrameKind::Error, &[0, problem, 0, 0, 0, 0, 0, 0]).unwrap())
    }

    #[test]
    fn states_and_overruns_by_their_bits() {
        let state = |state| Told { state: Some(state), overflow: false };
        assert_eq!(told(0x40, 0), state(ControllerState::BusOff));
        assert_eq!(told(0x4, 0x08), state(ControllerState::Warning));
        assert_eq!(told(0x4, 0x30), state(ControllerState::Passive));
        assert_eq!(told(0x4, 0x40), state(ControllerState::Active));
        assert_eq!(told(0x100, 0), state(ControllerState::Active));
        assert_eq!(told(0x4, 0x01), Told { state: None, overflow: true });
        assert_eq!(told(0x88, 0x30), Told::default(), "byte 1 counts only with a controller problem");
    }
}

//! Interfaces, and a sender: the only thing here that ever writes to a bus.

use cellwright::model::{Body, Frame, FrameKind, Id};
use cellwright::sim::{Options, Simulation};
use socketcan::nl::{CanCtrlMode, CanInterface};
use socketcan::{CanErrorFrame, CanFrame, CanSocket, EmbeddedFrame, ExtendedId, Frame as _, Socket, StandardId};
use std::time::{Duration, Instant};

/// Both controllers hang on one emulated bus: one sends, the other only listens.
pub(crate) const TALKS: &str = "can0";
pub(crate) const LISTENS: &str = "can1";
pub(crate) const VIRTUAL: &str = "vcan0";

/// Brings all interfaces up.
pub(crate) fn prepare() {
    create_virtual();
    for (name, listen_only) in [(TALKS, false), (LISTENS, true)] {
        let interface = CanInterface::open(name).expect("the emulated controller is there");
        interface.set_bitrate(250_000, None).expect("a bit rate");
        interface.set_ctrlmode(CanCtrlMode::ListenOnly, listen_only).expect("a mode");
        interface.bring_up().expect("up");
    }
}

pub(crate) fn create_virtual() {
    CanInterface::create_vcan(VIRTUAL, None).expect("a virtual interface");
    link(VIRTUAL, true);
}

pub(crate) fn remove_virtual() {
    CanInterface::open(VIRTUAL).expect("there").delete().map_err(|(_, error)| error).expect("deleted");
}

pub(crate) fn link(name: &str, up: bool) {
    let interface = CanInterface::open(name).expect("there");
    if up { interface.bring_up() } else { interface.bring_down() }.expect("the link changes");
}

/// Frames of an invented bank, round and round.
pub(crate) fn frames() -> impl Iterator<Item = Frame> {
    let once: Vec<Frame> = Simulation::new("cold-morning", Options { days: Some(0.01), ..Options::default() })
        .expect("a scenario")
        .filter_map(|input| if let Body::Frame(frame) = input.body { Some(frame) } else { None })
        .collect();
    once.into_iter().cycle()
}

pub(crate) struct Sender {
    socket: CanSocket,
}

impl Sender {
    pub(crate) fn on(name: &str) -> Self {
        Self { socket: CanSocket::open(name).expect("a socket to send on") }
    }

    pub(crate) fn frame(&self, frame: &Frame) {
        let frame = match (frame.id, frame.kind) {
            (Id::Extended(id), FrameKind::Data) => CanFrame::new(ExtendedId::new(id).unwrap(), frame.data()).unwrap(),
            (Id::Standard(id), FrameKind::Data) => CanFrame::new(StandardId::new(id).unwrap(), frame.data()).unwrap(),
            other => panic!("the bank sends no {other:?}"),
        };
        for _ in 0..1000 {
            match self.socket.write_frame(&frame) {
                Ok(()) => return,
                Err(_) => std::thread::sleep(Duration::from_millis(1)), // the queue of the controller is full
            }
        }
        panic!("the bus takes no frame");
    }

    /// Sends `count` frames, so many a second.
    pub(crate) fn at(&self, frames: impl Iterator<Item = Frame>, count: usize, per_second: f64) {
        let start = Instant::now();
        for (number, frame) in frames.take(count).enumerate() {
            let due = Duration::from_secs_f64(number as f64 / per_second);
            if let Some(wait) = due.checked_sub(start.elapsed()).filter(|wait| wait.as_millis() > 2) {
                std::thread::sleep(wait);
            }
            self.frame(&frame);
        }
    }

    /// Sends `count` frames one by one: the emulated controller holds no more than five that wait to be read.
    pub(crate) fn gently(&self, frames: impl Iterator<Item = Frame>, count: usize) {
        for frame in frames.take(count) {
            self.frame(&frame);
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// An error frame as a controller reports it.
    pub(crate) fn error(&self, class: u32, data: [u8; 8]) {
        let frame = CanErrorFrame::new_error(class | 0x2000_0000, &data).expect("an error frame");
        self.socket.write_frame(&frame).expect("it is looped back");
        let _ = frame.raw_id();
    }
}

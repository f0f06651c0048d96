//! The values of a row as frames of our own format, with a hello and the description of the bank now and then.

use crate::layout::own::{self, FRAMES, OwnFrame, SENDERS};
use crate::model::{Bank, Frame, Slot, Stamp, Value};

/// Hello and description come again after so long, s: who reads from the middle of the log needs them.
const GREET_EVERY: f64 = 600.0;

/// A frame that is written for every row.
#[derive(Debug, Clone, Copy)]
struct Sent {
    frame: &'static OwnFrame,
    part: u8,
    sender: u8,
}

/// Writes frames.
#[derive(Debug)]
pub(super) struct Writer {
    bank: Bank,
    /// Frames in which a column has a place.
    measured: Vec<Sent>,
    /// Frames in which the description has something to say.
    described: Vec<Sent>,
    greeted: Option<Stamp>,
}

impl Writer {
    pub(super) fn new(bank: Bank, columns: &[Slot]) -> Self {
        let measured = frames_with(|slot| columns.contains(&slot));
        let described = frames_with(|slot| bank.told(slot).is_some());
        Self { bank, measured, described, greeted: None }
    }

    pub(super) fn row(&mut self, stamp: Stamp, values: &[(Slot, Value)], mut each: impl FnMut(Stamp, Frame)) {
        if self.greeted.is_none_or(|at| stamp.since(at) >= GREET_EVERY) {
            self.greeted = Some(stamp);
            let mut senders: Vec<u8> = self.measured.iter().chain(&self.described).map(|sent| sent.sender).collect();
            senders.sort_unstable();
            senders.dedup();
            senders.into_iter().for_each(|sender| each(stamp, own::hello(sender)));
            for Sent { frame, part, sender } in &self.described {
                let told = |slot| self.bank.told(slot).map_or(Value::Missing, Value::Present);
                each(stamp, own::encode(frame, *part, *sender, told));
            }
        }
        for Sent { frame, part, sender } in &self.measured {
            let value = |slot| values.iter().find(|(of, _)| *of == slot).map_or(Value::Missing, |(_, value)| *value);
            each(stamp, own::encode(frame, *part, *sender, value));
        }
    }
}

/// Every frame that has a field for a slot that is asked for.
fn frames_with(asked: impl Fn(Slot) -> bool) -> Vec<Sent> {
    let mut found = Vec::new();
    for sender in 0..SENDERS as u8 {
        for frame in FRAMES.iter().filter(|frame| frame.is_sent_by(sender)) {
            let parts = (0..frame.repeat).filter(|part| frame.slots(*part, sender).any(&asked));
            found.extend(parts.map(|part| Sent { frame, part, sender }));
        }
    }
    found
}

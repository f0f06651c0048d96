//! How good the data is: frames, refusals, losses, links, clock steps. Counted, never a reason to stop.

use super::Told;
use crate::model::input::ControllerState;
use crate::model::snapshot::Quality;
use crate::model::{Body, Frame, FrameKind, Rejection, Stamp};
use serde::{Deserialize, Serialize};

/// Remarks that are kept.
const NOTES_KEPT: usize = 64;

/// Counts of everything that arrived.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DataQuality {
    frames: u64,
    decoded: u64,
    invalid: u64,
    error_frames: u64,
    first: Option<Stamp>,
    last: Option<Stamp>,
    rejected: [u64; Rejection::ALL.len()],
    unrecorded: u64,
    lost: u64,
    clock_steps: u64,
    links: Vec<(u8, bool, Option<ControllerState>)>,
    notes: Vec<(Stamp, String)>,
}

impl DataQuality {
    /// Counts a bus frame.
    #[inline]
    pub fn frame(&mut self, frame: &Frame, told: &Told, wall: Stamp) {
        if frame.kind == FrameKind::Error {
            self.error_frames += 1;
            return;
        }
        self.frames += 1;
        self.decoded += u64::from(told.known);
        self.invalid += u64::from(told.invalid);
        self.first = self.first.or(Some(wall));
        self.last = Some(wall);
        if let Some(beat) = told.beat {
            self.lost += u64::from(beat.lost);
        }
    }

    /// Takes an input that is no frame.
    pub fn event(&mut self, body: &Body, wall: Stamp) {
        match body {
            Body::Rejected { reason, count } => self.rejected[*reason as usize] += u64::from(*count),
            Body::Lost { count, .. } => self.lost += u64::from(*count),
            Body::Gap { count } => self.unrecorded += u64::from(*count),
            Body::ClockStep { .. } => self.clock_steps += 1,
            Body::Link { channel, up } => self.link(*channel).1 = *up,
            Body::Controller { channel, state } => self.link(*channel).2 = Some(*state),
            Body::Note(text) => {
                if self.notes.len() == NOTES_KEPT {
                    self.notes.remove(0);
                }
                self.notes.push((wall, text.clone()));
            }
            _ => {}
        }
    }

    fn link(&mut self, channel: u8) -> &mut (u8, bool, Option<ControllerState>) {
        let index = self.links.iter().position(|link| link.0 == channel).unwrap_or_else(|| {
            self.links.push((channel, true, None));
            self.links.len() - 1
        });
        &mut self.links[index]
    }

    /// Remarks, oldest first.
    #[must_use]
    pub fn notes(&self) -> &[(Stamp, String)] {
        &self.notes
    }

    /// For screens and reports.
    #[must_use]
    pub fn show(&self) -> Quality {
        let rejected = Rejection::ALL.iter().zip(self.rejected).filter(|(_, count)| *count > 0);
        Quality {
            frames: self.frames,
            decoded: self.decoded,
            invalid_values: self.invalid,
            error_frames: self.error_frames,
            first: self.first,
            last: self.last,
            rejected: rejected.map(|(reason, count)| (*reason, count)).collect(),
            gaps: 0,
            unrecorded: self.unrecorded,
            lost: self.lost,
            clock_steps: self.clock_steps,
            links: self.links.clone(),
        }
    }
}

//! How good the data is: frames, refusals, losses, links, clock steps. Counted, never a reason to stop.

use crate::model::input::ControllerState;
use crate::model::snapshot::Quality;
use crate::model::{Beat, Body, Frame, FrameKind, Heard, Rejection, Stamp};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Remarks that are kept.
const NOTES_KEPT: usize = 64;

/// Frames over a stretch of time.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Stretch {
    since: Option<Stamp>,
    sent: u64,
    lost: u64,
}

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
    gaps: u64,
    /// Frames sent and lost in the stretch under way, by the senders' counters and ours.
    stretch: Stretch,
    /// The last stretch that was long enough to judge: frames sent, frames lost.
    judged: Option<(u64, u64)>,
    /// How often a stretch was judged.
    stretches: u32,
    /// Engine time and uptime, s, of each sender's last beat.
    beats: BTreeMap<u8, (Stamp, f64)>,
    /// The largest clock step that was told of and its moment in engine time.
    step: Option<(Stamp, f64)>,
    links: Vec<(u8, bool, Option<ControllerState>)>,
    notes: Vec<(Stamp, String)>,
}

impl DataQuality {
    /// Counts a bus frame.
    #[inline]
    pub fn frame(&mut self, frame: &Frame, told: &Heard, wall: Stamp) {
        if frame.kind == FrameKind::Error {
            self.error_frames += 1;
            return;
        }
        self.frames += 1;
        self.decoded += u64::from(told.known);
        self.invalid += u64::from(told.invalid);
        self.first = self.first.or(Some(wall));
        self.last = Some(wall);
        self.stretch.sent += 1;
        if let Some(beat) = told.beat {
            self.lose(beat.lost);
        }
    }

    fn lose(&mut self, count: u32) {
        self.lost += u64::from(count);
        self.stretch.lost += u64::from(count);
        self.stretch.sent += u64::from(count);
    }

    /// Takes a beat; returns by how many seconds the clock stepped forward over it, when the sender's own time
    /// and counter show that it did: it went on without missing while the clock leapt.
    pub fn beat(&mut self, beat: &Beat, now: Stamp, leap_secs: f64) -> Option<f64> {
        let before = self.beats.insert(beat.sender, (now, beat.uptime));
        let (at, uptime) = before.filter(|_| !beat.restarted)?;
        let leap = now.since(at) - (beat.uptime - uptime);
        (leap > leap_secs && beat.lost == 0).then_some(leap)
    }

    /// Engine time of a sender's last beat.
    #[must_use]
    pub fn beat_at(&self, sender: u8) -> Option<Stamp> {
        self.beats.get(&sender).map(|(at, _)| *at)
    }

    /// A clock step worth telling.
    pub fn stepped(&mut self, now: Stamp, secs: f64) {
        self.step = Some((now, secs));
    }

    /// The last clock step worth telling: engine time and seconds, positive forward.
    #[must_use]
    pub fn step(&self) -> Option<(Stamp, f64)> {
        self.step
    }

    /// A pack fell silent that should not have.
    pub fn gap(&mut self) {
        self.gaps += 1;
    }

    /// What looked like a silence was a leap of the clock.
    pub fn no_gap(&mut self) {
        self.gaps = self.gaps.saturating_sub(1);
    }

    /// Closes the stretch under way when it is long enough to judge.
    pub fn judge_stretch(&mut self, now: Stamp, least_secs: f64, least_frames: f64) {
        let since = *self.stretch.since.get_or_insert(now);
        if now.since(since) >= least_secs && self.stretch.sent as f64 >= least_frames {
            self.judged = Some((self.stretch.sent, self.stretch.lost));
            self.stretches = self.stretches.saturating_add(1);
            self.stretch = Stretch { since: Some(now), ..Stretch::default() };
        }
    }

    /// The last stretch judged: frames sent, frames lost, and its number.
    #[must_use]
    pub fn judged(&self) -> Option<(u64, u64, u32)> {
        self.judged.map(|(sent, lost)| (sent, lost, self.stretches))
    }

    /// Whether any sender counts its frames.
    #[must_use]
    pub fn has_counter(&self) -> bool {
        !self.beats.is_empty()
    }

    /// Takes an input that is no frame.
    pub fn event(&mut self, body: &Body, wall: Stamp) {
        match body {
            Body::Rejected { reason, count } => self.rejected[*reason as usize] += u64::from(*count),
            Body::Lost { count, .. } => self.lose(*count),
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
            gaps: self.gaps,
            unrecorded: self.unrecorded,
            lost: self.lost,
            clock_steps: self.clock_steps,
            links: self.links.clone(),
        }
    }
}

//! Several sources as one row of inputs: ordered by stamp, never backwards, with the clock's steps, sleep and
//! the names of interfaces as whoever reads the recording will see them.
//!
//! Inside runs a steady time that nobody sets. Live sources merge within a stated window; a piped log keeps its
//! lines' stamps, and when there is nothing but logs their stamps are the time.

use super::timeline::Timeline;
use super::{Batch, Moment};
use crate::model::{Body, Frame, Input, NANOS_PER_SEC, Rejection, Stamp};
use crate::wire::Interfaces;
use std::collections::BTreeMap;

/// What comes this late is still put into its place, ns. Common practice, no source.
pub const WINDOW: i64 = 50_000_000;
/// A piped log that is silent for longer moves time on by itself, that much behind, ns: networks stutter.
const PIPE_SLACK: i64 = 5 * NANOS_PER_SEC;
/// A piped log whose clock is this close to ours needs no shift, ns.
const SAME_CLOCK: i64 = 2 * NANOS_PER_SEC;
/// Inputs that wait at most while another source is silent.
const MOST_WAITING: usize = 100_000;

/// Who stamps what a source delivers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// This computer, on arrival.
    Live,
    /// Whoever wrote the log.
    Stamped,
}

/// What is remembered of a source.
#[derive(Debug, Clone)]
struct Lane {
    kind: Kind,
    names: Interfaces,
    /// Channel of the merged row by the source's own.
    channels: Vec<Option<u8>>,
    /// A log's stamps less steady time; none before its first.
    offset: Option<i64>,
    /// Steady time of its newest input.
    newest: i64,
    /// When, by this computer's steady time, something last came.
    heard: i64,
    ended: bool,
}

/// An input on its way: what, from whom; no source for the program's own.
#[derive(Debug, Clone)]
enum Waiting {
    From(usize, Body),
    Own(Body),
    /// The wall clock of the row is steady time plus this from here on.
    Step(i64),
}

/// The merged row.
#[derive(Debug, Clone)]
pub struct Merge {
    timeline: Timeline,
    lanes: Vec<Lane>,
    names: Interfaces,
    waiting: BTreeMap<(i64, u64), Waiting>,
    sequence: u64,
    /// Steady time up to which everything was released.
    released: i64,
    /// Wall less steady time of the released row.
    offset: i64,
    /// There are only logs: their stamps are the time.
    only_logs: bool,
}

impl Merge {
    /// A row of these sources, from this moment on.
    #[must_use]
    pub fn new(now: Moment, sources: &[Kind]) -> Self {
        let only_logs = sources.iter().all(|kind| *kind == Kind::Stamped) && !sources.is_empty();
        let timeline = Timeline::new(now);
        let lane = |kind: &Kind| Lane {
            kind: *kind,
            names: Interfaces::new(),
            channels: Vec::new(),
            offset: None,
            newest: i64::MIN,
            heard: now.steady,
            ended: false,
        };
        Self {
            offset: if only_logs { 0 } else { timeline.offset() },
            released: if only_logs { i64::MIN } else { now.steady },
            lanes: sources.iter().map(lane).collect(),
            timeline,
            names: Interfaces::new(),
            waiting: BTreeMap::new(),
            sequence: 0,
            only_logs,
        }
    }

    /// Names of the interfaces of the row, in the order in which they were first released.
    #[must_use]
    pub fn names(&self) -> &Interfaces {
        &self.names
    }

    /// Whether every source has ended.
    #[must_use]
    pub fn is_over(&self) -> bool {
        !self.lanes.is_empty() && self.lanes.iter().all(|lane| lane.ended)
    }

    /// Looks at the clock: a step and a sleep become inputs. Call it before the batches of that moment are taken.
    pub fn look(&mut self, now: Moment) {
        let change = self.timeline.look(now);
        if self.only_logs {
            return;
        }
        if let Some(secs) = change.slept {
            self.wait(now.steady, Waiting::Own(Body::Suspend { secs }));
        }
        if let Some(offset) = change.offset {
            self.wait(now.steady, Waiting::Step(offset));
        }
    }

    /// Takes what a source delivered.
    pub fn take(&mut self, batch: Batch, now: Moment) {
        let index = usize::from(batch.source);
        let Some(lane) = self.lanes.get_mut(index) else { return };
        lane.ended |= batch.ended;
        if let Some(names) = batch.names {
            lane.names = names;
        }
        if !batch.items.is_empty() {
            lane.heard = now.steady;
        }
        for (stamp, body) in batch.items {
            match self.lanes.get(index).map(|lane| lane.kind) {
                Some(Kind::Live) => self.wait(self.timeline.steady(stamp), Waiting::From(index, body)),
                _ => self.take_stamped(index, stamp, body, now),
            }
        }
    }

    /// Puts in an input of the program's own: an acknowledgement, a note, a gap.
    pub fn put(&mut self, body: Body, now: Moment) {
        let at = if self.only_logs { self.released } else { now.steady };
        self.wait(at, Waiting::Own(body));
    }

    /// Releases everything that is due; returns the wall stamp up to which time has passed.
    pub fn release(&mut self, now: Moment, mut each: impl FnMut(&Input, &Interfaces)) -> Option<Stamp> {
        let due = if self.only_logs { self.due_of_logs(now) } else { now.steady - WINDOW };
        self.release_until(due, &mut each);
        while self.waiting.len() > MOST_WAITING
            && let Some(((at, _), waiting)) = self.waiting.pop_first()
        {
            self.emit(at, waiting, &mut each);
        }
        self.released = self.released.max(due);
        self.time()
    }

    /// Releases all that waits, and the closing stamp.
    pub fn finish(&mut self, now: Moment, mut each: impl FnMut(&Input, &Interfaces)) {
        self.release_until(i64::MAX, &mut each);
        if !self.only_logs {
            self.released = self.released.max(now.steady);
        } else if !self.is_over() {
            self.released = self.released.max(self.due_of_logs(now));
        }
        if self.released != i64::MIN {
            self.emit(self.released, Waiting::Own(Body::Closing), &mut each);
        }
    }

    fn time(&self) -> Option<Stamp> {
        (self.released != i64::MIN).then(|| Stamp::from_nanos(self.released.saturating_add(self.offset)))
    }

    fn wait(&mut self, at: i64, waiting: Waiting) {
        self.sequence += 1;
        self.waiting.insert((at, self.sequence), waiting);
    }

    fn take_stamped(&mut self, index: usize, stamp: Stamp, body: Body, now: Moment) {
        let (only_logs, ours) = (self.only_logs, self.timeline.offset());
        let Some(lane) = self.lanes.get_mut(index) else { return };
        let first = || {
            let shift = stamp.nanos().saturating_sub(now.steady);
            if only_logs {
                0
            } else if (shift - ours).abs() < SAME_CLOCK {
                ours
            } else {
                shift
            }
        };
        let mut offset = *lane.offset.get_or_insert_with(first);
        let mut waiting = Waiting::From(index, body);
        if let Waiting::From(_, Body::ClockStep { old }) = waiting {
            offset = offset.saturating_add(stamp.nanos().saturating_sub(old.nanos()));
            lane.offset = Some(offset);
            waiting = Waiting::Step(offset);
        }
        let newest = if only_logs { i64::MAX } else { now.steady };
        let at = stamp.nanos().saturating_sub(offset).min(newest);
        lane.newest = lane.newest.max(at);
        match waiting {
            Waiting::Step(_) if !only_logs || index != 0 => {}
            Waiting::From(_, Body::Closing) => {}
            waiting => self.wait(at, waiting),
        }
    }

    /// Logs release up to where the slowest of those that still speak has come.
    fn due_of_logs(&self, now: Moment) -> i64 {
        let open = self.lanes.iter().filter(|lane| !lane.ended);
        let speaking = open.filter(|lane| now.steady - lane.heard < PIPE_SLACK);
        let newest = self.lanes.iter().map(|lane| lane.newest).max().unwrap_or(i64::MIN);
        let slowest = speaking.map(|lane| lane.newest).min().unwrap_or(newest);
        let silent = self.lanes.iter().filter(|lane| !lane.ended).map(|lane| now.steady - lane.heard).min();
        match silent.filter(|silent| *silent > PIPE_SLACK && newest != i64::MIN) {
            Some(silent) => newest.saturating_add(silent - PIPE_SLACK),
            None => slowest,
        }
    }

    fn release_until(&mut self, due: i64, each: &mut impl FnMut(&Input, &Interfaces)) {
        while let Some(next) = self.waiting.first_entry().filter(|next| next.key().0 <= due) {
            let ((at, _), waiting) = next.remove_entry();
            self.emit(at, waiting, each);
        }
    }

    fn emit(&mut self, at: i64, waiting: Waiting, each: &mut impl FnMut(&Input, &Interfaces)) {
        self.released = self.released.max(at);
        let old = Stamp::from_nanos(self.released.saturating_add(self.offset));
        let body = match waiting {
            Waiting::Own(body) => body,
            Waiting::From(index, body) => self.rename(index, body),
            Waiting::Step(offset) => {
                self.offset = offset;
                Body::ClockStep { old }
            }
        };
        let stamp = Stamp::from_nanos(self.released.saturating_add(self.offset));
        each(&Input { stamp, body }, &self.names);
    }

    /// The same input with the row's channel instead of the source's own.
    fn rename(&mut self, index: usize, body: Body) -> Body {
        let channel = match &body {
            Body::Frame(Frame { channel, .. }) | Body::Link { channel, .. } | Body::Controller { channel, .. } => {
                *channel
            }
            _ => return body,
        };
        match (self.channel(index, channel), body) {
            (Ok(channel), Body::Frame(frame)) => Body::Frame(frame.on(channel)),
            (Ok(channel), Body::Link { up, .. }) => Body::Link { channel, up },
            (Ok(channel), Body::Controller { state, .. }) => Body::Controller { channel, state },
            (Ok(_), body) => body,
            (Err(reason), _) => Body::Rejected { reason, count: 1 },
        }
    }

    fn channel(&mut self, index: usize, own: u8) -> Result<u8, Rejection> {
        let lane = self.lanes.get_mut(index).ok_or(Rejection::NoInterface)?;
        let place = usize::from(own);
        if let Some(Some(channel)) = lane.channels.get(place) {
            return Ok(*channel);
        }
        let name = lane.names.name(own).ok_or(Rejection::NoInterface)?;
        let channel = self.names.channel(name.as_bytes())?;
        if lane.channels.len() <= place {
            lane.channels.resize(place + 1, None);
        }
        if let Some(known) = lane.channels.get_mut(place) {
            *known = Some(channel);
        }
        Ok(channel)
    }
}

#[cfg(test)]
mod tests;

//! Frames into readings through a compiled map. One decoder for every bus; a bus is a map.
//!
//! Our own format goes beside everything else: the magic of its hello decides. A bank file's map is asked next. What
//! neither knows may belong to an open standard, which each interface speaks by itself or not at all.

mod bus;
mod counter;
mod holders;
mod members;
mod origins;
mod own;
mod reader;
mod remarks;
mod standard;
pub mod transport;

use crate::layout::{CompiledMap, own as format};
use crate::model::snapshot::{BusView, Origin};
use crate::model::{Beat, Dialect, Frame, FrameKind, Heard, Id, Quantity, Slot, Stamp, Value};
use counter::Counter;
use members::Instances;
use own::OwnState;
use reader::{Choice, Reader};
use serde::{Deserialize, Serialize};
use standard::Standard;
use std::sync::Arc;

/// What must be remembered between frames; saved and restored with the engine.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DecoderState {
    own: OwnState,
    reader: Reader,
    counters: Vec<Counter>,
}

impl DecoderState {
    /// A state that came from elsewhere, unless it is larger than it can be.
    #[must_use]
    pub fn checked(self) -> Option<Self> {
        (self.reader.is_in_bounds() && self.counters.len() <= MOST_COUNTERS).then_some(self)
    }
}

/// How buses are to be read.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// What every interface speaks beside our own format; none: found from the traffic.
    pub dialect: Option<Dialect>,
    /// Positive current is discharge on this bus, where its standard leaves that open.
    pub reversed: bool,
    /// Packs in the bank file, where there is one.
    pub packs: Option<usize>,
    /// Battery instance of IEC 61162-3 that each pack is; empty: not said.
    pub instances: Vec<u8>,
    /// The bank file's own map.
    pub map: Option<Arc<CompiledMap>>,
    /// How many counts each live counter of that map has before it begins anew, by its number.
    pub counters: Vec<u64>,
}

/// Live counters that are kept.
const MOST_COUNTERS: usize = 64;

/// The decoder: maps, and what must be remembered between frames.
#[derive(Debug, Clone)]
pub struct Decoder {
    map: Arc<CompiledMap>,
    file: Option<Arc<CompiledMap>>,
    /// Where the values of that map come from.
    file_origins: Option<Arc<[Origin]>>,
    /// Frames of our own format are read: not when another dialect was told.
    reads_own: bool,
    choice: Choice,
    /// Counts of each live counter.
    counters: Arc<[u64]>,
    state: DecoderState,
    /// What the last frame of a standard said.
    said: Vec<(Slot, Value)>,
}

impl Default for Decoder {
    fn default() -> Self {
        Self::new(Settings::default())
    }
}

impl Decoder {
    /// A decoder that has heard nothing. The maps of the standards are read here, once for the whole program.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        bus::STANDARDS.into_iter().for_each(|dialect| {
            Standard::of(dialect);
        });
        let Settings { dialect, reversed, packs, instances, map: file, counters } = settings;
        let reads_own = dialect.is_none_or(|told| told == Dialect::Own);
        let dialect = dialect.or(file.as_ref().map(|_| Dialect::File));
        Self {
            map: Arc::new(format::compile()),
            file_origins: file.as_deref().map(origins::of),
            file,
            reads_own,
            choice: Choice { dialect, reversed, packs, instances: Instances::of(&instances) },
            state: DecoderState {
                counters: vec![Counter::default(); counters.len().min(MOST_COUNTERS)],
                ..DecoderState::default()
            },
            counters: counters.into(),
            said: Vec::new(),
        }
    }

    /// What must be saved.
    #[must_use]
    pub fn state(&self) -> &DecoderState {
        &self.state
    }

    /// The same maps with a state that was saved.
    #[must_use]
    pub fn with_state(&self, state: DecoderState) -> Self {
        Self { state, said: Vec::new(), ..self.clone() }
    }

    /// Decodes a frame that came at `at`, engine time: `each` is called with every value of it.
    #[inline]
    pub fn frame(&mut self, at: Stamp, frame: &Frame, mut each: impl FnMut(Slot, Value)) -> Heard {
        let mut heard = Heard::default();
        if frame.kind != FrameKind::Data || !self.reads_own {
            return self.beside(at, frame, each);
        }
        let Some((group, sender)) = format::split(frame.id) else { return self.beside(at, frame, each) };
        if !self.state.own.hear(group, sender, frame) {
            return self.beside(at, frame, each);
        }
        if group == format::HELLO {
            heard.known = true;
            self.state.reader.buses.entry(frame.channel).or_default().own = true;
            return heard;
        }
        let Some(message) = self.map.find(frame.id) else { return heard };
        heard.known = true;
        self.map.read(message, frame, |slot, value| {
            heard.invalid += u32::from(matches!(value, Value::Invalid(_)));
            each(slot, value);
        });
        if group == format::BEAT {
            heard.beat = self.state.own.beat(sender, frame);
        }
        heard
    }

    /// Decodes a frame that is not of our own format.
    #[inline(never)]
    fn beside(&mut self, at: Stamp, frame: &Frame, mut each: impl FnMut(Slot, Value)) -> Heard {
        let mut heard = Heard::default();
        if !matches!(frame.kind, FrameKind::Data | FrameKind::Fd(_)) {
            return heard;
        }
        if let Some((map, message)) = self.file.as_ref().and_then(|map| Some((map, map.find(frame.id)?))) {
            heard.known = true;
            map.read(message, frame, |slot, value| {
                heard.invalid += u32::from(matches!(value, Value::Invalid(_)));
                if slot.quantity == Quantity::SenderFrames {
                    heard.beat = beat(&mut self.state.counters, &self.counters, (slot, value), at);
                } else {
                    each(slot, value);
                }
            });
            self.state.reader.buses.entry(frame.channel).or_default().file = true;
            return heard;
        }
        match self.choice.dialect {
            _ if frame.kind != FrameKind::Data => return heard,
            Some(Dialect::Own) => return heard,
            Some(Dialect::File) => {
                self.state.reader.notice(frame);
                return heard;
            }
            _ => {}
        }
        self.said.clear();
        let heard = self.state.reader.take(at, frame, self.choice, &mut self.said);
        self.said.iter().for_each(|(slot, value)| each(*slot, *value));
        heard
    }

    /// What the last frame of a standard said, for whoever must know how its values come to be sent.
    #[must_use]
    pub fn said(&self) -> &[(Slot, Value)] {
        &self.said
    }

    /// Name of the message that the maps made of a frame; none for a frame that they do not know.
    #[must_use]
    pub fn message(&self, frame: &Frame, heard: &Heard) -> Option<&str> {
        if !heard.known {
            return None;
        }
        let own = format::split(frame.id).filter(|(_, sender)| self.state.own.knows(*sender));
        if let Some((group, _)) = own {
            return if group == format::HELLO { Some("hello") } else { format::frame_of(group).map(|(f, _)| f.name) };
        }
        if let Some((map, message)) = self.file.as_ref().and_then(|map| Some((map, map.find(frame.id)?))) {
            return Some(map.name(message));
        }
        self.standard_message(frame.channel, frame.id)
    }

    fn standard_message(&self, channel: u8, id: Id) -> Option<&'static str> {
        let standard = Standard::of(self.state.reader.dialect(channel, self.choice)?)?;
        let message = standard.map.find(id);
        Some(message.map_or("part_of_a_long_message", |message| standard.map.name(message)))
    }

    /// What each interface speaks, and what must be known about it.
    #[must_use]
    pub fn buses(&self) -> Vec<BusView> {
        remarks::buses(&self.state.reader, self.choice)
    }
}

/// What a live counter tells.
fn beat(state: &mut [Counter], counts: &[u64], (slot, value): (Slot, Value), at: Stamp) -> Option<Beat> {
    let Value::Present(count) = value else { return None };
    let number = usize::from(slot.index);
    state.get_mut(number)?.hear(slot.index, count as u64, *counts.get(number)?, at)
}

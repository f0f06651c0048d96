//! Frames into readings through a compiled map. One decoder for every bus; a bus is a map.

mod own;

use crate::layout::{CompiledMap, own as format};
use crate::model::{Frame, FrameKind, Heard, Slot, Value};
use own::OwnState;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What must be remembered between frames; saved and restored with the engine.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DecoderState {
    own: OwnState,
}

/// The decoder: a map, and what must be remembered between frames.
#[derive(Debug, Clone)]
pub struct Decoder {
    map: Arc<CompiledMap>,
    state: DecoderState,
}

impl Default for Decoder {
    fn default() -> Self {
        Self::own()
    }
}

impl Decoder {
    /// A decoder of our own format.
    #[must_use]
    pub fn own() -> Self {
        Self { map: Arc::new(format::compile()), state: DecoderState::default() }
    }

    /// What must be saved.
    #[must_use]
    pub fn state(&self) -> &DecoderState {
        &self.state
    }

    /// The same map with a state that was saved.
    #[must_use]
    pub fn with_state(&self, state: DecoderState) -> Self {
        Self { map: Arc::clone(&self.map), state }
    }

    /// Decodes a frame: `each` is called with every value of it.
    #[inline]
    pub fn frame(&mut self, frame: &Frame, mut each: impl FnMut(Slot, Value)) -> Heard {
        let mut heard = Heard::default();
        if frame.kind != FrameKind::Data {
            return heard;
        }
        let Some((group, sender)) = format::split(frame.id) else { return heard };
        if !self.state.own.hear(group, sender, frame) {
            return heard;
        }
        if group == format::HELLO {
            heard.known = true;
            return heard;
        }
        let Some(message) = self.map.find(frame.id) else { return heard };
        heard.known = true;
        for (slot, value) in self.map.values(message, frame) {
            heard.invalid += u32::from(matches!(value, Value::Invalid(_)));
            each(slot, value);
        }
        if group == format::BEAT {
            heard.beat = self.state.own.beat(sender, frame);
        }
        heard
    }
}

//! The state as bytes and back: for seeking, restarting and attaching a screen.

use super::Pipeline;
use crate::decode::DecoderState;
use crate::engine::Engine;
use serde::{Deserialize, Serialize};

/// Version of the saved form. Raise it with every change of the state's shape.
const VERSION: u32 = 8;
/// Largest saved state that is read back, bytes.
const MOST: usize = 64 << 20;

/// A saved state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SavedState(Vec<u8>);

/// A saved state that cannot be taken up.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// Another version.
    #[error("the saved state has version {found}, this program reads version {VERSION}: start anew from the log")]
    Version {
        /// What was found.
        found: u32,
    },
    /// Broken.
    #[error("the saved state is broken ({0}): start anew from the log")]
    Broken(String),
}

#[derive(Serialize)]
struct Writing<'a> {
    version: u32,
    decoder: &'a DecoderState,
    engine: &'a Engine,
    /// Bank file that the recording holds.
    file: Option<&'a str>,
}

#[derive(Deserialize)]
struct Read {
    decoder: DecoderState,
    engine: Engine,
    file: Option<String>,
}

impl SavedState {
    /// Takes bytes from elsewhere; they are checked when they are restored.
    #[must_use]
    pub fn from_bytes(bytes: Vec<u8>) -> Self {
        Self(bytes)
    }

    /// The bytes.
    #[must_use]
    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }
}

impl Pipeline {
    /// Saves the state.
    ///
    /// # Errors
    /// [`RestoreError::Broken`] when the state cannot be written, which would be a defect.
    pub fn save(&self) -> Result<SavedState, RestoreError> {
        let writing = Writing {
            version: VERSION,
            decoder: self.decoder.state(),
            engine: &self.engine,
            file: self.recorded_text(),
        };
        postcard::to_stdvec(&writing).map(SavedState).map_err(|e| RestoreError::Broken(e.to_string()))
    }

    /// This pipeline's maps with a state that was saved.
    ///
    /// # Errors
    /// [`RestoreError`] when the bytes are of another version, too many or broken.
    pub fn restore(&self, saved: &SavedState) -> Result<Self, RestoreError> {
        let broken = |e: postcard::Error| RestoreError::Broken(e.to_string());
        if saved.0.len() > MOST {
            return Err(RestoreError::Broken(format!("{} bytes, at most {MOST} are read", saved.0.len())));
        }
        let (version, rest) = postcard::take_from_bytes::<u32>(&saved.0).map_err(broken)?;
        if version != VERSION {
            return Err(RestoreError::Version { found: version });
        }
        let read: Read = postcard::from_bytes(rest).map_err(broken)?;
        let too_large = || RestoreError::Broken("larger than any bank".into());
        let engine = read.engine.checked().ok_or_else(too_large)?;
        let state = read.decoder.checked().ok_or_else(too_large)?;
        let fresh = self.refiled(read.file.as_deref()).map_err(|error| RestoreError::Broken(error.to_string()))?;
        Ok(Self { decoder: fresh.decoder.with_state(state), engine, ..fresh })
    }
}

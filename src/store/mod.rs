//! What is kept: recordings.

mod recorder;
mod tape;

pub use recorder::{RecordError, Recorder, State};

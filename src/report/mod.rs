//! What was found, in words for people and in JSON for programs; and what single frames say.
//!
//! Nothing here knows where a finding or a frame came from. The same input gives the same output, byte for byte.

mod days;
mod estimates;
mod frames;
mod json;
mod limits;
mod scope;
mod signal;
mod sources;
mod survey;
mod text;
mod what_if;
mod words;
mod wrap;

pub use days::{days_json, days_text};
pub use frames::{FrameText, Line, Shown, Signal, ndjson as frame_ndjson, text as frame_text};
pub use json::{SCHEMA, json, json_with, line};
pub use limits::{limits_json, limits_text};
pub use scope::{NOT_A_PROTECTION, NOT_VISIBLE, scope};
pub use signal::{decimals, signal_name};
pub use sources::{sources_json, sources_text};
pub use survey::{survey_json, survey_text};
pub use text::text;
pub use what_if::{WhatIf, what_if_json, what_if_text};
pub use words::{refusal, rfc3339};

use crate::model::{Rejection, Snapshot};

/// What a report is made of.
#[derive(Debug, Clone, Copy)]
pub struct Report<'a> {
    /// The bank at the end of the input.
    pub snapshot: &'a Snapshot,
    /// Where each kind of line that was no frame first stood, as far as lines were read.
    pub first_refused: &'a [FirstRefused],
    /// Names of the interfaces, by channel; made harmless.
    pub interfaces: &'a [String],
}

/// The first line that was refused for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FirstRefused {
    /// The reason.
    pub reason: Rejection,
    /// Name of the file; made harmless.
    pub file: String,
    /// Number of the line, from 1.
    pub line: u64,
}

#[cfg(test)]
mod example;

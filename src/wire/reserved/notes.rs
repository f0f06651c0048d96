//! Notes: text in up to four parts of sixty bytes. What is still arriving, bank files too, is kept here.

use super::MOST;
use super::parts::Parts;
use crate::model::{Body, Rejection, clean};
use serde::{Deserialize, Serialize};

/// Most bytes of a note.
const MOST_TEXT: usize = 240;
/// Bytes of text in a part, after its number and the number of parts.
const PART: usize = MOST - 2;

/// A note whose parts are still arriving.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Notes {
    /// Number of the part that is due and of all parts; none when no note is open.
    due: Option<(u8, u8)>,
    text: Vec<u8>,
    /// The bank file that is arriving.
    pub(super) file: Parts,
}

impl Notes {
    /// Whether a note was begun and not finished.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        self.due.is_some()
    }

    /// Takes a part: number from 0, number of parts, text. A part that is not the one that is due drops the
    /// open note and is an error; a first part of several begins a new note all the same.
    pub(super) fn take(&mut self, fields: &[u8]) -> Result<Option<Body>, Rejection> {
        let [number, parts, text @ ..] = fields else { return Err(Rejection::BadInput) };
        let (number, parts) = (*number, *parts);
        let due = self.due.take();
        let in_order = due.map_or(number == 0, |due| due == (number, parts));
        let possible = number < parts && usize::from(parts) <= MOST_TEXT / PART;
        if !possible || (!in_order && number != 0) {
            return Err(Rejection::BadInput);
        }
        if number == 0 {
            self.text.clear();
        }
        self.text.extend_from_slice(text);
        self.due = Some((number + 1, parts)).filter(|(next, parts)| next < parts);
        match (in_order, self.due) {
            (false, _) => Err(Rejection::BadInput),
            (true, Some(_)) => Ok(None),
            (true, None) => self.whole().map(Some),
        }
    }

    fn whole(&mut self) -> Result<Body, Rejection> {
        let text = std::mem::take(&mut self.text);
        let text = std::str::from_utf8(&text).map_err(|_| Rejection::BadInput)?;
        Ok(Body::Note(harmless(text)))
    }
}

/// Clean text of at most 240 bytes.
fn harmless(text: &str) -> String {
    let mut text = clean(text, MOST_TEXT);
    while text.len() > MOST_TEXT {
        text.pop();
    }
    text
}

/// The parts of a note.
pub(super) fn split(text: &str, mut each: impl FnMut(&[u8])) {
    let text = harmless(text);
    let chunks = text.as_bytes().chunks(PART);
    let parts = chunks.len().max(1) as u8;
    let only = std::iter::once([].as_slice()).filter(|_| text.is_empty());
    for (number, chunk) in chunks.chain(only).enumerate() {
        let mut part = vec![number as u8, parts];
        part.extend_from_slice(chunk);
        each(&part);
    }
}

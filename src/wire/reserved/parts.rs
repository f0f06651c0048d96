//! A bank file in a recording: its text in parts, and at the end a checksum over all of it.

use super::MOST;
use crate::model::{Body, Rejection};
use crc::{CRC_64_XZ, Crc};
use serde::{Deserialize, Serialize};

/// Largest bank file that a recording holds, bytes.
pub const MOST_FILE: usize = 1 << 20;
/// Bytes of text in a part, after the place where it belongs.
const PART: usize = MOST - 3;
/// CRC-64/XZ, as the catalogue of parametrised CRC algorithms lists it.
const CHECK: Crc<u64> = Crc::<u64>::new(&CRC_64_XZ);

/// Checksum of a bank file's text.
#[must_use]
pub fn digest(text: &str) -> u64 {
    CHECK.checksum(text.as_bytes())
}

/// The parts that have arrived, in order.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Parts {
    text: Vec<u8>,
    /// A part is missing or stands in the wrong place: what follows is dropped up to the end.
    broken: bool,
}

impl Parts {
    /// Takes a part: three bytes with the place of its first byte, then the text.
    pub(super) fn take(&mut self, fields: &[u8]) -> Result<(), Rejection> {
        let [low, middle, high, part @ ..] = fields else { return Err(Rejection::BadInput) };
        let from = u32::from_le_bytes([*low, *middle, *high, 0]) as usize;
        if from == 0 {
            *self = Self::default();
        }
        if from != self.text.len() || from + part.len() > MOST_FILE {
            let told = std::mem::replace(&mut self.broken, true);
            return if told { Ok(()) } else { Err(Rejection::BadInput) };
        }
        self.text.extend_from_slice(part);
        Ok(())
    }

    /// The end, with the checksum of all parts. Without any part the checksum stands alone.
    pub(super) fn end(&mut self, digest: u64) -> Result<Body, Rejection> {
        let Self { text, broken } = std::mem::take(self);
        let whole = text.is_empty() || CHECK.checksum(&text) == digest;
        match std::str::from_utf8(&text) {
            Ok(text) if whole && !broken => Ok(Body::BankFile { digest, text: text.into() }),
            _ => Err(Rejection::BadInput),
        }
    }
}

/// The parts of a text, each with its place.
pub(super) fn split(text: &str, mut each: impl FnMut(&[u8], &[u8])) {
    let bytes = text.as_bytes().get(..MOST_FILE).unwrap_or(text.as_bytes());
    for (number, part) in bytes.chunks(PART).enumerate() {
        let from = ((number * PART) as u32).to_le_bytes();
        each(from.get(..3).unwrap_or_default(), part);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(text: &str) -> Vec<Vec<u8>> {
        let mut parts = Vec::new();
        split(text, |from, part| parts.push([from, part].concat()));
        parts
    }

    #[test]
    fn a_file_arrives_whole_or_not_at_all() {
        let text = "[[pack]]\ncells = 4\n".repeat(40);
        let sent = parts(&text);
        assert_eq!(sent.len(), text.len().div_ceil(59));
        let mut file = Parts::default();
        sent.iter().for_each(|part| file.take(part).unwrap());
        assert_eq!(file.end(digest(&text)), Ok(Body::BankFile { digest: digest(&text), text: text.as_str().into() }));
        for lost in 0..sent.len() {
            let some = sent.iter().enumerate().filter(|(number, _)| *number != lost);
            let refused = some.filter(|(_, part)| file.take(part).is_err()).count();
            assert!(refused <= 1, "told once");
            assert_eq!(file.end(digest(&text)), Err(Rejection::BadInput), "without part {lost}");
        }
        assert_eq!(file.end(7), Ok(Body::BankFile { digest: 7, text: "".into() }));
    }

    #[test]
    fn the_checksum_is_the_one_of_the_catalogue() {
        // Its check value over 123456789, in the catalogue: 995DC9BBDF1939FA.
        assert_eq!(digest("123456789"), 0x995D_C9BB_DF19_39FA);
    }

    #[test]
    fn more_than_a_file_is_not_gathered() {
        let mut file = Parts::default();
        let mut refused = 0;
        for number in 0..400_000_u32 {
            let from = (number * 59).to_le_bytes();
            refused += usize::from(file.take(&[&from[..3], &[b'a'; 59]].concat()).is_err());
        }
        assert!(refused >= 1 && file.text.len() <= MOST_FILE);
    }
}

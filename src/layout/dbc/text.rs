//! Bytes of a DBC into text.

use super::error::{Problem, Trouble};
use std::borrow::Cow;

/// Bytes of a DBC, at most; those of whole vehicles have a few million (common practice, no source).
pub const MOST_BYTES: usize = 16 << 20;

/// What Windows-1252 has at 0x80 to 0x9F (Unicode Consortium, mapping table CP1252); the five holes stay holes.
const UPPER: [char; 32] = [
    '€', '\u{fffd}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{fffd}', 'Ž', '\u{fffd}', '\u{fffd}',
    '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{fffd}', 'ž', 'Ÿ',
];

/// UTF-8 where it is, else Windows-1252.
pub(super) fn decode(bytes: &[u8]) -> Result<Cow<'_, str>, Problem> {
    if bytes.len() > MOST_BYTES {
        return Err(Problem { line: 1, what: Trouble::TooLarge { bytes: MOST_BYTES } });
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(Problem { line: 1, what: Trouble::Utf16 });
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    Ok(match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(bytes.iter().map(|byte| windows_1252(*byte)).collect()),
    })
}

fn windows_1252(byte: u8) -> char {
    match byte {
        0x80..=0x9F => UPPER.get(usize::from(byte - 0x80)).copied().unwrap_or('\u{fffd}'),
        _ => char::from(byte),
    }
}

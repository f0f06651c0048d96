//! What the devices on a bus speak.

use serde::{Deserialize, Serialize};
use std::fmt;

/// What the devices on a bus speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Dialect {
    /// The format of this program.
    Own,
    /// RV-C, the open standard of recreational vehicles.
    RvC,
    /// IEC 61162-3, the standard of vessels.
    Marine,
    /// What a bank file describes.
    File,
}

impl Dialect {
    /// Every dialect with the word for it on the command line, in a bank file and in JSON.
    pub const WORDS: &'static [(&'static str, Self)] =
        &[("own", Self::Own), ("rv-c", Self::RvC), ("iec-61162-3", Self::Marine), ("file", Self::File)];

    /// From its word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(known, _)| *known == word).map(|(_, dialect)| *dialect)
    }

    /// Its word on the command line, in a bank file and in JSON.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, dialect)| *dialect == self).map_or("", |(word, _)| word)
    }
}

/// As a person reads it.
impl fmt::Display for Dialect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Own => "Cellwright's own format",
            Self::RvC => "RV-C",
            Self::Marine => "IEC 61162-3",
            Self::File => "the bank file's map",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::Dialect;

    #[test]
    fn every_dialect_has_a_word_of_its_own() {
        for (word, dialect) in Dialect::WORDS {
            assert_eq!((dialect.word(), Dialect::from_word(word)), (*word, Some(*dialect)));
        }
        assert_eq!(Dialect::from_word("RV-C"), None);
    }
}

//! The names of the interfaces of a log, in the order in which they were first seen.

use crate::model::{Rejection, clean};
use serde::{Deserialize, Serialize};

/// Most interfaces of a log.
pub const MAX_INTERFACES: usize = 64;
/// Most bytes of a name: what fits into a reserved frame beside a state.
const MAX_NAME: usize = 60;

/// Names of interfaces by channel number, harmless to show. Two foreign names that look alike once their
/// control characters are replaced are one interface.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Interfaces {
    names: Vec<String>,
}

impl Interfaces {
    /// No names yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The channel of a name; a new name gets the next number.
    ///
    /// # Errors
    /// [`Rejection::NoInterface`] for an empty name, one of more than 60 bytes, with a blank in it or that of
    /// the reserved inputs; [`Rejection::Nuls`] for one with nul bytes; [`Rejection::TooManyInterfaces`] for the 65th.
    #[inline]
    pub fn channel(&mut self, name: &[u8]) -> Result<u8, Rejection> {
        match self.find(name) {
            Some(channel) => Ok(channel),
            None => self.add(name),
        }
    }

    /// The name of a channel.
    #[must_use]
    pub fn name(&self, channel: u8) -> Option<&str> {
        self.names.get(usize::from(channel)).map(String::as_str)
    }

    /// All names, in the order of their channels.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &str> {
        self.names.iter().map(String::as_str)
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.names.len()
    }

    /// Whether none was seen yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    #[inline]
    fn find(&self, name: &[u8]) -> Option<u8> {
        let found = self.names.iter().position(|known| known.as_bytes() == name)?;
        u8::try_from(found).ok()
    }

    #[cold]
    fn add(&mut self, name: &[u8]) -> Result<u8, Rejection> {
        if name.contains(&0) {
            return Err(Rejection::Nuls);
        }
        let is_reserved = name == super::reserved::INTERFACE;
        if name.is_empty() || name.len() > MAX_NAME || is_reserved || name.iter().any(u8::is_ascii_whitespace) {
            return Err(Rejection::NoInterface);
        }
        let mut harmless = clean(&String::from_utf8_lossy(name), MAX_NAME);
        while harmless.len() > MAX_NAME {
            harmless.pop();
        }
        if let Some(channel) = self.find(harmless.as_bytes()) {
            return Ok(channel);
        }
        if self.names.len() >= MAX_INTERFACES {
            return Err(Rejection::TooManyInterfaces);
        }
        self.names.push(harmless);
        Ok((self.names.len() - 1) as u8)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_count_in_the_order_of_their_first_frame() {
        let mut names = Interfaces::new();
        assert_eq!(names.channel(b"can1"), Ok(0));
        assert_eq!(names.channel(b"can0"), Ok(1));
        assert_eq!(names.channel(b"can1"), Ok(0));
        assert_eq!(names.iter().collect::<Vec<_>>(), ["can1", "can0"]);
    }

    #[test]
    fn a_name_made_to_hurt_a_terminal_is_made_harmless() {
        let mut names = Interfaces::new();
        assert_eq!(names.channel("can\x1b[2J\u{202e}".as_bytes()), Ok(0));
        assert_eq!(names.name(0), Some("can\u{fffd}[2J\u{fffd}"));
        assert_eq!(names.channel(b"can\x07[2J\xff"), Ok(0), "looks the same, is the same");
        assert_eq!(names.channel(&[b'x'; 61]), Err(Rejection::NoInterface));
        assert_eq!(names.channel(b"a\0"), Err(Rejection::Nuls));
    }

    #[test]
    fn the_sixty_fifth_is_refused_and_the_first_still_known() {
        let mut names = Interfaces::new();
        for n in 0..64 {
            assert_eq!(names.channel(format!("can{n}").as_bytes()), Ok(n));
        }
        assert_eq!(names.channel(b"can64"), Err(Rejection::TooManyInterfaces));
        assert_eq!(names.channel(b"can0"), Ok(0));
    }
}

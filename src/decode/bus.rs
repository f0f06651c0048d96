//! Which dialect an interface speaks: found from its traffic, or told.
//!
//! A frame shows a standard when its group is one that the standard's map reads and its data is such as the standard
//! has there, and the other could not (the map's `evidence`). The first such frame decides and is read at once, so that
//! nothing is held back; a second confirms. Until then a frame that shows the other standard turns the decision over;
//! after it, such frames are counted, said, and never read: two dialects are never mixed on one bus.

use super::standard::Standard;
use crate::model::Dialect;
use serde::{Deserialize, Serialize};

/// The standards that are looked for.
pub(super) const STANDARDS: [Dialect; 2] = [Dialect::RvC, Dialect::Marine];
/// Frames of the other standard from which on it is said.
const WORTH_SAYING: u32 = 2;

/// What is known of one interface.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Bus {
    /// The standard that was found; none yet.
    found: Option<Dialect>,
    /// Frames that showed it, up to two.
    shown: u8,
    /// Frames that showed the other since it was confirmed.
    others: u32,
    /// A sender of our own format has said hello here.
    pub(super) own: bool,
    /// Frames that the bank file's map knew.
    pub(super) file: bool,
    /// Messages of the standard that came, a bit each.
    pub(super) come: u64,
}

impl Bus {
    /// What this frame's bus is taken to speak, once the frame has been looked at.
    pub(super) fn hear(&mut self, id: crate::model::Id, data: &[u8]) -> Option<Dialect> {
        for dialect in STANDARDS {
            let Some(standard) = Standard::of(dialect) else { continue };
            let shows = standard.map.find(id).is_some_and(|message| standard.shows(message, data));
            if shows {
                self.show(dialect);
            }
        }
        self.found
    }

    fn show(&mut self, dialect: Dialect) {
        match self.found {
            Some(found) if found == dialect => self.shown = self.shown.saturating_add(1).min(2),
            Some(_) if self.shown >= 2 => self.others = self.others.saturating_add(1),
            _ => {
                self.found = Some(dialect);
                self.shown = 1;
                self.come = 0;
            }
        }
    }

    /// The standard that was found.
    pub(super) fn found(&self) -> Option<Dialect> {
        self.found
    }

    /// The standard that was found, once a second frame has confirmed it.
    pub(super) fn confirmed(&self) -> Option<Dialect> {
        self.found.filter(|_| self.shown >= 2)
    }

    /// The other standard and how many frames showed it, when that is worth saying.
    pub(super) fn other(&self) -> Option<(Dialect, u32)> {
        let other = STANDARDS.into_iter().find(|dialect| self.found.is_some_and(|found| found != *dialect))?;
        (self.others >= WORTH_SAYING).then_some((other, self.others))
    }
}

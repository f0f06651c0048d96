//! What both ends of the charge say together: how much less than its siblings a cell holds.

use super::drift::days;
use super::visit::{Span, Visit};
use crate::model::{MAX_CELLS, Stamp};
use serde::{Deserialize, Serialize};

/// Visits that lie so much further apart than those that told before do not take their place, days: a cell that loses
/// charge moves at both ends meanwhile.
const AS_NEAR: f64 = 0.5;

/// What one cell holds less than the median.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Less {
    ah: Span,
    /// The later of the two visits.
    at: Stamp,
    /// Days between them, and between the nearest that told.
    apart: f64,
    nearest: f64,
}

/// By cell, once both ends were seen of it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Both(Vec<Option<Less>>);

impl Both {
    /// Takes the latest visits of both ends, unless they lie further apart than `most` days.
    pub(super) fn take(&mut self, top: Option<&Visit>, bottom: Option<&Visit>, most: f64) {
        let Some((top, bottom)) = top.zip(bottom) else { return };
        let (at, apart) = (top.at.max(bottom.at), days(top.at, bottom.at).abs());
        if apart > most {
            return;
        }
        self.0.resize(top.ahead.len(), None);
        for (less, (early, late)) in self.0.iter_mut().zip(top.ahead.iter().zip(&bottom.ahead)) {
            let now = Less { ah: early.plus(late), at, apart, nearest: apart };
            *less = match less.take() {
                Some(old) if now.is_better(&old, most) => Some(Less { nearest: old.nearest.min(apart), ..now }),
                Some(old) => Some(old),
                None => Some(now),
            };
        }
    }

    /// How much less than the median a cell holds, Ah, and since when that is known.
    #[must_use]
    pub fn less(&self, cell: usize) -> Option<(Span, Stamp)> {
        self.0.get(cell)?.map(|less| (less.ah, less.at))
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    #[must_use]
    pub(super) fn is_within_bounds(&self) -> bool {
        self.0.len() <= MAX_CELLS
    }
}

impl Less {
    fn is_better(&self, old: &Self, most: f64) -> bool {
        let tells = self.ah.best.is_some() || old.ah.best.is_none();
        (tells && self.apart <= old.nearest + AS_NEAR) || days(old.at, self.at) > most
    }
}

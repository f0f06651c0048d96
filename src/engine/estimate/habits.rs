//! How a pack is used and what it lives in, day by day.

use super::charge::Charge;
use super::heat::Heat;
use super::rest::Rest;
use super::soc::Soc;
use super::stress::Around;
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::bank::PackSpec;
use crate::model::limits::Limits;
use crate::model::snapshot::Estimate;
use serde::{Deserialize, Serialize};

/// What other estimators have come to at this tick.
pub struct Told<'a> {
    /// Charge counted.
    pub charge: &'a Charge,
    /// State of charge.
    pub soc: &'a Soc,
    /// Since when the pack rests.
    pub rest: &'a Rest,
}

/// The estimators of how a pack is used.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Habits {
    /// Heat over thirty days.
    pub heat: Heat,
}

impl Habits {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around, _told: &Told) {
        self.heat.tick(view, around.limits);
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.heat.is_within_bounds()
    }

    /// What is estimated, for screens and scripts; the moment is left to the caller.
    #[must_use]
    pub fn rows(&self, pack: &Pack, _spec: &PackSpec, _limits: &Limits) -> Vec<Estimate> {
        let mut rows = pack.estimates.soc.offset.rows(pack);
        rows.extend(self.heat.rows(pack));
        rows
    }
}

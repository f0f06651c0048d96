//! What a pack is put through: charging in the cold, heat that rises, current that lasts, a path that is cut.

use super::around::Around;
use super::cold::Cold;
use super::cut::Cut;
use super::minute::LastMinute;
use super::rise::Rise;
use super::rms::Rms;
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::bank::PackSpec;
use crate::model::limits::Limits;
use serde::{Deserialize, Serialize};

/// The estimators of what a pack is put through.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Stress {
    /// Charging in the cold.
    pub cold: Cold,
    /// How fast the sensors rise.
    pub rise: Rise,
    /// Current over the last minute.
    pub rms: Rms,
    /// Cut-offs.
    pub cut: Cut,
    /// The last minute before a cut-off.
    pub minute: LastMinute,
}

impl Stress {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around) {
        self.cold.tick(view, around);
        self.rise.tick(view, around);
        self.rms.tick(view, view.switches.charge_path != Some(false), around.limits);
        self.cut.tick(view, around);
        self.minute.tick(view, &self.cut, &around.allowed);
    }

    /// What is estimated, for screens and scripts; the moment is left to the caller.
    #[must_use]
    pub fn rows(&self, pack: &Pack, spec: &PackSpec, limits: &Limits) -> Vec<Estimate> {
        let mut rows = self.cold.rows(pack, spec, limits);
        rows.extend(self.rms.rows(pack, limits));
        rows.extend(self.minute.rows(pack, limits));
        rows
    }
}

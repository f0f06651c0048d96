//! What a pack is put through: charging in the cold, heat that rises, current that lasts, a path that is cut.

use super::cold::Cold;
use super::cut::Cut;
use super::minute::{Allowed, LastMinute};
use super::rise::Rise;
use super::rms::Rms;
use crate::engine::BankState;
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Subject;
use crate::model::bank::PackSpec;
use crate::model::limits::Limits;
use crate::model::snapshot::Estimate;
use serde::{Deserialize, Serialize};

/// What these estimators look at beside the pack's own view.
pub struct Around<'a> {
    /// The pack at the tick before.
    pub before: &'a View,
    /// The pack as described.
    pub spec: &'a PackSpec,
    /// The limits in force.
    pub limits: &'a Limits,
    /// What belongs to the whole bank.
    pub bank: &'a BankState,
    /// Current of the other packs together, A; none when there is no other that is heard.
    pub others: Option<f64>,
    /// Limits of cells and temperatures, as the pack reports them or as is usual.
    pub allowed: Allowed,
}

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

/// A row that is known.
pub(super) fn known(name: &'static str, subject: Subject, value: f64) -> Estimate {
    Estimate { name, subject, value: Some(value), low: None, high: None, as_of: None, why: None }
}

/// A row that is not known, and why.
pub(super) fn unknown(name: &'static str, subject: Subject, why: &str) -> Estimate {
    Estimate { name, subject, value: None, low: None, high: None, as_of: None, why: Some(why.to_owned()) }
}

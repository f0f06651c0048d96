//! How a pack is used and what it lives in, day by day.

use super::ahead::Ahead;
use super::around::Around;
use super::baseline::Baseline;
use super::charge::Charge;
use super::heat::Heat;
use super::rest::Rest;
use super::session::Sessions;
use super::soc::Soc;
use super::standby::Standby;
use super::thermal::Thermal;
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::Stamp;
use crate::model::bank::PackSpec;
use crate::model::limits::Limits;
use serde::{Deserialize, Serialize};

/// Slow estimators are moved on this often, s.
const MINUTE: f64 = 59.5;

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
    /// Quiet hours, and time without use.
    pub standby: Standby,
    /// The last quarter of an hour.
    pub ahead: Ahead,
    /// Charges.
    pub sessions: Sessions,
    /// How the pack follows the air, and its heater.
    pub thermal: Thermal,
    /// How far its sensors are apart at rest.
    pub baseline: Baseline,
    /// When slow estimators were last moved on.
    pub(super) minute: Option<Stamp>,
}

impl Habits {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around, told: &Told) {
        self.heat.tick(view, around.limits);
        self.standby.tick(view, around, told);
        self.sessions.tick(view, around.limits);
        if self.minute.is_none_or(|minute| view.now.since(minute) >= MINUTE) {
            self.minute = Some(view.now);
            self.ahead.mark(view, told);
            self.thermal.minute(view, around, told);
            self.baseline.minute(view, told, around.limits);
        }
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.heat.is_within_bounds() && self.standby.is_within_bounds() && self.sessions.is_within_bounds()
    }

    /// What is estimated, for screens and scripts; the moment is left to the caller.
    #[must_use]
    pub fn rows(&self, pack: &Pack, spec: &PackSpec, limits: &Limits) -> Vec<Estimate> {
        let mut rows = pack.estimates.soc.offset.rows(pack);
        rows.extend(self.heat.rows(pack));
        rows.extend(self.standby.rows(pack, limits));
        rows.extend(self.ahead.rows(pack, limits));
        rows.extend(self.sessions.rows(pack));
        rows.extend(self.thermal.rows(pack, spec, limits));
        rows
    }
}

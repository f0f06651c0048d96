//! Running estimates of a pack: one file an estimator. Each keeps running state only and never looks back.

pub mod ahead;
pub mod baseline;
pub mod charge;
pub mod cold;
pub mod cut;
pub mod full;
pub mod habits;
pub mod heat;
pub mod hours;
pub mod offset;
pub mod rest;
pub mod rise;
pub mod rms;
mod rows;
pub mod sensors;
pub mod session;
pub mod share;
pub mod soc;
pub mod standby;
pub mod stress;
pub mod swing;
pub mod taper;
pub mod thermal;

pub use rows::rows;

use super::view::View;
use crate::model::limits::Limits;
use serde::{Deserialize, Serialize};

/// The estimators of one pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Estimates {
    /// Charge counted in and out.
    pub charge: charge::Charge,
    /// Which sensors can be trusted.
    pub sensors: sensors::Sensors,
    /// What the pack is put through.
    pub stress: stress::Stress,
    /// Since when it rests.
    pub rest: rest::Rest,
    /// The taper of a charge.
    pub taper: taper::Taper,
    /// What is remembered of hours and days.
    pub hours: hours::Hours,
    /// State of charge.
    pub soc: soc::Soc,
    /// How the pack is used, day by day.
    pub habits: habits::Habits,
}

impl Estimates {
    /// Moves every estimator on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        self.sensors.tick(view, limits);
        self.charge.shared(view);
        self.rest.tick(view, limits);
        self.taper.tick(view, limits);
        self.hours.tick(view, &self.taper, &self.charge, limits);
        self.soc.tick(view, (&self.charge, &self.taper, &self.rest), limits);
    }

    /// Moves on what looks beyond the pack's own view: at sources, description, other packs.
    pub fn tick_around(&mut self, view: &View, around: &stress::Around) {
        self.stress.tick(view, around);
        let told = habits::Told { charge: &self.charge, soc: &self.soc, rest: &self.rest };
        self.habits.tick(view, around, &told);
    }
}

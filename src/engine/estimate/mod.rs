//! Running estimates of a pack: one file an estimator. Each keeps running state only and never looks back.

pub mod charge;
pub mod cold;
pub mod cut;
mod forget;
pub mod full;
pub mod hours;
pub mod rest;
pub mod rise;
pub mod rms;
mod rows;
pub mod sensors;
pub mod soc;
pub mod stress;
pub mod taper;

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
}

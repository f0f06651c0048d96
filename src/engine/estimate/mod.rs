//! Running estimates of a pack: one file an estimator. Each keeps running state only and never looks back.

pub mod bypass;
pub mod charge;
pub mod cold;
pub mod cut;
pub mod fit;
pub mod full;
pub mod hours;
pub mod leads;
pub mod load;
pub mod one_way;
pub mod resistance;
mod resistance_rows;
pub mod rest;
pub mod rise;
pub mod rls;
pub mod rms;
mod rows;
pub mod sensors;
pub mod soc;
pub mod steps;
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
    /// Resistance from steps of the current.
    pub resistance: resistance::Resistance,
    /// Charge that went one way.
    pub one_way: one_way::OneWay,
    /// The balance leads.
    pub leads: leads::Leads,
    /// Heat that a connection gives off.
    pub load: load::Load,
}

impl Estimates {
    /// Moves every estimator on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        self.sensors.tick(view, limits);
        self.charge.shared(view);
        self.rest.tick(view, limits);
        self.taper.tick(view, limits);
        self.hours.tick(view, &self.taper, &self.charge, limits);
        self.load.tick(view);
        self.leads.tick(view, limits);
        self.one_way.tick(view, &self.charge);
        self.soc.tick(view, (&self.charge, &self.taper, &self.rest), limits);
    }
}

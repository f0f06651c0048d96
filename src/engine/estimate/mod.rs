//! Running estimates of a pack: one file an estimator. Each keeps running state only and never looks back.

pub mod ahead;
pub mod apart;
pub mod around;
pub mod balance;
pub mod baseline;
pub mod both;
pub mod bypass;
pub mod capacity;
pub mod charge;
pub mod cold;
pub mod cut;
pub mod drift;
mod end_rows;
pub mod fit;
mod forget;
pub mod full;
pub mod gain;
pub mod habits;
pub mod heat;
pub mod hours;
pub mod knee;
pub mod leads;
pub mod load;
pub mod minute;
pub mod offset;
pub mod one_way;
pub mod polar;
pub mod reported;
pub mod resistance;
mod resistance_rows;
pub mod rest;
pub mod rise;
pub mod rls;
pub mod rms;
mod rows;
pub mod sensors;
pub mod session;
pub mod share;
pub mod soc;
pub mod standby;
pub mod steps;
pub mod stress;
pub mod swing;
pub mod taper;
pub mod thermal;
pub mod visit;
pub mod which;

pub use rows::rows;

use super::gauge::Gauge;
use super::view::View;
use crate::model::bank::PackSpec;
use crate::model::limits::Limits;
use around::Around;
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
    /// How far the cells stand apart.
    pub apart: apart::Apart,
    /// Capacity.
    pub capacity: capacity::Capacity,
    /// How the pack is used, day by day.
    pub habits: habits::Habits,
    /// Resistance from steps of the current.
    pub resistance: resistance::Resistance,
    /// The current sensor's gain, where it changes.
    pub gain: gain::Gain,
    /// Charge that went one way.
    pub one_way: one_way::OneWay,
    /// The state of charge that the pack reports, beside the count.
    pub reported: reported::Reported,
    /// The balance leads.
    pub leads: leads::Leads,
    /// Heat that a connection gives off.
    pub load: load::Load,
}

impl Estimates {
    /// Moves every estimator on by one tick.
    pub fn tick(&mut self, view: &View, spec: &PackSpec, limits: &Limits) {
        self.sensors.tick(view, spec.grain.temperature, limits);
        self.charge.shared(view);
        self.rest.tick(view, limits);
        self.taper.tick(view, limits);
        self.hours.tick(view, &self.taper, &self.charge, limits);
        self.load.tick(view);
        self.leads.tick(view, limits);
        self.one_way.tick(view, &self.charge);
    }

    /// Moves on what looks at the ends of the charge, and counts between them.
    pub fn tick_ends(&mut self, view: &View, states: &[Gauge], around: &Around) {
        let lead_fault = self.leads.any(view, around.limits);
        let lead_doubt = self.leads.doubtful();
        let learnt = apart::Learnt { charge: &self.charge, resistance: &self.resistance, lead_fault, lead_doubt };
        self.apart.tick(view, &learnt, states, around);
        let measured = self.capacity.measured();
        let counted = (&self.charge, &self.taper, &self.rest);
        let full = self.soc.tick(view, counted, measured.as_ref(), around.limits);
        self.capacity.tick(view, &self.charge, (full.as_ref(), self.apart.low_mark), around.limits);
        if let Some(since) = self.apart.low_back {
            self.capacity.take_back(since);
        }
        if self.resistance.bypass.is_sure(around.limits) {
            self.capacity.distrust();
        }
        self.gain.tick(self.capacity.measured(), &self.resistance, around.limits);
    }

    /// Moves on what looks beyond the pack's own view: at sources, description, other packs.
    pub fn tick_around(&mut self, view: &View, around: &Around) {
        self.stress.tick(view, around);
        let told = habits::Told { charge: &self.charge, soc: &self.soc, rest: &self.rest };
        self.habits.tick(view, around, &told);
    }
}

//! One cell: open-circuit voltage with hysteresis, two relaxing pairs, a resistance that depends on temperature
//! and charge, heat, leak and bleed.
//!
//! A step is implicit in the current: [`Cell::line`] gives voltage and slope at the end of the step, the bank
//! finds the current, [`Cell::step`] takes it. So a charger that holds the voltage stays steady in the knee
//! however long the step.

use crate::curve::{ENTROPY_TUM, HYSTERESIS_TUM, OCV_TUM, RESISTANCE_RATIO_KAWAKITA};

/// Time constants of the two relaxing pairs, seconds: charge transfer and diffusion.
const RELAX: [f64; 2] = [30.0, 1200.0];
/// Their resistances as multiples of the instant one.
const RELAX_SHARE: [f64; 2] = [0.5, 1.0];
/// Instant resistance of a cell of 1 Ah at 25 °C, ohm: 1 mΩ for 100 Ah.
const OHM_AH: f64 = 0.1;
/// Heat capacity of a cell, J/K per Ah: 11 kg of four cells of 100 Ah, 1 kJ/kg/K.
const JOULE_KELVIN_AH: f64 = 27.5;
/// How fast the hysteresis follows: after a fortieth of the capacity it has come 63 % of the way.
const HYSTERESIS_RATE: f64 = 40.0;

/// A cell.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    /// Charge in it, Ah; below zero when over-discharged.
    pub(super) charge: f64,
    /// Capacity, Ah.
    pub(super) capacity: f64,
    /// Where between the branches: −1 discharge, +1 charge.
    pub(super) hysteresis: f64,
    /// Voltages of the relaxing pairs.
    pub(super) relaxing: [f64; 2],
    /// Temperature, °C.
    pub(super) celsius: f64,
    /// Its own instant resistance at 25 °C, ohm.
    pub(super) ohms: f64,
    /// Heat that warms it by a kelvin, J/K.
    pub(super) heat_capacity: f64,
    /// Connection inside its measured voltage, ohm.
    pub(super) connection: f64,
    /// What it loses by itself, A.
    pub(super) leak: f64,
    /// What the balancer draws from it now, A.
    pub(super) bleed: f64,
    /// Instant resistance now, and the temperature at which it was reckoned.
    ratio: (f64, f64),
}

/// Voltage of a cell (or a pack) at the end of a step as a straight line over its current.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Line {
    /// Voltage without current.
    pub(super) volts: f64,
    /// Volts more per ampere of charge.
    pub(super) ohms: f64,
}

/// How far the relaxing pairs come within a step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pace {
    /// Seconds.
    pub(super) secs: f64,
    keep: [f64; 2],
}

impl Pace {
    /// The pace of a step of so many seconds.
    pub(super) fn of(secs: f64) -> Self {
        Self { secs, keep: RELAX.map(|tau| (-secs / tau).exp()) }
    }
}

impl Cell {
    /// A cell of `capacity` Ah holding `charge` Ah at `celsius`, at rest.
    pub(super) fn new(capacity: f64, charge: f64, celsius: f64) -> Self {
        let mut cell = Self {
            charge,
            capacity,
            hysteresis: 0.0,
            relaxing: [0.0; 2],
            celsius,
            ohms: OHM_AH / capacity,
            heat_capacity: JOULE_KELVIN_AH * capacity,
            connection: 0.0,
            leak: 0.0,
            bleed: 0.0,
            ratio: (1.0, f64::NAN),
        };
        cell.settle_ratio();
        cell
    }

    /// State of charge against its own capacity.
    pub(super) fn soc(&self) -> f64 {
        self.charge / self.capacity
    }

    /// Open-circuit voltage: middle curve, temperature and hysteresis.
    pub(super) fn open_circuit(&self) -> f64 {
        let soc = self.soc();
        let middle = OCV_TUM.beyond(soc) + ENTROPY_TUM.at(soc) * (self.celsius - 25.0);
        (middle + 0.5 * HYSTERESIS_TUM.at(soc) * self.hysteresis).max(0.0)
    }

    /// Instant resistance now, without the connection, ohm.
    ///
    /// By temperature as published; by charge a rise towards empty, of a size that data sheets show (no source).
    pub(super) fn instant_ohms(&self) -> f64 {
        let low = (1.0 - self.soc() / 0.2).clamp(0.0, 1.0);
        self.ohms * self.ratio.0 * (1.0 + 0.6 * low * low)
    }

    fn settle_ratio(&mut self) {
        // the table is read again only when the temperature has moved: logarithms in each step would cost most
        if !((self.celsius - self.ratio.1).abs() < 0.05) {
            self.ratio = (RESISTANCE_RATIO_KAWAKITA.beyond(self.celsius), self.celsius);
        }
    }

    /// Voltage at the end of a step over the pack's current.
    pub(super) fn line(&self, pace: &Pace) -> Line {
        let instant = self.instant_ohms();
        let slope = OCV_TUM.slope(self.soc()) / self.capacity * (pace.secs / 3600.0);
        let slow = instant * (RELAX_SHARE[0] * (1.0 - pace.keep[0]) + RELAX_SHARE[1] * (1.0 - pace.keep[1]));
        let relaxing = self.relaxing[0] * pace.keep[0] + self.relaxing[1] * pace.keep[1];
        let own = instant + slow + slope;
        let volts = self.open_circuit() + relaxing - own * (self.bleed + self.leak);
        Line { volts, ohms: own + self.connection }
    }

    /// Takes the pack's current for a step. Returns the heat of the step, W.
    pub(super) fn step(&mut self, amps: f64, pace: &Pace) -> f64 {
        let amps = amps - self.bleed - self.leak;
        let instant = self.instant_ohms();
        let moved = amps * pace.secs / 3600.0;
        self.charge += moved;
        let way = (-HYSTERESIS_RATE * moved.abs() / self.capacity).exp();
        self.hysteresis = self.hysteresis * way + (1.0 - way) * amps.signum();
        let mut lost = amps * instant;
        for ((volts, keep), share) in self.relaxing.iter_mut().zip(pace.keep).zip(RELAX_SHARE) {
            *volts = *volts * keep + (1.0 - keep) * amps * instant * share;
            lost += *volts;
        }
        amps * (lost + ENTROPY_TUM.at(self.soc()) * (self.celsius + 273.15))
    }

    /// Takes heat (W) for a step.
    pub(super) fn warm(&mut self, watts: f64, secs: f64) {
        self.celsius += watts * secs / self.heat_capacity;
        self.settle_ratio();
    }
}

//! A charging source: constant current up to a voltage, that voltage for a while, then float.

use super::scenario::{Fault, FaultKind, Source as Spec};
use crate::model::bank::SourceState;

/// Current below the tail for this long ends the absorption, seconds.
const TAIL_HOLD: f64 = 60.0;
/// Float voltage missed by this share for five minutes starts anew.
const RESTART: (f64, f64) = (0.045, 300.0);

/// A source at work.
#[derive(Debug, Clone)]
pub(super) struct Charger {
    /// What its file says.
    pub(super) spec: Spec,
    /// What it is doing.
    pub(super) state: SourceState,
    /// What it could give now, A.
    pub(super) offer: f64,
    /// What it gives, A.
    pub(super) amps: f64,
    held: f64,
    tail: f64,
    low: f64,
    done: bool,
    /// Holds this voltage whatever its state, V.
    equalise: Option<f64>,
    /// Its voltages move by this much per kelvin of the air above 25 °C, V; and by how much now.
    compensation: f64,
    moved: f64,
}

impl Charger {
    pub(super) fn new(spec: &Spec) -> Self {
        let spec = spec.clone();
        Self {
            spec,
            state: SourceState::Off,
            offer: 0.0,
            amps: 0.0,
            held: 0.0,
            tail: 0.0,
            low: 0.0,
            done: false,
            equalise: None,
            compensation: 0.0,
            moved: 0.0,
        }
    }

    /// So much of a fault comes (`more` of its size) or goes (negative).
    pub(super) fn suffer(&mut self, fault: &Fault, more: f64) {
        let size = more * fault.size;
        match fault.kind {
            FaultKind::SourceAmps => self.spec.amps += size,
            FaultKind::AbsorptionHigh => self.spec.absorption += size,
            FaultKind::FloatHigh => self.spec.float = self.spec.float.map(|float| float + size),
            FaultKind::Equalise => self.equalise = (more > 0.0).then_some(fault.size),
            FaultKind::Compensation => self.compensation += size * 1e-3,
            _ => {}
        }
    }

    /// Feels the air, °C, by which it may move its voltages.
    pub(super) fn feel(&mut self, air: f64) {
        self.moved = self.compensation * (air - 25.0);
    }

    fn absorption(&self) -> f64 {
        self.equalise.unwrap_or(self.spec.absorption + self.moved)
    }

    fn cable(&self) -> f64 {
        (self.spec.cable_milliohm * 1e-3).max(1e-4)
    }

    /// The voltage that it keeps to, V; none while off.
    pub(super) fn set_volts(&self) -> Option<f64> {
        match self.state {
            SourceState::Bulk | SourceState::Absorption => Some(self.absorption()),
            SourceState::Float => self.equalise.or(self.spec.float.map(|float| float + self.moved)),
            _ => None,
        }
    }

    /// What it would give at this voltage of the bus, and how much less per volt more (A, A/V).
    pub(super) fn output(&self, bus: f64) -> (f64, f64) {
        let Some(set) = self.set_volts() else { return (0.0, 0.0) };
        let amps = (set - bus) / self.cable();
        if amps <= 0.0 {
            (0.0, 0.0)
        } else if amps >= self.offer {
            (self.offer, 0.0)
        } else {
            (amps, 1.0 / self.cable())
        }
    }

    /// Voltage at its own terminals, V.
    pub(super) fn volts(&self, bus: f64) -> f64 {
        bus + self.amps * self.cable()
    }

    /// Learns what it could give from now on, before a step.
    pub(super) fn offers(&mut self, offer: f64) {
        self.offer = offer;
        if offer < 0.05 {
            self.state = SourceState::Off;
            self.done = false;
        } else if self.state == SourceState::Off && !self.done {
            self.begin();
        }
    }

    fn begin(&mut self) {
        self.state = SourceState::Bulk;
        (self.held, self.tail, self.low) = (0.0, 0.0, 0.0);
    }

    /// Goes on after a step, by the voltage of the bus and the current into the bank.
    pub(super) fn step(&mut self, bus: f64, into_bank: f64, secs: f64) {
        self.amps = self.output(bus).0;
        match self.state {
            SourceState::Bulk if self.volts(bus) > self.absorption() - 0.01 => self.state = SourceState::Absorption,
            SourceState::Absorption => {
                self.held += secs;
                let small =
                    self.spec.tail.is_some_and(|tail| into_bank < tail) && self.volts(bus) > self.absorption() - 0.05;
                self.tail = if small { self.tail + secs } else { 0.0 };
                if self.tail >= TAIL_HOLD || self.held >= self.spec.absorption_hours * 3600.0 {
                    self.finish();
                }
            }
            SourceState::Float => {
                let missed = bus < self.spec.float.unwrap_or(0.0) * (1.0 - RESTART.0);
                self.low = if missed { self.low + secs } else { 0.0 };
                if self.low >= RESTART.1 {
                    self.begin();
                }
            }
            _ => {}
        }
    }

    fn finish(&mut self) {
        self.done = true;
        self.state = if self.spec.float.is_some() { SourceState::Float } else { SourceState::Off };
    }
}

//! A pack: cells in series, its BMS, balancer, heater and temperature sensors.

use super::bms::{Bms, Extremes};
use super::cell::{Cell, Line, Pace};
use super::random::Random;
use super::scenario::{Balancer, Pack as Spec, Role};

/// Heat that passes between neighbouring cells, W/K per Ah.
const NEIGHBOUR: f64 = 0.02;
/// A sensor follows what it measures with this time constant, seconds.
const SENSOR_LAG: f64 = 60.0;
/// A cell is bled when it stands higher than the lowest by this much, V.
const BLEED_ABOVE_LOWEST: f64 = 0.004;

/// A pack at work.
#[derive(Debug, Clone)]
pub(super) struct Pack {
    /// What its file says.
    pub(super) spec: Spec,
    /// Its cells.
    pub(super) cells: Vec<Cell>,
    /// Cell voltages at the end of the last step.
    pub(super) volts: Vec<f64>,
    /// Its BMS.
    pub(super) bms: Bms,
    /// Current of the last step; positive charges.
    pub(super) amps: f64,
    /// The heater is on.
    pub(super) heating: bool,
    /// What the temperature sensors feel, °C.
    pub(super) felt: Vec<f64>,
    /// What each sensor always reads too much, K.
    baseline: Vec<f64>,
}

impl Pack {
    /// A pack as its file describes it, at rest.
    pub(super) fn new(spec: &Spec, air: f64, random: &mut Random) -> Self {
        let celsius = spec.celsius.unwrap_or(air);
        let cells: Vec<Cell> = (1..=spec.cells).map(|number| cell(spec, number, celsius, random)).collect();
        let volts = cells.iter().map(Cell::open_circuit).collect();
        let baseline: Vec<f64> = spec.sensors.iter().map(|_| 0.2 * random.even()).collect();
        let felt = baseline.iter().map(|more| celsius + more).collect();
        Self { spec: spec.clone(), cells, volts, bms: Bms::new(), amps: 0.0, heating: false, felt, baseline }
    }

    /// Path between cells and bus, ohm.
    pub(super) fn path(&self) -> f64 {
        self.spec.path_milliohm * 1e-3
    }

    /// Voltage at the bus at the end of a step over the pack's current.
    pub(super) fn line(&self, pace: &Pace) -> Line {
        let mut sum = Line { volts: 0.0, ohms: self.path() };
        for cell in &self.cells {
            let line = cell.line(pace);
            sum.volts += line.volts;
            sum.ohms += line.ohms;
        }
        sum
    }

    /// Sum of the cells, V.
    pub(super) fn own_volts(&self) -> f64 {
        self.volts.iter().sum()
    }

    /// Lowest and highest cell voltage and temperature.
    pub(super) fn extremes(&self) -> Extremes {
        Extremes { volts: ends(self.volts.iter().copied()), celsius: ends(self.cells.iter().map(|cell| cell.celsius)) }
    }

    /// Power of the heater now, W.
    pub(super) fn heater_watts(&self) -> f64 {
        self.spec.heater.as_ref().filter(|_| self.heating).map_or(0.0, |heater| heater.watts)
    }

    /// Whether the BMS may decide soon.
    pub(super) fn is_near_a_limit(&self) -> bool {
        Bms::is_near(&self.spec.bms, &self.extremes())
    }

    /// Takes a current for a step.
    pub(super) fn step(&mut self, amps: f64, pace: &Pace, air: f64) {
        self.amps = amps;
        let heater = self.heater_watts() / self.cells.len() as f64;
        let mut left: Option<f64> = None;
        let neighbour = NEIGHBOUR * self.spec.capacity;
        let loss = self.spec.loss / self.cells.len() as f64;
        for index in 0..self.cells.len() {
            let right = self.cells.get(index + 1).map(|cell| cell.celsius);
            let Some(cell) = self.cells.get_mut(index) else { break };
            let here = cell.celsius;
            let from = |other: Option<f64>| other.map_or(0.0, |other| neighbour * (other - here));
            let line = cell.line(pace);
            let heat = cell.step(amps, pace) + heater + from(left) + from(right) - loss * (here - air);
            cell.warm(heat, pace.secs);
            if let Some(volts) = self.volts.get_mut(index) {
                *volts = (line.volts + line.ohms * amps).max(0.0);
            }
            left = Some(here);
        }
        self.feel(air, pace.secs);
        let seen = self.extremes();
        self.bms.step(&self.spec.bms, &seen, pace.secs);
        self.balance(&seen);
        self.heat(&seen);
    }

    fn feel(&mut self, air: f64, secs: f64) {
        let follow = 1.0 - (-secs / SENSOR_LAG).exp();
        let square = self.amps * self.amps;
        for ((felt, sensor), baseline) in self.felt.iter_mut().zip(&self.spec.sensors).zip(&self.baseline) {
            let cell = self.cells.get(usize::from(sensor.cell).saturating_sub(1)).map_or(air, |cell| cell.celsius);
            let there = match sensor.role {
                Role::Ambient => air,
                Role::Case => 0.8 * cell + 0.2 * air,
                // half of the path lies in the BMS, on a little heat sink of 5 K/W; a lug of 0.1 mΩ and 3 K/W (no source)
                Role::Electronics => cell + 5.0 * 0.5e-3 * self.spec.path_milliohm * square,
                Role::Terminal => cell + 3.0 * 0.1e-3 * square,
                Role::Cell | Role::Unknown => cell,
            };
            *felt += (there + baseline - *felt) * follow;
        }
    }

    fn balance(&mut self, seen: &Extremes) {
        let rules = &self.spec.balance;
        for (cell, &volts) in self.cells.iter_mut().zip(&self.volts) {
            let due = volts > rules.threshold
                && match rules.kind {
                    Balancer::None => false,
                    Balancer::BleedAbove => true,
                    Balancer::BleedHighest => volts > seen.volts.0 + BLEED_ABOVE_LOWEST,
                };
            cell.bleed = if due { rules.amps } else { 0.0 };
        }
    }

    fn heat(&mut self, seen: &Extremes) {
        if let Some(heater) = &self.spec.heater {
            let below = if self.heating { heater.off_above } else { heater.on_below };
            self.heating = seen.celsius.0 < below;
        }
    }
}

fn ends(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
}

/// A cell as the file says, with its share of the differences. Cells are level at the top unless the file says
/// otherwise: a smaller one is emptier by as many ampere-hours as it lacks.
fn cell(spec: &Spec, number: u8, celsius: f64, random: &mut Random) -> Cell {
    let odd = spec.odd.iter().find(|odd| odd.number == number);
    let (factor, behind) = odd.map_or((1.0, 0.0), |odd| (odd.capacity, odd.behind));
    let capacity = spec.capacity * factor * (1.0 + spec.spread.capacity * random.even());
    let behind = spec.capacity * (behind + spec.spread.charge * random.even());
    let charge = capacity - (1.0 - spec.soc) * spec.capacity - behind;
    let mut cell = Cell::new(capacity, charge, celsius);
    cell.heat_capacity *= spec.capacity / capacity;
    cell.ohms *= 1.0 + spec.spread.resistance * random.even();
    if let Some(odd) = odd {
        cell.leak = odd.leak;
        cell.connection = odd.connection_milliohm * 1e-3;
    }
    cell
}

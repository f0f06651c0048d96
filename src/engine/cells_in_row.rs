//! For tests: cells in series on a published open-circuit curve, charged and drawn while a story listens.

use super::story::{Bus, Story};
use crate::curve::OCV_PLETT_MID;

/// Time constant of the slow part, s.
const SLOW_SECS: f64 = 900.0;

/// A cell.
#[derive(Clone)]
pub(crate) struct Cell {
    /// Charge in it and capacity, Ah.
    pub(crate) charge: f64,
    pub(crate) capacity: f64,
    /// Connection inside its measured voltage, ohm.
    pub(crate) connection: f64,
    /// What it loses by itself, A.
    pub(crate) leak: f64,
    slow: f64,
}

/// Cells in series of 100 Ah: 1 mΩ at once and 1.5 mΩ slowly each.
#[derive(Clone)]
pub(crate) struct Row {
    pub(crate) cells: Vec<Cell>,
    /// Resolution of a voltage, V.
    pub(crate) grain: f64,
    /// Seconds between two sets.
    pub(crate) step: f64,
    /// Story time, s.
    pub(crate) now: f64,
}

impl Row {
    /// Four level cells of 100 Ah at this state of charge.
    pub(crate) fn at(soc: f64) -> Self {
        let cell = Cell { charge: 100.0 * soc, capacity: 100.0, connection: 0.0, leak: 0.0, slow: 0.0 };
        Self { cells: vec![cell; 4], grain: 0.001, step: 5.0, now: 0.0 }
    }

    /// The same with one cell changed.
    pub(crate) fn with(mut self, cell: usize, change: impl Fn(&mut Cell)) -> Self {
        change(&mut self.cells[cell]);
        self
    }

    fn volts(&self, cell: &Cell, amps: f64) -> f64 {
        let volts = OCV_PLETT_MID.beyond(cell.charge / cell.capacity) + amps * (1e-3 + cell.connection) + cell.slow;
        (volts / self.grain).round() * self.grain
    }

    /// Tells `amps` (by the time since the beginning) until a cell leaves the bounds or so many hours are over.
    pub(crate) fn run(&mut self, story: &mut Story, hours: f64, bounds: (f64, f64), amps: impl Fn(f64) -> f64) {
        let (from, step) = (self.now, self.step);
        let until = from + hours * 3600.0;
        while self.now < until {
            let now = amps((self.now - from) / 3600.0);
            for cell in &mut self.cells {
                cell.charge += (now - cell.leak) * step / 3600.0;
                cell.slow += (now * 1.5e-3 - cell.slow) * (1.0 - (-step / SLOW_SECS).exp());
            }
            let volts: Vec<f64> = self.cells.iter().map(|cell| self.volts(cell, now)).collect();
            story.run(self.now, self.now + step / 2.0, step, |_, bus: &mut Bus| {
                bus.cells(&volts);
                bus.current(now);
                bus.celsius(0, 25.0);
            });
            self.now += step;
            if volts.iter().any(|volts| *volts > bounds.1 || *volts < bounds.0) {
                break;
            }
        }
    }

    /// Charges at a steady current until a cell passes 3.65 V.
    pub(crate) fn charge(&mut self, story: &mut Story, amps: f64) {
        self.run(story, 100.0, (0.0, 3.65), |_| amps);
    }
}

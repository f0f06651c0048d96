//! How far each temperature sensor stands from the others at rest: a cell by a cold hull, a sensor that reads too much.
//! What is beyond that with a current comes from the current.

use super::habits::Told;
use crate::engine::median::median_of;
use crate::engine::view::{SensorNow, View};
use crate::model::limits::Limits;
use crate::model::{MAX_SENSORS, Stamp};
use serde::{Deserialize, Serialize};

/// Samples kept of each sensor.
const KEPT: usize = 24;
/// Samples from which a baseline is told.
const FEWEST: u32 = 2;
/// A sample is taken this often while the pack rests, s.
const EVERY: f64 = 1800.0;

/// Distances of one sensor, hundredths of a kelvin.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Ring {
    values: [i16; KEPT],
    made: u32,
}

/// Baselines of the sensors of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Baseline {
    rings: [Ring; MAX_SENSORS],
    base: [Option<f32>; MAX_SENSORS],
    sampled: Option<Stamp>,
}

/// How far sensors are apart beyond their baselines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Between the warmest and the coldest, K.
    pub kelvin: f64,
    /// The sensor that is furthest off.
    pub sensor: u8,
    /// The warmest reading and the coldest, °C.
    pub ends: (f64, f64),
}

impl Baseline {
    /// Moves on; called once a minute.
    pub fn minute(&mut self, view: &View, told: &Told, limits: &Limits) {
        let due = self.sampled.is_none_or(|at| view.now.since(at) >= EVERY);
        if !due || told.rest.since(view.now, limits).is_none() || view.switches.heater_on == Some(true) {
            return;
        }
        let Some(median) = median(view) else { return };
        self.sampled = Some(view.now);
        for sensor in of_cells(view) {
            let index = usize::from(sensor.sensor);
            if let (Some(ring), Some(base)) = (self.rings.get_mut(index), self.base.get_mut(index)) {
                let off = ((sensor.celsius - median) * 100.0).round().clamp(-30_000.0, 30_000.0);
                ring.values[ring.made as usize % KEPT] = off as i16;
                ring.made = ring.made.saturating_add(1);
                *base = ring.median();
            }
        }
    }

    /// How far the sensors on cells and case are apart beyond their baselines; an error when there is none yet.
    ///
    /// # Errors
    /// Whether two sensors are there at all.
    pub fn spread(&self, view: &View) -> Result<Spread, bool> {
        let median = median(view).ok_or(false)?;
        let (mut low, mut high) = ((f64::MAX, 0.0), (f64::MIN, 0.0));
        let mut furthest = (0.0, 0);
        for sensor in of_cells(view) {
            let base = self.base.get(usize::from(sensor.sensor)).copied().flatten().ok_or(true)?;
            let off = sensor.celsius - median - f64::from(base);
            if off < low.0 {
                low = (off, sensor.celsius);
            }
            if off > high.0 {
                high = (off, sensor.celsius);
            }
            if off.abs() > furthest.0 {
                furthest = (off.abs(), sensor.sensor);
            }
        }
        Ok(Spread { kelvin: high.0 - low.0, sensor: furthest.1, ends: (high.1, low.1) })
    }
}

impl Ring {
    fn median(&self) -> Option<f32> {
        let count = (self.made as usize).min(KEPT);
        let mut values = self.values;
        let values = values.get_mut(..count).filter(|_| self.made >= FEWEST)?;
        values.sort_unstable();
        values.get(count / 2).map(|middle| f32::from(*middle) / 100.0)
    }
}

fn of_cells(view: &View) -> impl Iterator<Item = &SensorNow> {
    view.limiting.iter().filter(|sensor| sensor.role.sets_limits())
}

/// Median of the sensors on cells and case; none with fewer than two.
fn median(view: &View) -> Option<f64> {
    of_cells(view).nth(1)?;
    median_of::<MAX_SENSORS>(of_cells(view).map(|sensor| sensor.celsius))
}

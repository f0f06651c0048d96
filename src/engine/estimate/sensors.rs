//! Whether each temperature sensor can be trusted: does it move with its siblings, does it jump, does it read
//! at the end of its range.

use super::swing::Swing;
use super::thermal::GRAIN;
use crate::engine::median::median_of;
use crate::engine::view::{SensorNow, View};
use crate::model::limits::{LimitId, Limits};
use crate::model::{MAX_CELLS, MAX_SENSORS, Stamp};
use serde::{Deserialize, Serialize};

/// A jump is told, and the sensor not used, for this long after it, s.
const JUMP_STANDS_SECS: f64 = 600.0;
/// A jump upwards silences the sensor only for this long, s: a cell that burns may jump too, and danger goes first.
const HOT_JUMP_STANDS_SECS: f64 = 30.0;
/// Samples further apart than this cannot show a jump, s.
const JUMP_WITHIN_SECS: f64 = 120.0;
/// Fewer readings than this say nothing about the end of the range.
const FEWEST_READINGS: u32 = 50;

/// What is wrong with a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Trouble {
    /// Not one count of change while its siblings moved.
    Stuck,
    /// It jumped.
    Jumped,
    /// Too many readings at the end of its range.
    RangeEnd,
    /// Its daily swing is that of the air.
    Air,
}

/// What is remembered of one sensor.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Watch {
    /// The temperature at which it stands, °C, and since when.
    stands: Option<(f64, Stamp)>,
    /// Lowest and highest temperature of its siblings since then, °C.
    siblings: Option<(f64, f64)>,
    /// Until when a jump stands.
    jumped: Option<Stamp>,
    ends: Ends,
}

/// Readings, and how many of them lay at the end of the range.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Ends {
    seen: u32,
    at_end: u32,
}

impl Ends {
    fn count(&mut self, at_end: bool) {
        self.seen = self.seen.saturating_add(1);
        self.at_end = self.at_end.saturating_add(u32::from(at_end));
    }

    fn too_often(&self, percent: f64) -> bool {
        self.seen >= FEWEST_READINGS && f64::from(self.at_end) > f64::from(self.seen) * percent / 100.0
    }
}

/// The sensors of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Sensors {
    watches: [Watch; MAX_SENSORS],
    cells: [Ends; MAX_CELLS],
    current: Ends,
    troubles: [Option<Trouble>; MAX_SENSORS],
    range_end_percent: f64,
    swing: Swing,
}

impl Sensors {
    /// Begins anew with one sensor, or with all of them.
    pub fn forget(&mut self, sensor: Option<u8>) {
        let concerned = |number: usize| sensor.is_none_or(|sensor| usize::from(sensor) == number);
        for (number, (watch, trouble)) in self.watches.iter_mut().zip(&mut self.troubles).enumerate() {
            if concerned(number) {
                (*watch, *trouble) = (Watch::default(), None);
                self.swing.forget(number);
            } else if *trouble != Some(Trouble::Stuck) {
                watch.siblings = None; // a sibling that is moved does not show that this one stands still
            }
        }
    }

    /// Begins anew with the cells' voltages.
    pub fn forget_cells(&mut self) {
        self.cells = [Ends::default(); MAX_CELLS];
    }

    /// Begins anew with the current.
    pub fn forget_current(&mut self) {
        self.current = Ends::default();
    }

    /// Moves on by one tick; the resolution of temperatures in K, where it is described.
    pub fn tick(&mut self, view: &View, grain: Option<f64>, limits: &Limits) {
        self.range_end_percent = limits.get(LimitId::SensorRangeEnd);
        // two readings rounded to it may lie further apart than what moved
        let stuck_from = limits.get(LimitId::SensorStuckKelvin) + grain.unwrap_or(GRAIN);
        for cell in &view.cells {
            if let Some(ends) = self.cells.get_mut(usize::from(cell.cell)) {
                ends.count(false);
            }
        }
        for cell in view.cells_at_end() {
            if let Some(ends) = self.cells.get_mut(cell) {
                ends.count(true);
            }
        }
        if view.current.is_some() || view.current_at_end() {
            self.current.count(view.current_at_end());
        }
        let siblings = median_of_limiting(&view.sensors);
        for sensor in &view.sensors {
            let other = siblings.of(sensor);
            if let Some(watch) = self.watches.get_mut(usize::from(sensor.sensor)) {
                watch.tick(sensor, view, limits, other);
                watch.ends.count(false);
            }
        }
        for sensor in view.sensors_at_end() {
            if let Some(watch) = self.watches.get_mut(sensor) {
                watch.ends.count(true);
            }
        }
        self.swing.tick(view, limits);
        let seen = self.troubles.iter_mut().zip(&self.watches).enumerate().filter(|(_, (_, watch))| watch.was_seen());
        for (index, (trouble, watch)) in seen {
            let air = self.swing.is_air(index, limits).then_some(Trouble::Air);
            *trouble = watch.trouble(view.now, stuck_from, limits).or(air);
        }
    }

    /// What is wrong with a sensor, if anything.
    #[must_use]
    pub fn trouble(&self, sensor: usize) -> Option<Trouble> {
        self.troubles.get(sensor).copied().flatten()
    }

    /// Whether the current reads at the end of its range too often.
    #[must_use]
    pub fn current_at_end(&self) -> bool {
        self.current.too_often(self.range_end_percent)
    }

    /// Whether a cell's voltage reads at the end of its range too often.
    #[must_use]
    pub fn cell_at_end(&self, cell: usize) -> bool {
        self.cells.get(cell).is_some_and(|ends| ends.too_often(self.range_end_percent))
    }
}

impl Watch {
    fn tick(&mut self, sensor: &SensorNow, view: &View, limits: &Limits, sibling: Option<f64>) {
        match self.stands {
            Some((celsius, _)) if celsius == sensor.celsius => {}
            before => {
                let jump = before
                    .is_some_and(|(celsius, _)| (celsius - sensor.celsius).abs() > limits.get(LimitId::SensorJump));
                if jump && view.secs() <= JUMP_WITHIN_SECS {
                    let hotter = before.is_some_and(|(celsius, _)| sensor.celsius > celsius);
                    let stands = if hotter { HOT_JUMP_STANDS_SECS } else { JUMP_STANDS_SECS };
                    self.jumped = self.jumped.max(Some(view.now.plus_secs(stands)));
                }
                self.stands = Some((sensor.celsius, view.now));
                self.siblings = None;
            }
        }
        if let Some(other) = sibling.filter(|_| sensor.role.sets_limits()) {
            let (low, high) = self.siblings.unwrap_or((other, other));
            self.siblings = Some((low.min(other), high.max(other)));
        }
    }

    fn was_seen(&self) -> bool {
        self.stands.is_some()
    }

    fn trouble(&self, now: Stamp, stuck_from: f64, limits: &Limits) -> Option<Trouble> {
        if self.jumped.is_some_and(|until| now <= until) {
            return Some(Trouble::Jumped);
        }
        let (_, since) = self.stands?;
        let (low, high) = self.siblings.unwrap_or_default();
        if now.since(since) >= limits.get(LimitId::SensorStuckHours) * 3600.0 && high - low >= stuck_from {
            return Some(Trouble::Stuck);
        }
        self.ends.too_often(limits.get(LimitId::SensorRangeEnd)).then_some(Trouble::RangeEnd)
    }
}

/// What the siblings of a sensor read.
struct Siblings {
    count: usize,
    sum: f64,
    median: f64,
}

impl Siblings {
    /// The reading to compare a sensor with: the other one of two, the median of more.
    fn of(&self, sensor: &SensorNow) -> Option<f64> {
        match self.count {
            0 | 1 => None,
            2 => Some(self.sum - sensor.celsius),
            _ => Some(self.median),
        }
    }
}

fn median_of_limiting(sensors: &[SensorNow]) -> Siblings {
    let celsius = sensors.iter().filter(|sensor| sensor.role.sets_limits()).map(|sensor| sensor.celsius);
    Siblings {
        count: celsius.clone().count(),
        sum: celsius.clone().sum(),
        median: median_of::<MAX_SENSORS>(celsius).unwrap_or_default(),
    }
}

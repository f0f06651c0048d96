//! How fast the sensors rise, and the lower of the last two readings of each, so that one wrong reading is none.

use super::around::Around;
use crate::engine::view::{SensorNow, View};
use crate::model::limits::LimitId;
use crate::model::{Limits, MAX_SENSORS, Stamp};
use serde::{Deserialize, Serialize};

/// Marks kept.
const MARKS: usize = 12;
/// Marks in the shortest stretch over which a rise is taken.
const MARKS_A_STRETCH: f64 = 5.0;
/// A mark older than this many times the shortest stretch says nothing of now.
const OLDEST: f64 = 2.0;
/// No reading.
const NONE: i16 = i16::MIN;

/// All sensors at one moment, the higher of the last two readings of each, in hundredths of a degree.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Mark {
    at: Stamp,
    celsius: [i16; MAX_SENSORS],
    /// Largest current, either way, from here to the next mark, A; less than 0 when it was not known all the time.
    amps: f32,
}

/// The last two readings of a sensor, in hundredths of a degree.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Pair {
    count: u32,
    last: i16,
    before: i16,
    last_at: Stamp,
    before_at: Stamp,
}

/// How fast the sensors of a pack rise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rise {
    marks: [Mark; MARKS],
    /// Marks made since the start.
    made: u32,
    pairs: [Pair; MAX_SENSORS],
}

impl Default for Rise {
    fn default() -> Self {
        let mark = Mark { at: Stamp::MIN, celsius: [NONE; MAX_SENSORS], amps: 0.0 };
        let pair = Pair { count: 0, last: NONE, before: NONE, last_at: Stamp::MIN, before_at: Stamp::MIN };
        Self { marks: [mark; MARKS], made: 0, pairs: [pair; MAX_SENSORS] }
    }
}

/// The rise of one sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risen {
    /// By how much, K.
    pub kelvin: f64,
    /// Over which time, s.
    pub secs: f64,
    /// Largest current meanwhile, either way, A; none when it was not known all the time.
    pub amps: Option<f64>,
}

impl Rise {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around) {
        for sensor in &view.sensors {
            let Some(pair) = self.pairs.get_mut(usize::from(sensor.sensor)) else { continue };
            if pair.count != sensor.count {
                (pair.before, pair.before_at) = (pair.last, pair.last_at);
                (pair.last, pair.last_at) = (hundredths(sensor.celsius), view.now);
                pair.count = sensor.count;
            }
        }
        let amps = view.current.map_or(-1.0, |current| current.amps.abs() as f32);
        if let Some(mark) = self.newest_mut() {
            mark.amps = if mark.amps < 0.0 || amps < 0.0 { -1.0 } else { mark.amps.max(amps) };
            if view.now.since(mark.at) < around.limits.get(LimitId::RiseMinutes) * 60.0 / MARKS_A_STRETCH {
                return;
            }
        }
        let mut celsius = [NONE; MAX_SENSORS];
        for sensor in &view.sensors {
            let index = usize::from(sensor.sensor);
            let pair = self.pairs.get(index).filter(|pair| pair.before != NONE);
            if let (Some(place), Some(pair)) = (celsius.get_mut(index), pair) {
                *place = pair.last.max(pair.before);
            }
        }
        self.marks[self.made as usize % MARKS] = Mark { at: view.now, celsius, amps };
        self.made = self.made.saturating_add(1);
    }

    /// Begins anew with one sensor, or with all of them.
    pub fn forget(&mut self, sensor: Option<u8>) {
        let Some(sensor) = sensor.map(usize::from) else { return *self = Self::default() };
        let Self { marks, pairs, .. } = Self::default();
        for (mark, empty) in self.marks.iter_mut().zip(&marks) {
            if let Some((place, none)) = mark.celsius.get_mut(sensor).zip(empty.celsius.get(sensor)) {
                *place = *none;
            }
        }
        if let Some((place, none)) = self.pairs.get_mut(sensor).zip(pairs.get(sensor)) {
            *place = *none;
        }
    }

    fn newest_mut(&mut self) -> Option<&mut Mark> {
        let index = self.made.checked_sub(1)? as usize % MARKS;
        self.marks.get_mut(index)
    }

    /// The lower of the sensor's last two readings, °C; none before the second.
    #[must_use]
    pub fn lower_of_two(&self, sensor: &SensorNow) -> Option<f64> {
        let pair = self.pairs.get(usize::from(sensor.sensor)).filter(|pair| pair.before != NONE)?;
        Some(f64::from(pair.last.min(pair.before)) / 100.0)
    }

    /// How much a sensor rose over the shortest stretch that is at least as long as the limits ask for. Taken from
    /// the higher of two readings then and the lower of two now, so that one wrong reading is no rise.
    #[must_use]
    pub fn of(&self, sensor: &SensorNow, limits: &Limits) -> Option<Risen> {
        let shortest = limits.get(LimitId::RiseMinutes) * 60.0;
        let high = self.lower_of_two(sensor)?;
        let from = self.pairs.get(usize::from(sensor.sensor))?.before_at;
        let mut amps = Some(0.0_f64);
        for back in 1..=self.made.min(MARKS as u32) {
            let mark = &self.marks[(self.made - back) as usize % MARKS];
            amps = amps.filter(|_| mark.amps >= 0.0).map(|most| most.max(f64::from(mark.amps)));
            let secs = from.since(mark.at);
            if secs > OLDEST * shortest {
                return None;
            }
            let low = mark.celsius.get(usize::from(sensor.sensor)).copied().filter(|low| *low != NONE);
            if let Some(low) = low.filter(|_| secs >= shortest) {
                return Some(Risen { kelvin: high - f64::from(low) / 100.0, secs, amps });
            }
        }
        None
    }
}

fn hundredths(celsius: f64) -> i16 {
    (celsius * 100.0).round().clamp(-30_000.0, 30_000.0) as i16
}

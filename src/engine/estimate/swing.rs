//! The daily swing of each temperature sensor. A cell lags behind the air by hours and swings less; a sensor that swings
//! with the air, ahead of its siblings, does not sit on a cell.

use crate::engine::view::View;
use crate::model::bank::SensorRole;
use crate::model::limits::{LimitId, Limits};
use crate::model::{MAX_SENSORS, Stamp};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Seconds between samples.
const EVERY: f64 = 59.5;
/// Samples further apart than this leave a hole in the day, s.
const HOLE: f64 = 1800.0;
const DAY: f64 = 86_400.0;
/// Part of a day that must have been seen.
const SEEN: f64 = 0.95;
/// Without siblings: the swing is that of the air within this share, and behind it by less than so many hours.
const LIKE_AIR: (f64, f64) = (0.9, 0.5);

/// First harmonic of a day, as sums over time.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Wave {
    secs: f64,
    sum: f64,
    cos: f64,
    sin: f64,
    /// Days in a row on which it swung with the air.
    days: u8,
}

/// Daily swings of the sensors of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Swing {
    waves: [Wave; MAX_SENSORS],
    sampled: Option<Stamp>,
    day: i64,
    /// Sums of cosine and sine over the samples of the day, and seconds.
    turn: (f64, f64, f64),
}

/// Amplitude, K, and the hour of the warmest moment.
type Beat = (f64, f64);

impl Swing {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        let secs = self.sampled.map_or(f64::MAX, |at| view.now.since(at));
        if secs < EVERY {
            return;
        }
        self.sampled = Some(view.now);
        let day = view.now.secs().div_euclid(86_400);
        if day != self.day {
            self.close(view, limits);
            self.day = day;
        }
        if secs > HOLE {
            return;
        }
        let angle = view.now.secs().rem_euclid(86_400) as f64 / DAY * TAU;
        let (sin, cos) = angle.sin_cos();
        self.turn = (self.turn.0 + cos * secs, self.turn.1 + sin * secs, self.turn.2 + secs);
        for sensor in &view.sensors {
            let Some(wave) = self.waves.get_mut(usize::from(sensor.sensor)) else { continue };
            wave.secs += secs;
            wave.sum += sensor.celsius * secs;
            wave.cos += sensor.celsius * cos * secs;
            wave.sin += sensor.celsius * sin * secs;
        }
    }

    /// Begins anew with one sensor.
    pub fn forget(&mut self, sensor: usize) {
        if let Some(wave) = self.waves.get_mut(sensor) {
            *wave = Wave::default();
        }
    }

    /// Looks at the day that is over.
    fn close(&mut self, view: &View, limits: &Limits) {
        let turn = std::mem::take(&mut self.turn);
        let beats: [Option<Beat>; MAX_SENSORS] = std::array::from_fn(|index| self.waves[index].beat(turn));
        let role = |role: fn(SensorRole) -> bool| {
            view.sensors.iter().filter(move |sensor| role(sensor.role)).map(|sensor| usize::from(sensor.sensor))
        };
        let air = role(|role| role == SensorRole::Ambient).find_map(|index| beats.get(index).copied().flatten());
        for (index, wave) in self.waves.iter_mut().enumerate() {
            let is_cell = role(SensorRole::sets_limits).any(|cell| cell == index);
            let own = beats[index].filter(|_| is_cell);
            let others = role(SensorRole::sets_limits).filter(|other| *other != index);
            let siblings = mean(others.filter_map(|other| beats.get(other).copied().flatten()));
            let with_air = match (own, siblings, air) {
                (Some(own), Some(others), _) => ahead(own, others, limits),
                (Some(own), None, Some(air)) => like(own, air, limits),
                (Some(_), None, None) | (None, ..) => false,
            };
            let known = own.is_some();
            *wave = Wave {
                days: if with_air {
                    wave.days.saturating_add(1)
                } else if known {
                    0
                } else {
                    wave.days
                },
                ..Wave::default()
            };
        }
    }

    /// Whether a sensor on cell or case has swung with the air for days.
    #[must_use]
    pub fn is_air(&self, sensor: usize, limits: &Limits) -> bool {
        self.waves.get(sensor).is_some_and(|wave| f64::from(wave.days) >= limits.get(LimitId::SwingDays))
    }
}

impl Wave {
    fn beat(&self, (cos, sin, secs): (f64, f64, f64)) -> Option<Beat> {
        if self.secs < SEEN * DAY || secs < SEEN * DAY {
            return None;
        }
        let mean = self.sum / self.secs;
        let (a, b) = (2.0 * (self.cos - mean * cos) / secs, 2.0 * (self.sin - mean * sin) / secs);
        Some((a.hypot(b), b.atan2(a) / TAU * 24.0))
    }
}

/// Hours by which a warmest moment comes before another, −12 to 12.
fn before(own: f64, other: f64) -> f64 {
    (other - own + 36.0).rem_euclid(24.0) - 12.0
}

/// It swings more than its siblings, and ahead of them.
fn ahead(own: Beat, others: Beat, limits: &Limits) -> bool {
    own.0 >= limits.get(LimitId::SwingKelvin)
        && own.0 >= limits.get(LimitId::SwingTimes) * others.0
        && before(own.1, others.1) >= limits.get(LimitId::SwingHours)
}

/// It swings as the air does.
fn like(own: Beat, air: Beat, limits: &Limits) -> bool {
    own.0 >= limits.get(LimitId::SwingKelvin) && own.0 >= LIKE_AIR.0 * air.0 && before(air.1, own.1).abs() <= LIKE_AIR.1
}

/// The mean of several swings, as of pointers that turn.
fn mean(beats: impl Iterator<Item = Beat>) -> Option<Beat> {
    let add = |(a, b, n): (f64, f64, f64), (size, hour): Beat| {
        let (sin, cos) = (hour / 24.0 * TAU).sin_cos();
        (a + size * cos, b + size * sin, n + 1.0)
    };
    let (a, b, n) = beats.fold((0.0, 0.0, 0.0), add);
    (n > 0.0).then(|| (a.hypot(b) / n, b.atan2(a) / TAU * 24.0))
}

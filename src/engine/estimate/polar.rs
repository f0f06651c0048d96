//! What current adds to a cell's voltage, taken off: at once, and slowly.

use crate::curve::RESISTANCE_RATIO_PLETT;
use crate::engine::view::View;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// The slow part follows the current with this time constant, s; judgement: diffusion in large cells takes from ten
/// minutes to half an hour.
const SLOW_SECS: f64 = 1200.0;

/// Follows the current for the slow part of what it adds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Polar {
    /// The current as the slow part has it, A; none before any was seen.
    slow: Option<f64>,
}

/// What the current adds at one tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drive {
    /// Added to every cell, V.
    pub volts: f64,
    /// Current as a multiple of the capacity, now.
    pub rate: f64,
    /// The same as the slow part has it.
    pub slow: f64,
    /// Resistance as a multiple of that at 25 °C.
    pub ratio: f64,
}

impl Polar {
    /// Moves on by one tick. What the current adds; none without current, capacity or temperature.
    pub fn tick(&mut self, view: &View, limits: &Limits) -> Option<Drive> {
        let amps = view.current?.amps;
        let slow = self.slow.get_or_insert(amps);
        let secs = view.secs();
        *slow += (amps - *slow) * secs / (secs + SLOW_SECS);
        let capacity = view.capacity?;
        let ratio = RESISTANCE_RATIO_PLETT.at(view.coldest()?.celsius);
        let (rate, slow) = (amps / capacity, *slow / capacity);
        let volts = ratio * (limits.get(LimitId::UndervoltageSag) * rate + limits.get(LimitId::KneeSlowSag) * slow);
        Some(Drive { volts, rate, slow, ratio })
    }
}

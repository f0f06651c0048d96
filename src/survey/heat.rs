//! The heat of a current in a cell, and how well a field goes with it.
//!
//! A cell warms by what its resistance loses, `I² R`, and by the reversible heat of its reaction, `I T dU/dT`, which
//! cools it one way and warms it the other: at the currents of a house bank the two are about as large.

use super::fit::{self, Line};
use super::view::Row;

/// What a cell takes to warm by a kelvin, J per K and Ah: about 11 kg of four cells of 100 Ah at 1 kJ/kg/K.
const JOULE_KELVIN_AH: f64 = 27.5;
/// In so many hours most of the heat has gone again (judgement): small packs in a draught, large ones in a box.
const HOURS_LOST: [f64; 3] = [2.0, 4.0, 8.0];
/// The slow part of a cell's resistance, as a share of the drop within seconds, and in what time it comes, s: the
/// lithium spreads within the particles in tens of minutes (judgement).
const SLOW: f64 = 0.7;
const SLOW_SECONDS: f64 = 1200.0;
/// The reversible heat in volts, `T dU/dT` at room temperature with 0.1 mV/K, and the states of charge between which
/// it turns: below it cools while charging, above it warms (LFP against graphite as measured by Forgez et al. 2010,
/// J. Power Sources 195, rounded, from memory).
const REVERSIBLE: f64 = 0.03;
const TURNS: (f64, f64) = (0.2, 0.45);
/// By what factor a sensor's rise may be off (judgement), and while the scale of the current is open.
const RISE_ERROR: f64 = 1.3;
const RISE_ERROR_OPEN: f64 = 2.2;
/// One point in so many is looked at.
const STRIDE: usize = 4;

/// The heat of a current.
pub(super) struct Heat {
    /// For each time in which it goes again.
    ways: Vec<Way>,
    /// Charge that went in, in any unit.
    charge: Vec<f32>,
    /// The kelvins are kelvins.
    pub(super) is_absolute: bool,
    /// By what factor they may be off.
    pub(super) error: f64,
}

/// A pack's current.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flow<'a> {
    /// Counts at each point.
    pub(super) counts: &'a [f32],
    /// Counts at no current.
    pub(super) zero: f64,
    /// Volts of a cell per count within seconds; its sign is that of the current.
    pub(super) slope: f64,
}

/// How large a count of the current is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Share {
    /// As a share of the capacity.
    pub(super) of_capacity: Option<f64>,
    /// It may not be some other.
    pub(super) is_sure: bool,
}

/// The heat that has not gone yet.
struct Way {
    /// Kelvin by which it would warm a cell at each point, or something proportional to it.
    kelvin: Vec<f32>,
    /// Its middle.
    middle: f64,
    /// The share that remains from one point to the next.
    remains: f64,
}

/// How a field goes with the heat.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Warms {
    /// Counts over kelvin of heat.
    pub(super) line: Line,
    /// Kelvin of heat in the middle.
    pub(super) middle: f64,
    /// It goes with the charge better than with the heat.
    pub(super) is_charge: bool,
}

/// How alike a field is to the charge when it is taken for one.
const AS_CHARGE: f64 = 0.95;

impl Heat {
    /// `soc`: the state of charge as a share of 1, where it is known.
    pub(super) fn new(flow: &Flow, share: Share, soc: &[f32], row: Row) -> Self {
        let is_absolute = share.of_capacity.is_some();
        let error = if share.is_sure { RISE_ERROR } else { RISE_ERROR_OPEN };
        let share = share.of_capacity.unwrap_or(1.0);
        let follow = 1.0 - (-row.step / SLOW_SECONDS).exp();
        let mut slow = 0.0;
        let mut sum = 0.0;
        let (mut rates, mut charge) = (Vec::with_capacity(flow.counts.len()), Vec::new());
        let mut seen = 1.0;
        for (at, count) in flow.counts.iter().enumerate() {
            let now = if count.is_nan() { 0.0 } else { f64::from(*count) - flow.zero };
            // the sign of the slope is that of the current: the drop is positive while charging
            let drop = now * flow.slope;
            slow += (drop - slow) * follow;
            if let Some(soc) = soc.get(at).filter(|soc| !soc.is_nan()) {
                seen = f64::from(*soc);
            }
            let amps = now * flow.slope.signum();
            sum += amps;
            charge.push(sum as f32);
            rates.push(amps * share * (drop + SLOW * slow + reversible(seen)) / JOULE_KELVIN_AH * row.step);
        }
        let way = |hours: f64| {
            let remains = (-row.step / 3600.0 / hours).exp();
            let mut now = 0.0;
            let warm = |rate: &f64| {
                now = now * remains + rate;
                now as f32
            };
            let kelvin: Vec<f32> = rates.iter().map(warm).collect();
            Way { middle: fit::middle(&kelvin), kelvin, remains }
        };
        Self { ways: HOURS_LOST.into_iter().map(way).collect(), charge, is_absolute, error }
    }

    /// How a field goes with it, beside what the day's air does and what was there at first.
    pub(super) fn warms(&self, counts: &[f32]) -> Warms {
        let of_way = |way: &Way| (fit::beside_time(&way.kelvin, counts, way.remains, STRIDE), way.middle);
        let best = self.ways.iter().map(of_way).max_by(|a, b| a.0.together.total_cmp(&b.0.together));
        let (line, middle) = best.unwrap_or_default();
        let remains = self.ways.last().map_or(0.5, |way| way.remains);
        let charge = fit::beside_time(&self.charge, counts, remains, STRIDE).together;
        Warms { line, middle, is_charge: charge > AS_CHARGE && charge > line.together }
    }
}

/// The reversible heat at a state of charge, V.
fn reversible(soc: f64) -> f64 {
    let up = ((soc - TURNS.0) / (TURNS.1 - TURNS.0)).clamp(0.0, 1.0);
    REVERSIBLE * (2.0 * up - 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROW: Row = Row { len: 3600, step: 8.0 };

    /// Eight hours of a bank of 100 Ah: a load of 40 A in every other quarter of an hour, charging with 25 A at the end.
    fn heat() -> Heat {
        let load = |at: usize| if (at / 112).is_multiple_of(2) { -40.0 } else { 0.0 };
        let counts: Vec<f32> = (0..ROW.len).map(|at| if at < 2800 { load(at) } else { 25.0 }).collect();
        let flow = Flow { counts: &counts, zero: 0.0, slope: 0.001 };
        Heat::new(&flow, Share { of_capacity: Some(0.01), is_sure: true }, &[], ROW)
    }

    #[test]
    fn charging_cools_a_cell_that_is_nearly_empty_and_warms_it_above_a_third() {
        assert_eq!((reversible(0.1), reversible(0.9)), (-0.03, 0.03));
        assert!(reversible(0.325).abs() < 1e-12);
    }

    #[test]
    fn a_sensor_goes_with_the_heat_and_the_day_alone_does_not() {
        let heat = heat();
        let air = |at: usize| 15.0 + 3.0 * (at as f64 / 10_000.0).sin();
        let kelvin = &heat.ways[1].kelvin;
        let sensor = |at: usize| (10.0 * (air(at) + 1.1 * f64::from(kelvin[at]))).round() as f32;
        let warms = heat.warms(&(0..ROW.len).map(sensor).collect::<Vec<_>>());
        assert!(warms.line.together > 0.95, "{warms:?}");
        assert!((10.5..11.5).contains(&warms.line.slope), "{warms:?}");
        let warms = heat.warms(&(0..ROW.len).map(|at| (10.0 * air(at)).round() as f32).collect::<Vec<_>>());
        assert!(warms.line.together < 0.4, "{warms:?}");
    }

    #[test]
    fn what_goes_with_the_charge_is_said_to() {
        let heat = heat();
        let left: Vec<f32> = heat.charge.iter().map(|charge| (80.0 + charge * 8.0 / 3600.0).round()).collect();
        assert!(heat.warms(&left).is_charge);
    }
}

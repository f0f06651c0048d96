//! Resistance of each cell from steps of the current, and what a connection adds to it: the excess over the median of
//! the cells. Also what lies between the cells and the bus: lugs, fuse, switch.
//!
//! Each cell's part is taken to 25 °C by its own or the nearest sensor, so that a cold cell is no bad connection.

use super::around::Around;
use super::bypass::Bypass;
use super::fit::{Fit, Noise};
use super::steps::{Step, Steps};
use crate::curve::RESISTANCE_RATIO_PLETT;
use crate::engine::median::median_of;
use crate::engine::view::View;
use crate::model::limits::{LimitId, Limits};
use crate::model::{MAX_CELLS, Stamp};
use serde::{Deserialize, Serialize};

/// How far the table of resistance by temperature may be off, as a share of the difference that it makes.
const TABLE_OFF: f64 = 0.2;
/// How far a resistance as such may be off besides, as a share: how much of the slow part a step lets in, the current's gain.
const WHOLE_OFF: f64 = 0.18;
/// How far the resistance beyond the cells may be off besides, as a share: the current's gain; judgement.
const OUTSIDE_OFF: f64 = 0.04;
/// Half a 95 % interval in standard errors.
pub const WIDE: f64 = 1.96;
/// Error of a difference of two rounded readings less the median of others, in steps of the resolution.
const ROUNDING: f64 = 0.47;
/// A reading is never taken for better than this, V.
const FLOOR: f64 = 3e-4;
/// Resolution of voltages of packs and buses unless described, V.
const COARSE: f64 = 0.01;

/// A resistance with its bounds, Ω.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Best value.
    pub ohms: f64,
    /// Half width: the truth lies within it 19 times of 20.
    pub half: f64,
    /// Standard error of the readings alone.
    pub error: f64,
}

/// What is learnt of one cell.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Cell {
    /// Above what the median of the cells makes of it.
    excess: Fit,
    /// How far the table of temperatures may mislead, Ω; smoothed.
    misled: f64,
}

/// Resistances of one pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Resistance {
    steps: Steps,
    cells: Vec<Cell>,
    /// Of the median cell as it is, at the temperatures of the steps.
    median: Fit,
    /// Between cells and bus.
    outside: Fit,
    /// Sensors differed too much for a cell without one.
    uneven: bool,
    /// The last tick brought a step.
    fresh: bool,
    /// When the last step came.
    at: Option<Stamp>,
    /// Of the median cell at 25 °C, from sets that come often.
    whole: Fit,
    /// The same from sets at any spacing: with the slow part that it lets in, alike from step to step.
    alike: Fit,
    /// Resistance at the temperatures of those steps, as a multiple of that at 25 °C; smoothed.
    ratio: f64,
    /// Loads that the current sensor does not see.
    pub bypass: Bypass,
}

/// Resistance of each cell at its temperature, as a multiple of that at 25 °C.
#[derive(Debug, Clone, Copy)]
struct Warmth {
    ratios: [f64; MAX_CELLS],
    /// Some sensor counts; else all are taken to be as warm as one another.
    known: bool,
}

impl Resistance {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around) {
        self.fresh = false;
        let step = self.steps.tick(view, around.limits);
        self.bypass.tick(view, &self.steps, self.median.ohms(), around.limits);
        let Some(step) = step else { return };
        if view.cells.iter().any(|cell| view.lead_may_be_open(cell.cell, around.limits)) {
            return;
        }
        (self.fresh, self.at) = (true, Some(view.now));
        let warmth = warmth(view, around.limits);
        self.uneven = warmth.is_none();
        if let Some(warmth) = warmth {
            self.learn(&step, &warmth, around);
        }
    }

    fn learn(&mut self, step: &Step, warmth: &Warmth, around: &Around) {
        let limits = around.limits;
        self.cells.resize(step.cells, Cell::default());
        let ratios = warmth.ratios;
        let grain = self.steps.grain(around.spec.grain.cell.map(|volts| volts.get()));
        let noise = Noise { floor: (ROUNDING * grain).max(FLOOR), keep: 1.0 - 1.0 / limits.get(LimitId::StepForgets) };
        let (mut own, mut warm) = ([0.0; MAX_CELLS], [0.0; MAX_CELLS]);
        for cell in 0..step.cells {
            let link = around.spec.links.get(cell).copied().flatten().map_or(0.0, |ohms| ohms.get());
            own[cell] = step.volts(cell) - link * step.amps;
            warm[cell] = own[cell] / ratios[cell];
        }
        let of_step = |volts: &[f64; MAX_CELLS]| median_of::<MAX_CELLS>(volts.iter().take(step.cells).copied());
        let (Some(median_warm), Some(median_own)) = (of_step(&warm), of_step(&own)) else { return };
        let mean_ratio = ratios[..step.cells].iter().sum::<f64>() / step.cells as f64;
        let mut repeated = 0;
        let absolute = step.spacing <= limits.get(LimitId::StepSpacingAbsolute) * 1.1 && warmth.known;
        for (index, cell) in self.cells.iter_mut().enumerate() {
            let seen = (step.before[index], step.after[index]);
            let repeats = cell.excess.repeats(step.amps, seen, grain);
            repeated += usize::from(repeats);
            cell.excess.take(step.amps, own[index] - median_warm * ratios[index], repeats, noise);
            let misled = TABLE_OFF * (ratios[index] - mean_ratio).abs() * (median_warm / step.amps).abs();
            cell.misled += 0.1 * (misled - cell.misled);
        }
        self.median.take(step.amps, median_own, false, noise);
        if warmth.known {
            self.alike.take(step.amps, median_warm, false, noise);
        }
        if absolute {
            self.whole.take(step.amps, median_warm, false, noise);
            let share = 1.0 / f64::from(self.whole.count().clamp(1, 50));
            self.ratio += share * (mean_ratio - self.ratio);
        }
        let own = self.median.ohms();
        self.cells.iter_mut().for_each(|cell| cell.excess.mark(own));
        if let Some(volts) = step.outside {
            let grain = around.spec.grain.pack.map_or(COARSE, |volts| volts.get());
            self.outside.take(
                step.amps,
                volts,
                2 * repeated > step.cells,
                Noise { floor: (ROUNDING * grain).max(FLOOR), ..noise },
            );
            let path = self.outside.ohms();
            self.outside.mark(path);
        }
    }

    /// What a cell's connection adds, Ω.
    #[must_use]
    pub fn excess(&self, cell: usize, limits: &Limits) -> Option<Known> {
        let cell = self.cells.get(cell)?;
        let spread = limits.get(LimitId::StepSpread) / 100.0 * self.median.ohms();
        known(&cell.excess, limits, spread.hypot(cell.misled))
    }

    /// Resistance of a cell with its connection at 25 °C, seconds after a step, Ω: the cell's part follows temperature, its
    /// connection does not.
    #[must_use]
    pub fn whole(&self, cell: usize, limits: &Limits) -> Option<Known> {
        let table = TABLE_OFF * (self.ratio - 1.0).abs().min(1.0);
        let median = known(&self.whole, limits, WHOLE_OFF.hypot(table) * self.whole.ohms())?;
        let excess = self.excess(cell, limits)?;
        let (half, error) = (median.half.hypot(excess.half), median.error.hypot(excess.error));
        Some(Known { ohms: median.ohms + excess.ohms, half, error })
    }

    /// Resistance of the median cell at the temperatures of the steps and with the slow part that their spacing lets in, Ω.
    #[must_use]
    pub fn median(&self, limits: &Limits) -> Option<f64> {
        known(&self.median, limits, 0.0).map(|known| known.ohms)
    }

    /// Resistance of the median cell at 25 °C, when the readings leave less than this share of it open, Ω.
    #[must_use]
    pub fn at_25(&self, share: f64, limits: &Limits) -> Option<f64> {
        known(&self.whole, limits, 0.0).filter(|known| known.error <= share * known.ohms).map(|known| known.ohms)
    }

    /// Factor by which the resistance of all cells together once changed at once.
    #[must_use]
    pub fn jump(&self) -> Option<f64> {
        self.whole.jump().or_else(|| self.alike.jump())
    }

    /// What lies between the cells and the bus, Ω.
    #[must_use]
    pub fn outside(&self, limits: &Limits) -> Option<Known> {
        known(&self.outside, limits, OUTSIDE_OFF * self.outside.ohms())
    }

    /// Growth of a cell's connection since it was first known well, with what it might be less, Ω.
    #[must_use]
    pub fn growth(&self, cell: usize, limits: &Limits) -> Option<(f64, f64)> {
        let own = self.median.ohms();
        let (growth, error) = self.cells.get(cell)?.excess.growth(own)?;
        Some((growth, error + 0.7 * limits.get(LimitId::StepSpread) / 100.0 * own))
    }

    /// Growth of what lies between the cells and the bus, with what it might be less, Ω.
    #[must_use]
    pub fn growth_outside(&self) -> Option<(f64, f64)> {
        self.outside.growth(0.0)
    }

    /// Cells of which anything was learnt.
    #[must_use]
    pub fn cells(&self) -> usize {
        self.cells.len()
    }

    /// Steps that were taken.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.median.count()
    }

    /// Whether the temperatures lay too far apart at the last step for a cell without a sensor.
    #[must_use]
    pub fn is_uneven(&self) -> bool {
        self.uneven
    }

    /// When the last step came.
    #[must_use]
    pub fn as_of(&self) -> Option<Stamp> {
        self.at
    }

    /// Whether the voltage beyond the cells was heard at any step.
    #[must_use]
    pub fn has_outside(&self) -> bool {
        self.outside.count() > 0
    }

    /// Whether the last tick brought a step.
    #[must_use]
    pub fn is_fresh(&self) -> bool {
        self.fresh
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.cells.len() <= MAX_CELLS && self.steps.is_within_bounds()
    }
}

/// What a fit says, once it has enough steps and a small enough error; `systematic` is half a width besides.
fn known(fit: &Fit, limits: &Limits, systematic: f64) -> Option<Known> {
    let error = fit.error()?;
    let enough =
        f64::from(fit.count()) >= limits.get(LimitId::StepCount) && error < limits.get(LimitId::StepError) * 1e-3;
    enough.then(|| Known { ohms: fit.ohms(), half: (WIDE * error).hypot(systematic), error })
}

/// How warm each cell is; none when the sensors differ too much for a cell without one.
fn warmth(view: &View, limits: &Limits) -> Option<Warmth> {
    let (Some(cold), Some(hot)) = (view.coldest(), view.hottest()) else {
        return Some(Warmth { ratios: [1.0; MAX_CELLS], known: false });
    };
    let has_own = |cell: u8| view.limiting.iter().any(|sensor| sensor.cell == Some(cell));
    let apart = hot.celsius - cold.celsius > limits.get(LimitId::ConnectionKelvin);
    if apart && !view.cells.iter().all(|cell| has_own(cell.cell)) {
        return None;
    }
    let mut ratios = [1.0; MAX_CELLS];
    let middle = 0.5 * (hot.celsius + cold.celsius);
    for (ratio, cell) in ratios.iter_mut().zip(&view.cells) {
        let placed = view.limiting.iter().filter_map(|sensor| Some((sensor.cell?.abs_diff(cell.cell), sensor.celsius)));
        let celsius = placed.min_by_key(|(away, _)| *away).map_or(middle, |(_, celsius)| celsius);
        *ratio = RESISTANCE_RATIO_PLETT.at(celsius);
    }
    Some(Warmth { ratios, known: true })
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::limits::Limits;
    use crate::model::{Bank, Quantity};
    use crate::unit::AmpHours;

    /// Numbers from −1 to 1 that come again the same.
    fn shaken(seed: u64) -> impl FnMut() -> f64 {
        let mut state = seed;
        move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
        }
    }

    /// What a bank is told with.
    struct Telling {
        bank: Bank,
        ohms: [f64; 4],
        loads: [f64; 4],
        step: f64,
        grain: f64,
        hours: f64,
    }

    fn four(ohms: [f64; 4]) -> Telling {
        Telling { bank: four_cells(), ohms, loads: [-1.0, -21.0, 9.0, -41.0], step: 1.0, grain: 0.001, hours: 6.0 }
    }

    fn told(telling: &Telling) -> Story {
        let mut story = Story::new(telling.bank.clone());
        let mut noise = shaken(7);
        let Telling { ohms, loads, grain, .. } = *telling;
        story.run(0.0, telling.hours * 3600.0, telling.step, |t, bus| {
            // The stretch does not divide the spacing, so that the slow part and the rounding differ from step to step.
            let amps = loads[(t / (7.3 * telling.step).max(290.0)) as usize % 4];
            let volts = 3.31 - 0.03 * t / (telling.hours * 3600.0);
            bus.cells(&ohms.map(|ohm| ((volts + ohm * amps + 0.0007 * noise()) / grain).round() * grain));
            bus.current(amps);
            bus.one(
                Quantity::BusVoltage,
                ((4.0 * volts + (ohms.iter().sum::<f64>() + 1.6e-3) * amps) / 0.01).round() * 0.01,
            );
            bus.celsius(0, 25.0);
            bus.celsius(1, 30.0);
        });
        story
    }

    fn excess(story: &Story) -> Vec<Option<(f64, f64)>> {
        let learnt = &story.engine.packs[0].estimates.resistance;
        let known = |cell| learnt.excess(cell, &Limits::default());
        (0..4).map(|cell| known(cell).map(|known| (known.ohms * 1e3, known.half * 1e3))).collect()
    }

    #[test]
    fn each_resistance_comes_out_within_a_tight_band() {
        let story = told(&four([2.4e-3, 2.5e-3, 3.2e-3, 2.5e-3]));
        let learnt = &story.engine.packs[0].estimates.resistance;
        for (cell, real) in [2.4, 2.5, 3.2, 2.5].into_iter().enumerate() {
            let known = learnt.whole(cell, &Limits::default()).unwrap();
            assert!((known.ohms * 1e3 - real).abs() < 0.02, "cell {cell}: {known:?}");
            let (value, half) = excess(&story)[cell].unwrap();
            assert!((value - (real - 2.5)).abs() < 0.02 && half < 0.2, "cell {cell}: {value} ± {half}");
        }
        let outside = learnt.outside(&Limits::default()).unwrap();
        assert!((outside.ohms * 1e3 - 1.6).abs() < outside.half * 1e3 && outside.half < 0.15e-3, "{outside:?}");
    }

    #[test]
    fn from_one_set_a_minute_the_excess_is_known_and_no_resistance_as_such() {
        let story = told(&Telling { step: 60.0, hours: 48.0, ..four([2.4e-3, 2.5e-3, 3.2e-3, 2.5e-3]) });
        let (value, half) = excess(&story)[2].unwrap();
        assert!((value - 0.7).abs() < half && half < 0.25, "{value} ± {half}");
        assert_eq!(story.engine.packs[0].estimates.resistance.whole(2, &Limits::default()), None);
    }

    #[test]
    fn coarse_readings_need_many_steps_or_large_ones() {
        let small = |hours| Telling { loads: [0.0, -5.0, 0.0, -5.0], grain: 0.01, hours, ..four([2.5e-3; 4]) };
        assert_eq!(excess(&told(&small(3.0)))[0], None, "36 steps of 5 A say nothing at 10 mV");
        let large = Telling { loads: [0.0, -50.0, 0.0, -50.0], grain: 0.01, hours: 6.0, ..four([2.5e-3; 4]) };
        assert!(excess(&told(&large))[0].is_some(), "72 steps of 50 A do");
    }

    #[test]
    fn a_bank_of_three_times_the_capacity_and_current_has_a_third_of_the_resistance() {
        let one = told(&four([2.4e-3, 2.5e-3, 3.2e-3, 2.5e-3]));
        let mut large = four([2.4e-3 / 3.0, 2.5e-3 / 3.0, 3.2e-3 / 3.0, 2.5e-3 / 3.0]);
        large.bank.packs[0].rated.capacity = Some(AmpHours::of(300.0));
        large.loads = large.loads.map(|amps| 3.0 * amps);
        for (one, three) in excess(&one).into_iter().zip(excess(&told(&large))) {
            let ((value, half), (third, third_half)) = (one.unwrap(), three.unwrap());
            assert!((value - 3.0 * third).abs() < 0.02 && (half - 3.0 * third_half).abs() < 0.02);
        }
    }

    #[test]
    fn cells_that_change_places_take_their_resistance_along() {
        let one = excess(&told(&four([2.4e-3, 2.5e-3, 3.2e-3, 2.6e-3])));
        let other = excess(&told(&four([3.2e-3, 2.6e-3, 2.4e-3, 2.5e-3])));
        for (from, to) in [(0, 2), (1, 3), (2, 0), (3, 1)] {
            assert!((one[from].unwrap().0 - other[to].unwrap().0).abs() < 0.01, "{one:?} {other:?}");
        }
    }

    #[test]
    fn a_cold_cell_is_no_bad_connection() {
        // The first cell stands at 21 °C and the last at 25 °C: 1.12 times the resistance by the table.
        let mut bank = four_cells();
        bank.packs[0].sensors[0].cell = Some(0);
        bank.packs[0].sensors[1].role = crate::model::bank::SensorRole::Cell;
        bank.packs[0].sensors[1].cell = Some(3);
        let mut story = Story::new(bank);
        let mut noise = shaken(3);
        story.run(0.0, 4.0 * 3600.0, 1.0, |t, bus| {
            let amps = if (t / 290.0) as i64 % 2 == 0 { -1.0 } else { -41.0 };
            let ratio = super::RESISTANCE_RATIO_PLETT.at(21.0);
            let ohms = [8e-3 * ratio, 8e-3 * ratio, 8e-3, 8e-3];
            bus.cells(&ohms.map(|ohm| ((3.31 + ohm * amps + 0.0007 * noise()) * 1e3).round() / 1e3));
            bus.current(amps);
            bus.celsius(0, 21.0);
            bus.celsius(1, 25.0);
        });
        for (value, half) in excess(&story).into_iter().flatten() {
            assert!(value.abs() < 0.05 && half > 0.2, "{value} ± {half}");
        }
    }
}

//! What a run gave of what the pages of single conditions ask for, from the truth alone.

use super::draw::{Drawn, Plan};
use super::held::Held;
use super::watch::{high, low};
use cellwright::sim::{CellTruth, PackTruth};

/// A bank with a bleeder that is dead balances from here on, V, ...
const THRESHOLD: f64 = 3.40;
/// ... and what stands so far above the lowest cell, V; each with a margin.
const MARGIN: f64 = 0.005;
const ABOVE_LOWEST: f64 = 0.010;
/// A cell that stays below the knee while the others stand in it and hardly any current flows: its voltage, that of the mean
/// cell, V, the least and largest current, C, and how far the cells stand apart, V; the documented figures with a margin.
const LAGS: f64 = 3.39;
const MEAN: f64 = 3.41;
const TAIL: (f64, f64) = (-0.002, 0.046);
const APART: f64 = 0.12;
/// A cell is near its lower knee below this share of its capacity.
const EMPTY: f64 = 0.08;

/// What was seen of a pack.
#[derive(Debug, Clone, Default)]
pub(crate) struct Evidence {
    /// At each full charge: how much later than the median each cell is full, Ah.
    behind: Vec<Vec<f64>>,
    /// At each visit of the bottom by most cells: its moment, s, and how much earlier than the median each is empty, Ah.
    early: Vec<(f64, Vec<f64>)>,
    /// By cell: seconds since the first full charge in which it was to be bled, as described, and the lowest was not.
    due: Vec<f64>,
    /// Seconds for which a cell has stayed below the knee with the others in it; longest.
    lagging: f64,
    longest_lag: f64,
    /// Coldest and warmest that the sensors beside one that stands still felt, since it does, °C.
    siblings: Option<(f64, f64)>,
    /// Voltages that the charger held.
    held: Held,
    /// Large steps of the current since half of the cells in parallel are gone: how many, and the sum of their squares, A².
    pub(crate) steps_after: (u32, f64),
}

impl Evidence {
    /// Looks at a pack.
    pub(super) fn look(&mut self, pack: &PackTruth, secs: f64) {
        let cells = &pack.cells;
        let lowest = low(cells, |cell| cell.volts);
        if !self.behind.is_empty() {
            self.due.resize(cells.len(), 0.0);
            for (due, cell) in self.due.iter_mut().zip(cells) {
                if cell.volts > THRESHOLD + MARGIN && cell.volts > lowest + ABOVE_LOWEST + MARGIN {
                    *due += secs;
                }
            }
        }
        let rate = pack.amps / pack.rated;
        let mean = cells.iter().map(|cell| cell.volts).sum::<f64>() / cells.len() as f64;
        self.held.look(pack, mean, secs);
        let apart = high(cells, |cell| cell.volts) - lowest;
        let lags = lowest < LAGS && mean > MEAN && (TAIL.0..TAIL.1).contains(&rate) && apart > APART;
        self.lagging = if lags { self.lagging + secs } else { 0.0 };
        self.longest_lag = self.longest_lag.max(self.lagging);
    }

    /// Looks at what the pack's own faults need to be seen since they came.
    pub(super) fn look_after(&mut self, pack: &PackTruth, plan: &Plan, (at, own): (f64, u8), large_step: Option<f64>) {
        let came = |name: &str| {
            let is = |fault: &&Drawn| fault.kind.name == name && fault.pack == own && at >= fault.from;
            plan.faults.iter().find(is)
        };
        if let Some(stuck) = came("sensor-stuck") {
            let others = pack.felt.iter().enumerate().filter(|(index, _)| *index != usize::from(stuck.part));
            let (sum, count) = others.fold((0.0, 0.0), |(sum, count), (_, felt)| (sum + felt, count + 1.0));
            let mean: f64 = sum / count;
            let (cold, warm) = self.siblings.unwrap_or((mean, mean));
            self.siblings = Some((cold.min(mean), warm.max(mean)));
        }
        if let Some(step) = large_step.filter(|_| came("parallel-gone").is_some()) {
            self.steps_after = (self.steps_after.0 + 1, self.steps_after.1 + step * step);
        }
    }

    /// A full charge.
    pub(super) fn top(&mut self, cells: &[CellTruth]) {
        self.behind.push(behind(cells, |cell| cell.capacity - cell.charge));
    }

    /// A visit of the bottom. Where one cell ends it while most hold charge yet, nothing shows how these stand.
    pub(super) fn bottom(&mut self, at: f64, cells: &[CellTruth]) {
        let empty = cells.iter().filter(|cell| cell.charge < EMPTY * cell.capacity).count();
        if 2 * empty >= cells.len() {
            self.early.push((at, behind(cells, |cell| -cell.charge)));
        }
    }

    /// From the first visit of the bottom by most cells to the last, s.
    pub(super) fn between_bottoms(&self) -> f64 {
        self.early.last().zip(self.early.first()).map_or(0.0, |(last, first)| last.0 - first.0)
    }

    /// Furthest that the cells stood apart at a full charge, Ah.
    pub(super) fn apart_at_top(&self) -> f64 {
        let ends = |all: &Vec<f64>| all.iter().fold((0.0f64, 0.0f64), |(a, b), one| (a.min(*one), b.max(*one)));
        self.behind.iter().map(ends).map(|(low, high)| high - low).fold(0.0, f64::max)
    }

    /// What a cell fell behind its siblings from the first full charge to the last, and from the first visit of the
    /// bottom, Ah.
    pub(super) fn lost(&self, cell: usize) -> (f64, f64) {
        let tops = self.behind.first().zip(self.behind.last()).map_or(0.0, |(then, now)| fell(cell, then, now));
        let bottoms = self.early.first().zip(self.early.last());
        (tops, bottoms.map_or(0.0, |((_, then), (_, now))| fell(cell, then, now)))
    }

    /// Hours in which a cell was to be bled and the lowest was not.
    pub(super) fn due_hours(&self, cell: usize) -> f64 {
        self.due.get(cell).copied().unwrap_or(0.0) / 3600.0
    }

    /// Longest time for which a cell stayed below the knee with the others in it, s.
    pub(super) fn lag_secs(&self) -> f64 {
        self.longest_lag
    }

    /// The same in words.
    pub(super) fn told(&self) -> String {
        let cells = self.behind.last().or(self.early.last().map(|(_, all)| all)).map_or(0, Vec::len);
        let most = |get: &dyn Fn(usize) -> f64| (0..cells).map(get).fold(0.0, f64::max);
        format!(
            "{:.2} Ah lost by the tops, {:.2} Ah by the bottoms, {:.1} h to be bled, held {:.1?}",
            most(&|cell| self.lost(cell).0),
            most(&|cell| self.lost(cell).1),
            most(&|cell| self.due_hours(cell)),
            self.held.slope()
        )
    }

    /// Whether the voltages that were held follow the temperature by clearly more than the limit, in mV/K on four cells.
    pub(super) fn is_compensated(&self, limit: f64) -> bool {
        self.held
            .slope()
            .is_some_and(|(slope, off, correlation)| 4.0 * slope < -1.2 * limit && off < 12.0 && correlation < -0.85)
    }

    /// How far the sensors beside one that stands still moved, K.
    pub(super) fn moved(&self) -> f64 {
        self.siblings.map_or(0.0, |(cold, warm)| warm - cold)
    }
}

/// How much further behind a cell stands, against what half of the others moved by.
fn fell(cell: usize, then: &[f64], now: &[f64]) -> f64 {
    let moved: Vec<f64> = now.iter().zip(then).map(|(now, then)| now - then).collect();
    let mut others: Vec<f64> =
        moved.iter().enumerate().filter(|(other, _)| *other != cell).map(|(_, moved)| *moved).collect();
    others.sort_by(f64::total_cmp);
    let middle = others.get(others.len() / 2).copied().unwrap_or(0.0);
    moved.get(cell).copied().unwrap_or(0.0) - middle
}

/// By cell: how far a figure lies above that of the median.
fn behind(cells: &[CellTruth], get: impl Fn(&CellTruth) -> f64) -> Vec<f64> {
    let all: Vec<f64> = cells.iter().map(get).collect();
    let mut sorted = all.clone();
    sorted.sort_by(f64::total_cmp);
    let middle = 0.5 * (sorted[(sorted.len() - 1) / 2] + sorted[sorted.len() / 2]);
    all.into_iter().map(|own| own - middle).collect()
}

//! Balance leads: what makes a cell's reading wrong while the cell is well. A constant offset, two neighbours that
//! share a poor lead, and a lead with resistance that shows only while balancing draws through it. An open lead and
//! swapped leads show at once and need no memory: see `View::lead_faults`.

use crate::engine::view::View;
use crate::model::limits::{LimitId, Limits};
use crate::model::{MAX_CELLS, Stamp};
use serde::{Deserialize, Serialize};

/// On the plateau: between these a cell's voltage hardly depends on its charge, V.
const PLATEAU: (f64, f64) = (3.20, 3.38);
/// From this median on, at a small current, the knee shows whether a cell really is behind or ahead, V.
const KNEE: f64 = 3.42;
const KNEE_RATE: f64 = 0.1;
/// An offset in the knee must be this near to the offset on the plateau, V, ...
const KNEE_NEAR: f64 = 0.06;
/// ... and at any moment of the last visit this near: a cell that is ahead or behind stands far off at the top, and near
/// again when the others have fallen back.
const KNEE_EVER: f64 = 0.10;
/// Without having seen the knee, the plateau's step must lie inside what was covered: so much of the capacity.
const WITHOUT_KNEE: f64 = 0.35;
/// A block ends after so much of the capacity has moved.
const BLOCK: f64 = 0.02;
/// And holds at least so many ticks.
const BLOCK_TICKS: u32 = 3;
/// Readings further apart than this say nothing of what balancing does, s.
const BLEED_SPACING: f64 = 15.0;
/// Equal and opposite: within this share of the larger.
const OPPOSITE: f64 = 0.35;
/// Times that it must have been seen with balancing going on or off.
const TIMES: i8 = 3;

/// A deviation that stays the same.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Run {
    /// Lowest and highest of its blocks, V.
    low: f64,
    high: f64,
    /// Sum of the blocks, V, and how many.
    sum: f64,
    blocks: u32,
    /// Least and most net charge, Ah.
    charge: (f64, f64),
    /// Least and most current, C.
    rate: (f64, f64),
    /// Least and most net charge at which it was another before, Ah.
    otherwise: Option<(f64, f64)>,
}

/// One cell's lead.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Lead {
    /// Sum of the deviations of the block under way, V.
    block: f64,
    run: Run,
    /// In the last visit of the knee: last, lowest and highest deviation, V.
    knee: Option<(f64, f64, f64)>,
    /// How often this cell and the next moved against each other when balancing went on or off.
    opposed: i8,
    /// By how much, V.
    swing: f64,
}

/// What is known of a pack's balance leads.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Leads {
    cells: Vec<Lead>,
    ticks: u32,
    /// The knee was visited and not left yet.
    in_knee: bool,
    /// Sum of the rates of the block, C.
    rates: f64,
    /// Net charge counted here, Ah, and at the start of the block.
    net: f64,
    from: f64,
    /// State of balancing and voltages at the tick before.
    before: Option<(bool, f64, Stamp)>,
    volts: Vec<f64>,
    /// When a lead was last seen open or swapped: only the plateau shows it, and the knees mislead until long after.
    gross: Option<Stamp>,
    /// When a lead with resistance was last seen: only what balancing does shows it.
    poor: Option<Stamp>,
    /// When two neighbours were last seen to share a poor lead.
    shared: Option<Stamp>,
    /// The first of two that look so, and since when: cells that rise one after another may for a moment.
    sharing: Option<(u8, Stamp)>,
}

/// A lead that was seen open or swapped is not trusted for so long after, s, ...
const GROSS_STANDS: f64 = 86_400.0;
/// ... and one with resistance for so long.
const POOR_STANDS: f64 = 30.0 * 86_400.0;

impl Leads {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, limits: &Limits) {
        if view.lead_faults(limits).is_some() {
            self.gross = Some(view.now);
        }
        self.watch_shared(view, limits);
        let (Some(median), Some(rate), Some(capacity)) = (view.median, view.rate(), view.capacity) else {
            self.before = None;
            return;
        };
        if !view.sees_all_cells() || view.cells.len() < 3 {
            self.before = None;
            return;
        }
        if self.cells.len() != view.cells.len() {
            *self = Self {
                cells: vec![Lead::default(); view.cells.len()],
                gross: self.gross,
                poor: self.poor,
                shared: self.shared,
                ..Self::default()
            };
            self.volts = vec![median; view.cells.len()];
        }
        self.net += rate * capacity * view.secs().min(180.0) / 3600.0;
        let mean = view.mean.unwrap_or(median);
        if (PLATEAU.0..=PLATEAU.1).contains(&mean) {
            self.in_knee = false;
            self.add(view, median, rate);
            if (self.net - self.from).abs() >= BLOCK * capacity {
                self.close(limits);
            }
        } else {
            if median >= KNEE && rate.abs() < KNEE_RATE {
                for (lead, cell) in self.cells.iter_mut().zip(&view.cells) {
                    let off = cell.volts - median;
                    let (_, low, high) = lead.knee.filter(|_| self.in_knee).unwrap_or((off, off, off));
                    lead.knee = Some((off, low.min(off), high.max(off)));
                }
                self.in_knee = true;
            }
            self.begin();
        }
        self.watch_balancing(view, median, rate, limits);
    }

    /// Forgets whether a reading is off by the same at every current: which currents those were is no longer known.
    pub fn forget_offsets(&mut self) {
        self.cells.iter_mut().for_each(|lead| lead.run = Run::default());
        self.net = 0.0;
        self.begin();
    }

    fn add(&mut self, view: &View, median: f64, rate: f64) {
        if self.ticks == 0 {
            self.from = self.net;
        }
        for (lead, cell) in self.cells.iter_mut().zip(&view.cells) {
            lead.block += cell.volts - median;
        }
        self.ticks += 1;
        self.rates += rate;
    }

    fn begin(&mut self) {
        self.cells.iter_mut().for_each(|lead| lead.block = 0.0);
        (self.ticks, self.rates, self.from) = (0, 0.0, self.net);
    }

    fn close(&mut self, limits: &Limits) {
        let ticks = f64::from(self.ticks);
        let (rate, charge) = (self.rates / ticks, 0.5 * (self.net + self.from));
        let moves = limits.get(LimitId::LeadMoves) * 1e-3;
        if self.ticks >= BLOCK_TICKS {
            for lead in &mut self.cells {
                lead.run.take(lead.block / ticks, (charge, rate), moves);
            }
        }
        self.begin();
    }

    /// When balancing goes on or off and the current does not change: whether two neighbours move against each other.
    fn watch_balancing(&mut self, view: &View, median: f64, rate: f64, limits: &Limits) {
        let was = self.before.take();
        if let Some(balancing) = view.switches.balancing {
            self.before = Some((balancing, rate, view.now));
            let changed = was.filter(|(was, then, at)| {
                *was != balancing && (rate - then).abs() < 0.02 && view.now.since(*at) <= BLEED_SPACING
            });
            if changed.is_some() {
                self.weigh_change(view, balancing, limits);
            }
        }
        for (place, cell) in self.volts.iter_mut().zip(&view.cells) {
            *place = cell.volts - median;
        }
        if self.cells.iter().any(|lead| lead.opposed >= TIMES) {
            self.poor = Some(view.now);
        }
    }

    fn weigh_change(&mut self, view: &View, balancing: bool, limits: &Limits) {
        let Some(median) = view.median else { return };
        let least = limits.get(LimitId::LeadOffset) * 1e-3;
        let sign = if balancing { 1.0 } else { -1.0 };
        let moved = |index: usize| {
            let cell = view.cells.get(index)?;
            Some(sign * (cell.volts - median - self.volts.get(index)?))
        };
        let mut pairs = [None; MAX_CELLS];
        for (index, pair) in pairs.iter_mut().enumerate().take(view.cells.len().saturating_sub(1)) {
            let (Some(one), Some(two)) = (moved(index), moved(index + 1)) else { continue };
            let larger = one.abs().max(two.abs());
            let against = one * two < 0.0 && larger > least && (one + two).abs() < OPPOSITE * larger;
            *pair = against.then_some(one);
        }
        for (lead, pair) in self.cells.iter_mut().zip(pairs) {
            match pair {
                Some(swing) if lead.opposed == 0 || swing * lead.swing > 0.0 => {
                    lead.opposed = (lead.opposed + 1).min(2 * TIMES);
                    lead.swing = swing;
                }
                _ => lead.opposed = (lead.opposed - 1).max(0),
            }
        }
    }

    /// The constant offset of a cell's reading, V, once it is one: the currents lay so far apart that a resistance would
    /// have moved it.
    #[must_use]
    pub fn offset(&self, cell: usize, capacity: f64, limits: &Limits) -> Option<f64> {
        let lead = self.cells.get(cell)?;
        let run = &lead.run;
        let offset = run.sum / f64::from(run.blocks.max(1));
        let covered = (run.charge.1 - run.charge.0) / capacity;
        let least = match lead.knee {
            Some((last, low, high))
                if (last - offset).abs() <= KNEE_NEAR && offset - low <= KNEE_EVER && high - offset <= KNEE_EVER =>
            {
                limits.get(LimitId::LeadCovered) / 100.0
            }
            Some(_) => return None,
            None => WITHOUT_KNEE.max(limits.get(LimitId::LeadCovered) / 100.0),
        };
        let wide = covered >= least && run.rate.1 - run.rate.0 >= limits.get(LimitId::LeadRates);
        let largest = run.rate.0.abs().max(run.rate.1.abs());
        let by_current =
            offset.abs() * (run.rate.1 - run.rate.0) / largest.max(1e-9) > limits.get(LimitId::LeadMoves) * 1e-3;
        let same = run.blocks > 2 && run.is_back();
        (same && wide && by_current && offset.abs() > limits.get(LimitId::LeadOffset) * 1e-3).then_some(offset)
    }

    /// Swing of a cell against the next one while balancing, V, once it was seen often enough: their common lead has
    /// resistance.
    #[must_use]
    pub fn resistive(&self, cell: usize) -> Option<f64> {
        self.cells.get(cell).filter(|lead| lead.opposed >= TIMES).map(|lead| lead.swing)
    }

    fn watch_shared(&mut self, view: &View, limits: &Limits) {
        let first = shared_pair(view, limits).and_then(|(index, _)| u8::try_from(index).ok());
        let going = self.sharing.filter(|(before, _)| Some(*before) == first);
        self.sharing = going.or(first.map(|first| (first, view.now)));
        let held = |(_, since): (u8, Stamp)| view.now.since(since) >= limits.get(LimitId::LeadSharedMinutes) * 60.0;
        if self.sharing.is_some_and(|sharing| self.shared.is_some() || held(sharing)) {
            self.shared = Some(view.now);
        }
    }

    /// Whether a fault of a lead stands that makes the cells' voltages useless for comparing their charge.
    #[must_use]
    pub fn any(&self, view: &View, limits: &Limits) -> bool {
        let stands = |seen: Option<Stamp>, secs: f64| seen.is_some_and(|seen| view.now.since(seen) <= secs);
        if [self.gross, self.shared].iter().any(|seen| stands(*seen, GROSS_STANDS)) || stands(self.poor, POOR_STANDS) {
            return true;
        }
        let Some(capacity) = view.capacity else { return false };
        (0..self.cells.len())
            .any(|cell| self.offset(cell, capacity, limits).is_some() || self.resistive(cell).is_some())
    }

    /// Two neighbours moved against each other when balancing last went on or off: until it is seen again or not, what
    /// the cells do at the top is not to be relied on.
    #[must_use]
    pub fn doubtful(&self) -> bool {
        self.cells.iter().any(|lead| lead.opposed > 0)
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.cells.len() <= MAX_CELLS && self.volts.len() <= MAX_CELLS
    }
}

/// Two neighbours off by equal and opposite amounts on the plateau, the others together: the place of the first and how
/// far it is off, V.
#[must_use]
pub fn shared_pair(view: &View, limits: &Limits) -> Option<(usize, f64)> {
    let plateau = limits.get(LimitId::LeadPlateauLow)..=limits.get(LimitId::LeadPlateauHigh);
    if view.cells.len() < 4 || !view.rate().is_some_and(|rate| rate.abs() < limits.get(LimitId::LeadSharedRate)) {
        return None;
    }
    let between = limits.get(LimitId::LeadShared) * 1e-3;
    view.cells.windows(2).enumerate().find_map(|(index, pair)| {
        let apart = (pair[0].volts - pair[1].volts).abs();
        if apart <= between {
            return None;
        }
        let rest =
            || view.cells.iter().enumerate().filter(|(at, _)| *at != index && *at != index + 1).map(|(_, c)| c.volts);
        let (sum, count) = rest().fold((0.0, 0.0), |(sum, count), volts| (sum + volts, count + 1.0));
        let others = sum / count;
        let (low, high) = rest().fold((f64::MAX, f64::MIN), |(low, high), volts| (low.min(volts), high.max(volts)));
        let even = 0.5 * (pair[0].volts + pair[1].volts);
        let opposite = (even - others).abs() <= 0.15 * apart;
        (plateau.contains(&others) && high - low <= 0.4 * apart && opposite).then_some((index, pair[0].volts - others))
    })
}

impl Run {
    /// It was seen again where the cell read otherwise before: so it came with time and does not go with the charge, as
    /// that of a cell with less charge than the others does.
    fn is_back(&self) -> bool {
        self.otherwise.is_none_or(|(from, to)| {
            let both = self.charge.1.min(to) - self.charge.0.max(from);
            both >= 0.5 * (to - from)
        })
    }

    fn take(&mut self, volts: f64, (charge, rate): (f64, f64), moves: f64) {
        let (low, high) = (self.low.min(volts), self.high.max(volts));
        if self.blocks == 0 || high - low > moves {
            let otherwise = if self.blocks > 2 { Some(self.charge) } else { self.otherwise };
            let (charge, rate) = ((charge, charge), (rate, rate));
            *self = Self { low: volts, high: volts, sum: volts, blocks: 1, charge, rate, otherwise };
            return;
        }
        (self.low, self.high) = (low, high);
        self.sum += volts;
        self.blocks += 1;
        self.charge = (self.charge.0.min(charge), self.charge.1.max(charge));
        self.rate = (self.rate.0.min(rate), self.rate.1.max(rate));
    }
}

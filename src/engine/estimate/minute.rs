//! The last minute before a BMS cut its pack off: how far each limit was, which was reached first and where, and how the
//! cells came back. And the largest current that the cells can give now.

use super::cut::Cut;
use crate::curve::RESISTANCE_RATIO_PLETT;
use crate::engine::pack::Pack;
use crate::engine::view::{CellNow, View};
use crate::model::Estimate;
use crate::model::limits::{LimitId, Limits};
use crate::model::{Quantity, Stamp, Subject};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Length of the memory, s, and the most moments in it.
const MEMORY: (f64, usize) = (60.0, 60);
/// A voltage limit is near within this, V; a temperature within this, K. Judgement of this project.
const NEAR: (f64, f64) = (0.15, 1.5);
/// Limits of a pack that does not report its own: lowest and highest cell, V; coldest and hottest for charge, for
/// discharge, °C. Common practice, no source.
const USUAL: [f64; 6] = [2.5, 3.65, 0.0, 55.0, -20.0, 60.0];
/// Cells are followed for this long after a cut, s.
const AFTER: f64 = 60.0;
/// Down to this voltage a cell is asked for current, V.
const EMPTY: f64 = 2.5;
/// While the cells' own resistance is not known it may be so many times smaller or larger than is usual.
const RESISTANCE: (f64, f64) = (0.6, 1.8);
/// A draw that lasts for minutes lowers a cell by so many times what is measured seconds after a step (judgement).
const LASTS: f64 = 1.7;

/// A moment of the last minute.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Moment {
    at: Stamp,
    /// Lowest and highest cell: which, V.
    cells: Option<((u8, f32), (u8, f32))>,
    /// Coldest and hottest sensor: which, °C.
    celsius: Option<((u8, f32), (u8, f32))>,
}

/// Which limit was reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Reached {
    /// A cell came to the lower voltage limit.
    Low,
    /// A cell came to the upper voltage limit.
    High,
    /// A sensor came to the cold limit.
    Cold,
    /// A sensor came to the hot limit.
    Hot,
}

/// The limit that was reached first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct First {
    /// Which.
    pub what: Reached,
    /// At which cell or sensor, from 0.
    pub place: u8,
    /// Smallest margin to the limit, V or K; negative beyond it.
    pub margin: f64,
    /// The pack reports this limit itself; else it is the usual one.
    pub reported: bool,
    /// Seconds before the cut at which it came near.
    pub secs: f64,
}

/// The story of a cut-off.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CutStory {
    /// When the current fell.
    pub at: Stamp,
    /// The limit that was reached first; none when none was near.
    pub first: Option<First>,
    /// Seconds until current flowed again or the path was closed.
    pub recovered: Option<f64>,
    /// The cell that came to its limit, a minute later, V.
    pub volts_after: Option<f64>,
}

/// Keeps the last minute, and the story of the last cut-off.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct LastMinute {
    moments: VecDeque<Moment>,
    cut: Option<CutStory>,
}

impl LastMinute {
    /// Moves on by one tick, after the cut-offs.
    pub fn tick(&mut self, view: &View, cut: &Cut, allowed: &Allowed) {
        match (&cut.now, &mut self.cut) {
            (Some((fall, _)), Some(story)) if story.at == fall.at => story.follow(view),
            (Some((fall, _)), _) => self.cut = Some(self.tell(fall.at, fall.amps, allowed)),
            (None, Some(story)) if story.recovered.is_none() => story.recovered = Some(view.now.since(story.at)),
            (None, Some(story)) => story.follow(view),
            (None, None) => {}
        }
        self.keep(view);
    }

    fn keep(&mut self, view: &View) {
        let cell = |cell: crate::engine::view::CellNow| (cell.cell, cell.volts as f32);
        let sensor = |sensor: crate::engine::view::SensorNow| (sensor.sensor, sensor.celsius as f32);
        while self.moments.len() >= MEMORY.1
            || self.moments.front().is_some_and(|moment| view.now.since(moment.at) > MEMORY.0)
        {
            self.moments.pop_front();
        }
        self.moments.push_back(Moment {
            at: view.now,
            cells: view.lowest().zip(view.highest()).map(|(low, high)| (cell(low), cell(high))),
            celsius: view.coldest().zip(view.hottest()).map(|(cold, hot)| (sensor(cold), sensor(hot))),
        });
    }

    /// Looks through the minute for the limit that came near first.
    fn tell(&self, at: Stamp, amps: f64, allowed: &Allowed) -> CutStory {
        let charging = amps > 0.0;
        let mut first: Option<First> = None;
        for moment in self.moments.iter().filter(|moment| moment.at < at) {
            let near = moment.nearest(charging, allowed).map(|(what, place, margin, reported)| First {
                what,
                place,
                margin,
                reported,
                secs: at.since(moment.at),
            });
            first = match (first, near) {
                (Some(before), Some(now)) if before.what == now.what && before.place == now.place => {
                    Some(First { margin: before.margin.min(now.margin), ..before })
                }
                // Another that comes near later is not the first, unless the first has gone away again.
                (Some(before), Some(_)) => Some(before),
                (_, near) => near,
            };
        }
        CutStory { at, first, recovered: None, volts_after: None }
    }

    /// The story of the last cut-off.
    #[must_use]
    pub fn cut(&self) -> Option<&CutStory> {
        self.cut.as_ref()
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.moments.len() <= MEMORY.1
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack, limits: &Limits) -> Vec<Estimate> {
        let mut rows = vec![can_give(pack, limits)];
        let Some(story) = &self.cut else { return rows };
        let whole = pack.subject();
        if let Some(first) = story.first {
            let (name, subject) = match first.what {
                Reached::Low | Reached::High => ("cut_margin_v", Subject::cell(pack.number, first.place)),
                Reached::Cold | Reached::Hot => ("cut_margin_k", Subject::sensor(pack.number, first.place)),
            };
            rows.push(Estimate::known(name, subject, first.margin).because(first.words()));
            if let Some(volts) = story.volts_after {
                rows.push(Estimate::known("cut_cell_after_60_s_v", subject, volts));
            }
        } else {
            rows.push(Estimate::unknown(
                "cut_margin_v",
                whole,
                "no limit of a cell or a sensor was near before the cut",
            ));
        }
        rows.push(match story.recovered {
            Some(secs) => Estimate::known("cut_recovered_after_s", whole, secs),
            None => Estimate::unknown("cut_recovered_after_s", whole, "it has not come back yet"),
        });
        rows
    }
}

/// Limits of a pack, and whether it reports each itself: in the order of `USUAL`.
pub struct Allowed([(f64, bool); 6]);

impl Allowed {
    /// The limits that a pack reports, the usual ones for those that it does not.
    #[must_use]
    pub fn of(pack: &Pack, now: Stamp, limits: &Limits) -> Self {
        let reported = [
            Quantity::CellVoltageMin,
            Quantity::CellVoltageMax,
            Quantity::ChargeTempMin,
            Quantity::ChargeTempMax,
            Quantity::DischargeTempMin,
            Quantity::DischargeTempMax,
        ];
        Self(std::array::from_fn(|at| {
            let own = pack.gauge(reported[at]).now(now, limits.get(LimitId::StalePeriods));
            (own.unwrap_or(USUAL[at]), own.is_some())
        }))
    }
}

impl Moment {
    /// The limit that is nearest and near: which, where, the margin, and whether the pack reports it.
    fn nearest(&self, charging: bool, Allowed(limits): &Allowed) -> Option<(Reached, u8, f64, bool)> {
        let (cold, hot) = if charging { (limits[2], limits[3]) } else { (limits[4], limits[5]) };
        let volts = self.cells.map(|(low, high)| match charging {
            true => (Reached::High, high.0, limits[1].0 - f64::from(high.1), limits[1].1),
            false => (Reached::Low, low.0, f64::from(low.1) - limits[0].0, limits[0].1),
        });
        let coldest = self.celsius.map(|(low, _)| (Reached::Cold, low.0, f64::from(low.1) - cold.0, cold.1));
        let hottest = self.celsius.map(|(_, high)| (Reached::Hot, high.0, hot.0 - f64::from(high.1), hot.1));
        let all = [(volts, NEAR.0), (coldest, NEAR.1), (hottest, NEAR.1)];
        let near = all.into_iter().filter_map(|(found, near)| found.map(|found| (found, found.2 / near)));
        let nearest = near.min_by(|a, b| a.1.total_cmp(&b.1));
        nearest.filter(|(_, part)| *part <= 1.0).map(|(found, _)| found)
    }
}

impl CutStory {
    fn follow(&mut self, view: &View) {
        let Some(first) = self.first.filter(|first| matches!(first.what, Reached::Low | Reached::High)) else { return };
        if self.volts_after.is_none() && view.now.since(self.at) >= AFTER {
            self.volts_after = view.cells.iter().find(|cell| cell.cell == first.place).map(|cell| cell.volts);
        }
    }
}

impl First {
    /// What was reached, as in 'the lower limit of cell 3, 0.02 V away'.
    #[must_use]
    pub fn words(&self) -> String {
        let number = self.place + 1;
        let what = match self.what {
            Reached::Low => format!("cell {number} came to its lower limit first"),
            Reached::High => format!("cell {number} came to its upper limit first"),
            Reached::Cold => format!("sensor {number} came to the cold limit first"),
            Reached::Hot => format!("sensor {number} came to the hot limit first"),
        };
        let whose = if self.reported { "the pack's own" } else { "the usual one, the pack reports none" };
        format!("{what} ({whose}), near it from {:.0} s before", self.secs)
    }
}

/// The largest current that a cell can give until it is down to 2.5 V, A.
#[must_use]
pub fn largest(open_circuit: f64, ohms: f64) -> f64 {
    ((open_circuit - EMPTY) / ohms).max(0.0)
}

/// The largest current that the weakest cell can give now: with its own resistance where steps of the current have shown it,
/// else with the one that is usual for its capacity.
fn can_give(pack: &Pack, limits: &Limits) -> Estimate {
    let (name, subject, view) = ("largest_current_now_a", pack.subject(), &pack.view);
    let not = |why: &str| Estimate::unknown(name, subject, why);
    let (Some(current), Some(capacity)) = (view.current, view.capacity) else {
        return not("no valid current, or the rated capacity is not described");
    };
    let Some(coldest) = view.coldest() else { return not("no valid temperature: the resistance depends on it") };
    if view.cells.is_empty() || !view.sees_all_cells() {
        return not("not every cell voltage is seen");
    }
    let ratio = RESISTANCE_RATIO_PLETT.at(coldest.celsius);
    let usual = limits.get(LimitId::UndervoltageSag) / capacity * ratio;
    let measured = |cell: u8| own(pack, cell, ratio, limits);
    let give = |cell: &CellNow, ohms: f64| largest(cell.volts - current.amps.min(0.0) * ohms, ohms);
    let weakest = |ohms: &dyn Fn(u8) -> f64| view.cells.iter().map(|cell| give(cell, ohms(cell.cell))).reduce(f64::min);
    let best = |cell| measured(cell).map_or(usual, |(ohms, _)| ohms);
    let most = |cell| measured(cell).map_or(usual * RESISTANCE.1, |(ohms, half)| (ohms + half) * LASTS);
    let least =
        |cell| measured(cell).map_or(usual * RESISTANCE.0, |(ohms, half)| (ohms - half).max(ohms * RESISTANCE.0));
    let by = match view.cells.iter().all(|cell| measured(cell.cell).is_some()) {
        true => "the resistance that was measured",
        false => "the usual resistance of cells of this size",
    };
    let Some(value) = weakest(&best) else { return not("not every cell voltage is seen") };
    Estimate {
        low: weakest(&most),
        high: weakest(&least),
        ..Estimate::known(name, subject, value).because(format!("by {by}; fuses, cables and the BMS may allow less"))
    }
}

/// A cell's resistance as it is at this temperature, with its connection, which does not follow it, and the half width, Ω.
fn own(pack: &Pack, cell: u8, ratio: f64, limits: &Limits) -> Option<(f64, f64)> {
    let learnt = &pack.estimates.resistance;
    let (whole, excess) = (learnt.whole(cell.into(), limits)?, learnt.excess(cell.into(), limits)?);
    let ohms = (whole.ohms - excess.ohms) * ratio + excess.ohms;
    (ohms > 0.0).then_some((ohms, whole.half))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Story, four_cells};

    /// Worked by hand: 5 % charge is about 2.986 V at rest; 3 mΩ in the cold give 162 A down to 2.5 V.
    #[test]
    fn a_cold_and_nearly_empty_cell_gives_as_much_as_ohm_says() {
        assert!((largest(2.986, 3e-3) - 162.0).abs() < 0.1);
        assert_eq!(largest(2.4, 3e-3), 0.0);
    }

    /// A load of 40 A; cell 3 falls by 10 mV a second until the path opens at 300 s; it comes back at 420 s.
    fn told(step: f64, reported: bool) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, step, |t, bus| {
            let cut = (300.0..420.0).contains(&t);
            let third = if t < 300.0 { 2.51 + (300.0 - t) * 0.01 } else { 2.95 };
            bus.cells(&[3.1, 3.1, third.min(3.1), 3.1]);
            bus.celsius(0, 12.0);
            bus.current(if cut { 0.0 } else { -40.0 });
            bus.one(Quantity::DischargePath, f64::from(u8::from(!cut)));
            bus.one(Quantity::ChargePath, 1.0);
            if reported {
                bus.one(Quantity::CellVoltageMin, 2.6);
            }
        });
        story
    }

    #[test]
    fn the_last_minute_says_which_cell_came_to_its_limit_first() {
        let story = told(1.0, false);
        let cut = *story.engine.packs[0].estimates.stress.minute.cut().unwrap();
        let first = cut.first.unwrap();
        assert_eq!((first.what, first.place, first.reported), (Reached::Low, 2, false));
        assert!((first.margin - 0.02).abs() < 0.011 && (first.secs - 14.0).abs() <= 2.0, "{first:?}");
        assert!((cut.recovered.unwrap() - 120.0).abs() < 2.0, "{cut:?}");
        assert!((cut.volts_after.unwrap() - 2.95).abs() < 1e-9, "{cut:?}");
        let own = told(1.0, true).engine.packs[0].estimates.stress.minute.cut().unwrap().first.unwrap();
        assert!(own.reported && own.margin < -0.07, "{own:?}");
    }

    #[test]
    fn where_no_limit_was_near_none_is_blamed() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 200.0, 1.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.celsius(0, 12.0);
            bus.current(if t < 100.0 { -40.0 } else { 0.0 });
            bus.one(Quantity::DischargePath, f64::from(u8::from(t < 100.0)));
        });
        let cut = *story.engine.packs[0].estimates.stress.minute.cut().unwrap();
        assert_eq!((cut.first, cut.recovered), (None, None));
        let rows = story.snapshot().estimates;
        assert!(rows.iter().any(|row| row.name == "cut_recovered_after_s" && row.value.is_none()));
    }

    #[test]
    fn a_bank_can_give_less_in_the_cold_and_says_how_unsure_it_is() {
        let give = |celsius: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 60.0, 1.0, |_, bus| {
                bus.cells(&[3.2; 4]);
                bus.celsius(0, celsius);
                bus.current(0.0);
            });
            story.snapshot().estimates.into_iter().find(|row| row.name == "largest_current_now_a").unwrap()
        };
        let (warm, cold) = (give(25.0), give(-15.0));
        assert!((warm.value.unwrap() - 636.0).abs() < 1.0 && cold.value.unwrap() < 110.0, "{warm:?} {cold:?}");
        assert!(warm.low < warm.value && warm.value < warm.high);
    }
}

//! What a bank draws while nobody uses it, and how long it lasts: quiet hours, and the time since it was last used.

use super::around::Around;
use super::habits::Told;
use super::offset::assumed;
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Quiet hours are remembered for this long, h.
const KEPT_H: u32 = 14 * 24;
/// Quiet hours from which a draw is told.
const FEWEST: usize = 4;
/// Part of an hour in which the current must have been known.
const SEEN: f64 = 0.95;
/// A current into the bank of so many times what a sensor may read at zero feeds it.
const FED: f64 = 2.0;
/// The standby draw is that of the quietest hours: so many of a hundred draw less; it is smoothed by nothing else.
const QUIETEST: f64 = 0.05;
/// After so long without a current nobody knows whether the bank was used, s.
const UNSEEN_SECS: f64 = 3600.0;
/// State of charge down to which a bank is reckoned.
pub const DOWN_TO: f64 = 0.10;

/// The hour under way.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Open {
    hour: u32,
    net: f64,
    secs: f64,
    /// Something charged, or nothing could be drawn.
    busy: bool,
}

/// What quiet hours draw, A; positive is out of the bank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Draw {
    /// In the quietest hours.
    pub least: f64,
    /// In half of them less, in half more.
    pub usual: f64,
    /// Half width, A: what the sensor may read at zero, and its resolution.
    pub half: f64,
    /// How many hours it rests on.
    pub hours: u32,
}

/// A bank that is not used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Idle {
    /// Since when.
    pub since: Stamp,
    /// When its current was last known.
    seen: Stamp,
    net: f64,
    secs: f64,
    /// Least state of charge when it began.
    low: Option<f64>,
}

/// Quiet hours and idle time of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Standby {
    open: Open,
    /// Hour and mean draw, A.
    quiet: VecDeque<(u32, f32)>,
    draw: Option<Draw>,
    idle: Option<Idle>,
}

/// Days until a bank that holds `from` of `capacity` Ah is down to a tenth, at a draw in A and a self-discharge in % a
/// month. 0 when it is already there; none when it never comes there.
#[must_use]
pub fn days_left(from: f64, capacity: f64, amps: f64, monthly_percent: f64) -> Option<f64> {
    let daily = 24.0 * amps.max(0.0) + capacity * monthly_percent / 100.0 / 30.0;
    (daily > 0.0).then(|| ((from - DOWN_TO) * capacity / daily).max(0.0))
}

impl Standby {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around, told: &Told) {
        let limits = around.limits;
        let rates =
            view.current.zip(view.capacity).map(|(c, capacity)| (c.recent.high / capacity, c.recent.low / capacity));
        let charges = rates.is_some_and(|(high, _)| high > limits.get(LimitId::StorageChargeRate));
        let is_cut_off = view.switches.discharge_path == Some(false);
        self.open.busy |= charges || is_cut_off || self.is_fed(view, around);
        let hour = u32::try_from(view.now.secs() / 3600).unwrap_or(0);
        if hour != self.open.hour {
            self.turn(hour, view, told, limits);
        }
        let Some((_, low)) = rates else { return };
        self.idle = self.idle.filter(|idle| view.now.since(idle.seen) <= UNSEEN_SECS);
        if let Some(idle) = &mut self.idle {
            idle.seen = view.now;
        }
        if charges || -low > limits.get(LimitId::StorageLoadRate) {
            self.idle = None;
        } else if self.idle.is_none() {
            let known = told.soc.estimate(view, view.now, limits);
            let low = known.ok().map(|(known, _)| known.low);
            self.idle =
                Some(Idle { since: view.now, seen: view.now, net: told.charge.net(), secs: told.charge.secs, low });
        }
    }

    /// Forgets how full the pack was when its use ended: since when it has not been used stays.
    pub fn forget_charge(&mut self) {
        if let Some(idle) = &mut self.idle {
            idle.low = None;
        }
    }

    /// Whether something feeds the bank's loads, so that what it draws itself is not the whole: a current into it beyond
    /// what a sensor reads at zero, or a source that is heard. What a pack gives into the others is no draw either.
    fn is_fed(&self, view: &View, around: &Around) -> bool {
        let limits = around.limits;
        let charged = |amps: Option<f64>| {
            amps.zip(view.capacity).is_some_and(|(amps, capacity)| amps > FED * assumed(capacity, limits))
        };
        charged(view.current.map(|current| current.amps))
            || charged(around.others)
            || (!self.open.busy && around.bank.charging(view.now, limits.get(LimitId::StalePeriods)).next().is_some())
    }

    fn turn(&mut self, hour: u32, view: &View, told: &Told, limits: &Limits) {
        let secs = told.charge.secs - self.open.secs;
        if secs >= SEEN * 3600.0 && hour == self.open.hour.saturating_add(1) && !self.open.busy {
            let amps = (self.open.net - told.charge.net()) / secs * 3600.0;
            if view.capacity.is_none_or(|capacity| amps >= -assumed(capacity, limits)) {
                self.quiet.push_back((self.open.hour, amps as f32));
            }
            self.settle(view, told, limits);
        }
        while self.quiet.front().is_some_and(|(oldest, _)| oldest.saturating_add(KEPT_H) < hour) {
            self.quiet.pop_front();
        }
        self.open = Open { hour, net: told.charge.net(), secs: told.charge.secs, busy: false };
    }

    /// What the quiet hours come to; once an hour.
    fn settle(&mut self, view: &View, told: &Told, limits: &Limits) {
        let Some(capacity) = view.capacity.filter(|_| self.quiet.len() >= FEWEST) else { return };
        let mut amps: Vec<f32> = self.quiet.iter().map(|(_, amps)| *amps).collect();
        amps.sort_unstable_by(f32::total_cmp);
        let at = |share: f64| amps.get(((amps.len() - 1) as f64 * share) as usize).map_or(0.0, |amps| f64::from(*amps));
        let (offset, half) = zero(told, capacity, limits);
        self.draw =
            Some(Draw { least: at(QUIETEST) + offset, usual: at(0.5) + offset, half, hours: amps.len() as u32 });
    }

    /// What quiet hours draw; none before enough of them were seen.
    #[must_use]
    pub fn draw(&self) -> Option<Draw> {
        self.draw
    }

    /// Since when the bank has not been used.
    #[must_use]
    pub fn idle(&self) -> Option<Idle> {
        self.idle
    }

    /// Whether a state from elsewhere is no larger than it can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.quiet.len() <= KEPT_H as usize + 1
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack, limits: &Limits) -> Vec<Estimate> {
        let subject = pack.subject();
        let Some(draw) = self.draw else {
            let why = "fewer than four hours without charge, and without current from pack to pack, were seen whole";
            return ["standby_draw_a", "quiet_hours_draw_a", "until_a_tenth_days"]
                .map(|name| Estimate::unknown(name, subject, why))
                .into();
        };
        let row = |name, amps: f64| {
            Estimate::known(name, subject, amps.max(0.0)).within((amps - draw.half).max(0.0), amps.max(0.0) + draw.half)
        };
        vec![row("standby_draw_a", draw.least), row("quiet_hours_draw_a", draw.usual), days(pack, &draw, limits)]
    }
}

/// Days to a tenth at the standby draw: at the near end of everything, most likely, and at the far end, since a
/// reading of zero may hide what the sensor cannot see.
fn days(pack: &Pack, draw: &Draw, limits: &Limits) -> Estimate {
    let (name, subject) = ("until_a_tenth_days", pack.subject());
    let monthly = limits.get(LimitId::SelfDischarge);
    let (Some(capacity), Ok((soc, _))) =
        (pack.view.capacity, pack.estimates.soc.estimate(&pack.view, pack.view.now, limits))
    else {
        return Estimate::unknown(name, subject, "the state of charge is not known");
    };
    let at = |from, amps| days_left(from, capacity, amps, monthly);
    let Some(value) = at(soc.best, draw.least) else { return Estimate::unknown(name, subject, "nothing is drawn") };
    Estimate {
        low: at(soc.low, draw.least + draw.half),
        high: at(soc.high, draw.least - draw.half),
        why: Some(format!("at the draw of the quietest hours and {monthly} % of self-discharge a month")),
        ..Estimate::known(name, subject, value)
    }
}

impl Idle {
    /// Least state of charge now, counting only the draw that is certain, that draw in A, and hours counted.
    #[must_use]
    pub fn least(&self, view: &View, told: &Told, limits: &Limits) -> Option<(f64, f64)> {
        let capacity = view.capacity?;
        let hours = (told.charge.secs - self.secs) / 3600.0;
        if hours <= 0.0 {
            return None;
        }
        let (offset, half) = zero(told, capacity, limits);
        let certain = ((self.net - told.charge.net()) / hours + offset - half).max(0.0);
        let elapsed = view.now.since(self.since) / 3600.0;
        let lost = certain * elapsed / capacity + elapsed / 720.0 * limits.get(LimitId::SelfDischarge) / 100.0;
        Some(((self.low? - lost).max(0.0), certain))
    }
}

/// What to add to a draw for the sensor's offset, and how much of it may be no draw at all, A.
fn zero(told: &Told, capacity: f64, limits: &Limits) -> (f64, f64) {
    match told.soc.learnt_offset() {
        Some(learnt) => (learnt.amps, learnt.half),
        None => (0.0, assumed(capacity, limits)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Story, four_cells};
    use crate::model::{Quantity, Slot, Value};

    const DAY: f64 = 86_400.0;

    /// Worked by hand: 200 Ah at 60 %, 2 % a month, down to 10 %.
    #[test]
    fn a_bank_in_store_lasts_as_long_as_arithmetic_says() {
        for (amps, days) in [(0.03, 117.0), (0.28, 14.6), (0.53, 7.8)] {
            let found = days_left(0.6, 200.0, amps, 2.0).unwrap();
            assert!((found - days).abs() < 0.5, "{amps} A: {found} days");
        }
        assert_eq!(days_left(0.05, 200.0, 1.0, 2.0), Some(0.0));
        assert_eq!(days_left(0.5, 200.0, 0.0, 0.0), None);
    }

    fn draw(days: f64, step: f64, amps: impl Fn(f64) -> f64) -> Option<Draw> {
        let mut story = Story::new(four_cells());
        story.run(0.0, days * DAY, step, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(amps(t / 3600.0));
        });
        story.engine.packs[0].estimates.habits.standby.draw()
    }

    #[test]
    fn the_standby_draw_is_that_of_the_quietest_hours() {
        // A fridge that runs a third of each hour, solar by day, lights in the evening.
        let day = |h: f64| match h % 24.0 {
            x if (9.0..17.0).contains(&x) => 12.0,
            x if (19.0..23.0).contains(&x) => -8.0,
            x => -0.4 - if x.fract() < 0.33 { 4.0 } else { 0.0 } * f64::from(u8::from(x < 5.0)),
        };
        for step in [10.0, 60.0] {
            let found = draw(3.0, step, day).unwrap();
            assert!((found.least - 0.4).abs() < 0.05 && (found.usual - 1.7).abs() < 0.1, "{found:?}");
            assert!((found.half - 0.1).abs() < 1e-9);
        }
        assert_eq!(draw(0.1, 10.0, day), None);
    }

    #[test]
    fn hours_in_which_the_bms_lets_nothing_out_are_no_quiet_hours() {
        let told = |cut: bool| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 0.5 * DAY, 10.0, |_, bus| {
                bus.cells(&[2.9; 4]);
                bus.current(0.0);
                bus.one(Quantity::DischargePath, f64::from(u8::from(!cut)));
            });
            story.engine.packs[0].estimates.habits.standby.draw().map(|draw| draw.least)
        };
        assert_eq!((told(true), told(false)), (None, Some(0.0)));
    }

    #[test]
    fn what_one_pack_gives_another_is_no_standby_draw() {
        let told = |other: f64| {
            let mut bank = four_cells();
            bank.packs.push(bank.packs[0].clone());
            let mut story = Story::new(bank);
            story.run(0.0, 0.5 * DAY, 10.0, |_, bus| {
                for (pack, amps) in [(0, -28.0), (1, other)] {
                    bus.put(Slot::of(pack, Quantity::Current), Value::Present(amps));
                    for cell in 0..4 {
                        bus.put(Slot::at(pack, Quantity::CellVoltage, cell), Value::Present(3.3));
                    }
                }
            });
            let packs = &story.engine.packs;
            [0, 1].map(|pack: usize| packs[pack].estimates.habits.standby.draw().map(|draw| draw.least.round()))
        };
        assert_eq!(told(28.0), [None, None]);
        assert_eq!(told(-28.0), [Some(28.0), Some(28.0)], "a load that is always on");
    }
}

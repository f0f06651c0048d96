//! Capacity: charge drawn between a full charge and the lower knee; without a lower knee the least that it can be.

use super::charge::{Charge, unseen};
use super::full::Full;
use super::offset::assumed;
use super::visit::Span;
use crate::curve::{CAPACITY_SLOW_PLETT, RESISTANCE_RATIO_PLETT};
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// State of charge of a cell at the lower mark, and the half width of that; from the open-circuit table on the
/// discharge branch.
const AT_MARK: (f64, f64) = (0.047, 0.010);
/// Part of the capacity that is not reached for each C of steady current at 25 °C (more in the cold, as the
/// resistance), and the half width of that; judgement.
const BY_RATE: (f64, f64) = (0.05, 0.05);
/// The full charge must be no less certain than this.
const FULL_ENOUGH: f64 = 0.90;
/// A discharge that took longer than this says nothing, h: what leaks by itself counts by then.
const LONGEST: f64 = 1_000.0;
/// The half width of an old figure grows by this a day, as a share.
const AGES: f64 = 0.0005;

/// Since when it is drawn, and from where.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Start {
    /// State of charge there; none when it is not known and only a least figure can come of it.
    full: Option<(f64, f64)>,
    net: f64,
    secs: f64,
    blind: f64,
    /// As `Charge::between`.
    between: f64,
    /// Seconds counted when it was full: a count that crept above that began anew, its error did not.
    full_secs: f64,
}

/// A measured capacity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Ah, at 25 °C and a low rate.
    pub ah: f64,
    /// Half width, Ah.
    pub off: f64,
    /// Engine time.
    pub at: Stamp,
}

/// Capacity of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Capacity {
    start: Option<Start>,
    measured: Option<Measured>,
    /// The figure before it.
    older: Option<Measured>,
    /// The most that was drawn at a stretch, less the error of counting, Ah, and when.
    drawn: Option<(f64, Stamp)>,
    celsius: Option<f64>,
    /// What had been counted at the latest full charge.
    closed: Option<(Charge, Stamp)>,
}

impl Capacity {
    /// Moves on by one tick; `full` when this tick says so, `low` where the first cell came to the lower mark.
    pub fn tick(
        &mut self,
        view: &View,
        charge: &Charge,
        (full, low): (Option<&Full>, Option<(f64, f64)>),
        limits: &Limits,
    ) {
        let Some(rated) = view.capacity else { return };
        if let Some(full) = full.filter(|full| full.tapered && full.low >= FULL_ENOUGH) {
            self.close(charge, ((full.high - full.low) / 2.0 * rated, view.now), rated, limits);
        }
        let net = charge.net();
        let here = Start {
            full: None,
            net,
            secs: charge.secs,
            blind: charge.blind_secs,
            between: charge.between,
            full_secs: charge.secs,
        };
        let start = self.start.get_or_insert(here);
        if let Some(full) = full.filter(|full| full.low >= FULL_ENOUGH) {
            *start = Start { full: Some((full.best, (full.high - full.low) / 2.0)), ..here };
        } else if net > start.net || charge.blind_secs > start.blind {
            // More cannot be in it than when it was full; what was not seen ends the count.
            let room = (1.0 - FULL_ENOUGH) * rated;
            let over = |full: Charge| net - full.net() > may_err(&full, charge, rated, limits) + room;
            let holds = charge.blind_secs <= start.blind && !self.closed.is_some_and(|(full, _)| over(full));
            *start = Start { full: start.full.filter(|_| holds), full_secs: start.full_secs, ..here };
        }
        let start = *start;
        let hours = (charge.secs - start.secs) / 3600.0;
        let drawn = start.net - net;
        let offset = hours * assumed(rated, limits);
        let sure =
            drawn * (1.0 - limits.get(LimitId::SocGain) / 100.0) - offset - unseen(charge.between - start.between);
        if sure > self.drawn.map_or(0.0, |(most, _)| most) {
            self.drawn = Some((sure, view.now));
        }
        if view.now.secs() % 60 == 0 {
            self.celsius = view.coldest().map(|sensor| sensor.celsius);
        }
        if let (Some((at_net, rate)), Some((soc, soc_off))) = (low, start.full)
            && (charge.secs - start.full_secs) / 3600.0 < LONGEST
        {
            let drawn = start.net - at_net;
            let at = self.celsius.unwrap_or(25.0);
            let by_rate = rate.max(0.0) * RESISTANCE_RATIO_PLETT.at(at);
            let part = soc - AT_MARK.0 - BY_RATE.0 * by_rate;
            let slow = CAPACITY_SLOW_PLETT.at(at);
            let ah = drawn / part / slow;
            let shares =
                [soc_off, AT_MARK.1, BY_RATE.1 * by_rate, limits.get(LimitId::SocGain) / 100.0].map(|off| off * ah);
            let offset = (charge.secs - start.full_secs) / 3600.0 * assumed(rated, limits);
            let counted = [offset, unseen(charge.between - start.between)].map(|off| off / slow);
            let off = shares.iter().chain(&counted).map(|off| off * off).sum::<f64>().sqrt() / part;
            self.take(Measured { ah, off, at: view.now }, rated, limits);
        }
    }

    /// From one full charge to the next as much goes in as comes out. What is left over was drawn or charged where nobody
    /// counted it: a figure measured in between is no better than that.
    fn close(&mut self, charge: &Charge, (full, now): (f64, Stamp), rated: f64, limits: &Limits) {
        let Some((from, since)) = self.closed.replace((*charge, now)) else { return };
        let left = (charge.net() - from.net()).abs() - full - may_err(&from, charge, rated, limits);
        if left > 0.0 && charge.blind_secs == from.blind_secs {
            let off = |found: Measured| if found.at > since { found.off.hypot(left) } else { found.off };
            let wider = self.measured.map(|found| Measured { off: off(found), ..found });
            self.measured = wider.filter(|found| found.off <= limits.get(LimitId::CapacityNotKnown) / 100.0 * rated);
            self.drawn = self.drawn.filter(|(_, at)| *at <= since);
        }
    }

    fn take(&mut self, new: Measured, rated: f64, limits: &Limits) {
        if !(new.ah > 0.0 && new.off <= limits.get(LimitId::CapacityNotKnown) / 100.0 * rated) {
            return;
        }
        let older = self.measured.map(|old| old.off * (1.0 + AGES * new.at.since(old.at) / 86_400.0 * 100.0));
        if older.is_none_or(|off| new.off <= 1.5 * off) {
            self.older = self.measured.replace(new);
        }
    }

    /// The cell that came to the lower mark since a moment was not near empty: what was measured there is none.
    pub fn take_back(&mut self, since: Stamp) {
        if self.measured.is_some_and(|found| found.at >= since) {
            self.measured = self.older.take();
        }
    }

    /// A load or charger was found that the current sensor does not see: nothing that was counted holds.
    pub fn distrust(&mut self) {
        (self.measured, self.older, self.drawn) = (None, None, None);
    }

    /// Ah, at 25 °C and a low rate: measured with its bounds, or the least that it can be.
    #[must_use]
    pub fn span(&self) -> Option<Span> {
        match (self.measured, self.drawn) {
            (Some(found), _) => Some(Span::around(found.ah, found.off)),
            (None, Some((least, _))) => Some(Span { low: Some(least), ..Span::default() }),
            (None, None) => None,
        }
    }

    /// The measured figure.
    #[must_use]
    pub fn measured(&self) -> Option<Measured> {
        self.measured
    }

    /// When the least figure was reached.
    #[must_use]
    pub fn drawn_at(&self) -> Option<Stamp> {
        self.drawn.map(|(_, at)| at)
    }
}

/// By how much what was counted between two moments may err, Ah.
fn may_err(from: &Charge, to: &Charge, capacity: f64, limits: &Limits) -> f64 {
    let hours = (to.secs - from.secs) / 3600.0;
    let gain = limits.get(LimitId::SocGain) / 100.0 * (to.charged - from.charged);
    hours * assumed(capacity, limits) + gain + unseen(to.between - from.between)
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    const HOUR: f64 = 3600.0;

    fn hold(story: &mut Story, (from, hours): (f64, f64), volts: f64, amps: f64) -> f64 {
        story.run(from * HOUR, (from + hours) * HOUR, 10.0, |_, bus| {
            bus.celsius(0, 25.0);
            bus.cells(&[volts; 4]);
            bus.current(amps);
        });
        from + hours
    }

    /// A charge to the top that ends at `from` + 6 h, with `amp_hours` put in.
    fn charge(story: &mut Story, from: f64, amp_hours: f64) -> f64 {
        story.run(from * HOUR, (from + 6.0) * HOUR, 10.0, |t, bus| {
            bus.celsius(0, 25.0);
            bus.cells(&[3.6; 4]);
            bus.current(amp_hours * (from - t / HOUR).exp());
        });
        from + 6.0
    }

    fn told(story: &Story) -> Option<f64> {
        story.engine.packs[0].estimates.capacity.measured().map(|found| found.ah.round())
    }

    /// Draws from a full pack at 20 A for some hours, down into the lower knee.
    fn emptied(story: &mut Story, from: f64, hours: f64) -> f64 {
        let at = hold(story, (from, hours - 0.1), 3.2, -20.0);
        hold(story, (at, 0.1), 2.9, -20.0)
    }

    #[test]
    fn from_full_to_the_lower_knee_is_the_capacity() {
        let mut story = Story::new(four_cells());
        let at = charge(&mut story, 0.0, 40.0);
        let at = emptied(&mut story, at, 4.6);
        assert_eq!(told(&story), Some(95.0));
        charge(&mut story, at, 92.0);
        assert_eq!(told(&story), Some(95.0), "as much went in as had come out");
    }

    #[test]
    fn what_a_full_charge_proves_wrong_is_told_no_more() {
        let mut story = Story::new(four_cells());
        let at = charge(&mut story, 0.0, 40.0);
        let at = emptied(&mut story, at, 1.6);
        assert_eq!(told(&story), Some(32.0), "the rest went by a way that nobody counted");
        charge(&mut story, at, 92.0);
        assert_eq!(told(&story), None, "60 Ah more went in than had come out");
    }

    #[test]
    fn more_than_full_ends_the_count() {
        let mut story = Story::new(four_cells());
        let at = charge(&mut story, 0.0, 40.0);
        let at = hold(&mut story, (at, 1.0), 3.33, 20.0);
        emptied(&mut story, at, 4.6);
        assert_eq!(told(&story), None);
    }
}

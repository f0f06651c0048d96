//! The state of charge that the pack itself reports beside the charge that was counted: what capacity the two make.

use super::charge::{Charge, unseen};
use super::offset::assumed;
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// A stretch must move the state of charge by this much, and its first half by half of it.
const LEAST: f64 = 0.4;
/// Between these a state of charge is counted by the BMS; near its ends it is often put right at a stroke.
const COUNTED: (f64, f64) = (0.1, 0.95);
/// A step from one reading to the next that is larger was put right too.
const STROKE: f64 = 0.04;
/// Stretches longer than this are not looked at, s.
const LONGEST: f64 = 172_800.0;
/// Seconds that may be missing of the count.
const MAY_MISS: f64 = 120.0;

/// What stood when.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Mark {
    at: Stamp,
    soc: f64,
    charge: Charge,
}

/// A stretch one way, on the whole.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Leg {
    from: Mark,
    middle: Option<Mark>,
}

/// What a stretch says of the capacity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Said {
    /// By how much the reported state of charge moved, as a share.
    pub moved: f64,
    /// What was counted meanwhile, Ah.
    pub ah: f64,
    /// The capacity is at least this, if both are right, Ah.
    pub low: f64,
    /// And at most this, Ah.
    pub high: f64,
}

/// The reported state of charge against the count.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Reported {
    last: Option<f64>,
    /// From the highest down, and from the lowest up.
    legs: [Option<Leg>; 2],
    said: Option<Said>,
}

impl Reported {
    /// Moves on by one tick; `soc` is what the pack reports.
    pub fn tick(&mut self, view: &View, soc: Option<f64>, charge: &Charge, limits: &Limits) {
        let Some(soc) = soc else { return };
        if self.last == Some(soc) {
            return;
        }
        let stroke = self.last.is_some_and(|last| (soc - last).abs() > STROKE);
        self.last = Some(soc);
        let counts = view.current.is_some_and(|current| !current.shared) && view.switches.heater_on != Some(true);
        let Some(capacity) = view.capacity.filter(|_| counts && soc >= COUNTED.0 && soc <= COUNTED.1) else {
            return self.legs = [None; 2];
        };
        if stroke {
            self.legs = [None; 2];
        }
        let now = Mark { at: view.now, soc, charge: *charge };
        for (leg, sign) in self.legs.iter_mut().zip([-1.0, 1.0]) {
            if let Some(said) = step(leg, now, sign, |from, to| said(from, to, capacity, limits)) {
                self.said = Some(said);
            }
        }
    }

    /// What the last stretch said that was long enough.
    #[must_use]
    pub fn said(&self) -> Option<Said> {
        self.said
    }
}

/// Moves a leg on; what it says once it is long enough and both halves agree.
fn step(leg: &mut Option<Leg>, now: Mark, sign: f64, said: impl Fn(&Mark, &Mark) -> Said) -> Option<Said> {
    let moved = |from: &Mark| sign * (now.soc - from.soc);
    let going = leg.filter(|leg| {
        let missed = now.charge.blind_secs - leg.from.charge.blind_secs;
        moved(&leg.from) > 0.0 && now.at.since(leg.from.at) <= LONGEST && missed <= MAY_MISS
    });
    let going = leg.insert(going.unwrap_or(Leg { from: now, middle: None }));
    if going.middle.is_none() && moved(&going.from) >= LEAST / 2.0 {
        going.middle = Some(now);
    }
    let middle = going.middle.filter(|_| moved(&going.from) >= LEAST - 1e-9)?;
    let whole = said(&going.from, &now);
    let halves = [said(&going.from, &middle), said(&middle, &now)];
    let agree = halves.iter().all(|half| (whole.low..=whole.high).contains(&(half.ah / half.moved)));
    agree.then_some(whole)
}

/// What two marks say.
fn said(from: &Mark, to: &Mark, capacity: f64, limits: &Limits) -> Said {
    let hours = (to.charge.secs - from.charge.secs) / 3600.0;
    let moved = (to.soc - from.soc).abs();
    let counted = to.charge.net() - from.charge.net();
    // A charge that went the other way is none of this one.
    let ah = (counted * (to.soc - from.soc).signum()).max(0.0);
    let passed = to.charge.charged - from.charge.charged + to.charge.drawn - from.charge.drawn;
    let off = hours * assumed(capacity, limits)
        + passed * limits.get(LimitId::SocGain) / 100.0
        + unseen(to.charge.between - from.charge.between)
        + (to.charge.blind_secs - from.charge.blind_secs) / 3600.0 * limits.get(LimitId::SocBlindRate) * capacity;
    let soc_off = limits.get(LimitId::FiledReportedOff) / 100.0;
    let high = if moved > soc_off { (ah + off) / (moved - soc_off) } else { f64::MAX };
    Said { moved, ah, low: (ah - off).max(0.0) / (moved + soc_off), high }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::gauge::Extremes;
    use crate::engine::view::CurrentNow;

    const FLOWS: CurrentNow = CurrentNow {
        amps: -20.0,
        recent: Extremes { low: -20.0, low2: -20.0, high: -20.0, high2: -20.0 },
        count: 2,
        shared: false,
    };

    #[allow(clippy::field_reassign_with_default)] // a view has parts of its own
    fn described() -> View {
        let mut view = View::default();
        (view.capacity, view.current) = (Some(100.0), Some(FLOWS));
        view
    }

    /// A bank of 100 Ah as described; hour by hour the reported state of charge, and what was counted from the start.
    #[allow(clippy::field_reassign_with_default)] // a count has parts of its own
    fn said_after(hours: &[(f64, f64)]) -> Option<Said> {
        let mut reported = Reported::default();
        let mut view = described();
        for (minute, (from, to)) in
            hours.windows(2).flat_map(|pair| (0..60).map(move |_| (pair[0], pair[1]))).enumerate()
        {
            let part = (minute % 60) as f64 / 60.0;
            let between = |from: f64, to: f64| from + part * (to - from);
            view.now = Stamp::from_secs(minute as i64 * 60);
            let net = between(from.1, to.1);
            let mut charge = Charge::default();
            (charge.drawn, charge.secs) = (-net, minute as f64 * 60.0);
            let soc = (between(from.0, to.0) * 100.0).round() / 100.0;
            reported.tick(&view, Some(soc), &charge, &Limits::default());
        }
        reported.said()
    }

    #[test]
    fn what_goes_together_makes_the_capacity_within_its_bounds() {
        let said = said_after(&[(0.9, 0.0), (0.7, -20.0), (0.5, -40.0), (0.29, -61.0)]).unwrap();
        assert!(said.low < 100.0 && said.high > 100.0, "{said:?}");
        assert!((0.55..0.62).contains(&said.moved) && (55.0..62.0).contains(&said.ah), "{said:?}");
    }

    #[test]
    fn twice_the_charge_makes_a_larger_capacity_for_certain() {
        let said = said_after(&[(0.9, 0.0), (0.6, -60.0), (0.3, -120.0)]).unwrap();
        assert!(said.low > 160.0 && said.high > 200.0, "{said:?}");
    }

    #[test]
    fn too_little_a_stroke_and_halves_that_differ_say_nothing() {
        assert_eq!(said_after(&[(0.9, 0.0), (0.6, -60.0)]), None, "30 points");
        assert_eq!(said_after(&[(0.9, 0.0), (0.65, -50.0), (0.64, -51.0), (0.3, -52.0)]), None, "put right on the way");
        assert_eq!(said_after(&[(1.0, 0.0), (0.96, -40.0)]), None, "near the end");
    }

    #[test]
    fn what_is_put_right_at_a_stroke_begins_anew() {
        let mut reported = Reported::default();
        let mut view = described();
        for (minute, soc) in [0.9, 0.89, 0.88, 0.6, 0.59, 0.58, 0.4, 0.39].iter().enumerate() {
            view.now = Stamp::from_secs(minute as i64 * 60);
            reported.tick(&view, Some(*soc), &Charge::default(), &Limits::default());
        }
        assert_eq!(reported.said(), None);
    }
}

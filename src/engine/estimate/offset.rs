//! What the current sensor reads at zero, learnt between full charges: as much must go in as comes out, so what is
//! left over after an interval is time times offset, and charge times what cells lose on the way. An error in
//! proportion, alike both ways, leaves nothing over: it cannot be seen here.

use super::charge::{Charge, unseen};
use crate::engine::pack::Pack;
use crate::model::Estimate;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// An interval shorter than this says too little, h.
const SHORTEST_H: f64 = 4.0;
/// Share of an interval that may have gone uncounted.
const UNSEEN: f64 = 0.005;
/// Older intervals count less by this factor with each new one: a sensor's offset wanders.
const KEEP: f64 = 0.97;
/// What of the charge put in does not come back: 0 to 0.5 % of it (C/30 cycles of an open LFP test set, Plett), and a
/// sensor that reads charge and discharge unlike by a few parts in a thousand (judgement).
const LOST: (f64, f64) = (0.0025, 0.004);

/// Charge counted up to a full charge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Mark {
    charge: Charge,
    best: f64,
}

/// Sums over intervals of hours h, charge c and what is left over r.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Sums {
    n: f64,
    hh: f64,
    hc: f64,
    cc: f64,
    hr: f64,
    cr: f64,
    rr: f64,
}

/// An offset that was learnt.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Learnt {
    /// What the sensor reads at zero, A.
    pub amps: f64,
    /// Half width, A.
    pub half: f64,
    /// Share of the charge that is lost on the way, and its half width.
    pub lost: (f64, f64),
}

/// Learns the offset.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Offset {
    from: Option<Mark>,
    intervals: u32,
    sums: Sums,
    /// What may have passed unseen between readings, per hour of an interval, A: the same way in each.
    unseen: f64,
    learnt: Option<Learnt>,
}

impl Offset {
    /// A full charge after a discharge: the state of charge is `best` again.
    pub fn full(&mut self, charge: &Charge, best: f64, capacity: f64, limits: &Limits) {
        let mark = Mark { charge: *charge, best };
        if let Some(from) = self.from.replace(mark) {
            let hours = (charge.secs - from.charge.secs) / 3600.0;
            let blind = (charge.blind_secs - from.charge.blind_secs) / 3600.0;
            if hours >= SHORTEST_H && blind <= UNSEEN * hours {
                let charged = charge.charged - from.charge.charged;
                let left = charge.net() - from.charge.net() - (best - from.best) * capacity;
                let unseen = unseen(charge.between - from.charge.between) / hours;
                self.unseen += (unseen - self.unseen) / f64::from(self.intervals + 1).min(1.0 / (1.0 - KEEP));
                self.take(hours, charged, left);
                self.solve(capacity, limits);
            }
        }
    }

    /// Ends the interval that is under way; what was learnt stays.
    pub fn interrupt(&mut self) {
        self.from = None;
    }

    fn take(&mut self, hours: f64, charged: f64, left: f64) {
        let Sums { n, hh, hc, cc, hr, cr, rr } = self.sums;
        self.sums = Sums {
            n: n * KEEP + 1.0,
            hh: hh * KEEP + hours * hours,
            hc: hc * KEEP + hours * charged,
            cc: cc * KEEP + charged * charged,
            hr: hr * KEEP + hours * left,
            cr: cr * KEEP + charged * left,
            rr: rr * KEEP + left * left,
        };
        self.intervals = self.intervals.saturating_add(1);
    }

    /// Least squares with what is known beforehand of the loss; the half width is twice the standard error, wider when
    /// the intervals disagree by more than full charges do.
    fn solve(&mut self, capacity: f64, limits: &Limits) {
        let sums = &self.sums;
        let noise = (limits.get(LimitId::OffsetFull) / 100.0 * capacity).powi(2);
        let prior = noise / LOST.1.powi(2);
        let (hh, hc, cc) = (sums.hh, sums.hc, sums.cc + prior);
        let (hr, cr) = (sums.hr, sums.cr + prior * LOST.0);
        let det = hh * cc - hc * hc;
        if det <= 0.0 || f64::from(self.intervals) < limits.get(LimitId::OffsetIntervals) {
            return;
        }
        let amps = (cc * hr - hc * cr) / det;
        let lost = (hh * cr - hc * hr) / det;
        let misfit = sums.rr - 2.0 * (amps * sums.hr + lost * sums.cr)
            + amps * amps * sums.hh
            + 2.0 * amps * lost * sums.hc
            + lost * lost * sums.cc;
        let wider = (misfit / noise / (sums.n - 1.0).max(1.0)).max(1.0);
        let half = |inverse: f64| 2.0 * (noise * inverse / det * wider).sqrt();
        self.learnt = Some(Learnt { amps, half: half(cc).hypot(self.unseen), lost: (lost, half(hh)) });
    }

    /// The offset, once enough intervals have shown it.
    #[must_use]
    pub fn learnt(&self) -> Option<Learnt> {
        self.learnt
    }

    /// The offset, when it is known better than what is assumed of a sensor.
    #[must_use]
    pub fn useful(&self, capacity: f64, limits: &Limits) -> Option<Learnt> {
        self.learnt.filter(|learnt| learnt.half <= assumed(capacity, limits))
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack) -> Vec<Estimate> {
        let subject = pack.subject();
        let names = ["current_offset_a", "charge_lost_percent"];
        let Some(learnt) = self.learnt else {
            let why = format!("{} of 5 intervals between full charges were seen", self.intervals.min(4));
            return names.iter().map(|name| Estimate::unknown(name, subject, why.clone())).collect();
        };
        let row =
            |name, value: f64, half: f64| Estimate::known(name, subject, value).within(value - half, value + half);
        vec![row(names[0], learnt.amps, learnt.half), row(names[1], 100.0 * learnt.lost.0, 100.0 * learnt.lost.1)]
    }
}

/// What a current sensor may read at zero while nothing was learnt, A.
#[must_use]
pub fn assumed(capacity: f64, limits: &Limits) -> f64 {
    limits.get(LimitId::SocOffset).max(limits.get(LimitId::SocOffsetRate) * capacity)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Days of `cycle` Ah each with an offset and a loss; full charges differ by `jitter` Ah in turn.
    fn learn(days: u32, offset: f64, lost: f64, jitter: f64) -> Offset {
        let limits = Limits::default();
        let mut charge = Charge::default();
        let mut learnt = Offset::default();
        for day in 0..=days {
            let cycle = 30.0 + f64::from(day % 3) * 10.0;
            charge.secs += 86_400.0;
            charge.charged += cycle / (1.0 - lost) + 12.0 * offset + if day % 2 == 0 { jitter } else { -jitter };
            charge.drawn += cycle - 12.0 * offset;
            learnt.full(&charge, 1.0, 100.0, &limits);
        }
        learnt
    }

    #[test]
    fn five_intervals_show_the_offset_and_four_do_not() {
        assert_eq!(learn(4, 0.2, 0.003, 0.3).learnt(), None);
        let learnt = learn(5, 0.2, 0.003, 0.3).learnt().unwrap();
        assert!((learnt.amps - 0.2).abs() < 0.03 && learnt.half < 0.1, "{learnt:?}");
    }

    #[test]
    fn the_truth_lies_within_its_bounds_and_they_shrink() {
        let (few, many) =
            (learn(6, -0.15, 0.005, 0.4).learnt().unwrap(), learn(40, -0.15, 0.005, 0.4).learnt().unwrap());
        for learnt in [few, many] {
            assert!((learnt.amps + 0.15).abs() < learnt.half, "{learnt:?}");
        }
        assert!(many.half < few.half);
    }

    #[test]
    fn a_good_sensor_reads_nothing_at_zero() {
        let learnt = learn(10, 0.0, 0.0025, 0.3).learnt().unwrap();
        assert!(learnt.amps.abs() < 0.02, "{learnt:?}");
    }

    #[test]
    fn what_passes_between_two_readings_does_not_average_out() {
        let limits = Limits::default();
        let (mut charge, mut learnt) = (Charge::default(), Offset::default());
        for _ in 0..40 {
            charge.secs += 86_400.0;
            charge.charged += 40.0;
            charge.drawn += 39.0;
            charge.between += 0.11; // sixty times 5 A on or off, somewhere within a minute
            learnt.full(&charge, 1.0, 100.0, &limits);
        }
        let learnt = learnt.learnt().unwrap();
        assert!(learnt.amps > 0.02 && learnt.half > 0.04, "{learnt:?}");
    }

    #[test]
    fn an_interval_in_which_nobody_saw_the_current_says_nothing() {
        let limits = Limits::default();
        let mut charge = Charge::default();
        let mut learnt = Offset::default();
        for _ in 0..10 {
            charge.secs += 80_000.0;
            charge.blind_secs += 6_000.0;
            charge.charged += 40.0;
            charge.drawn += 20.0;
            learnt.full(&charge, 1.0, 100.0, &limits);
        }
        assert_eq!(learnt.learnt(), None);
    }
}

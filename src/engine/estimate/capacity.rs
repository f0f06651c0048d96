//! Capacity: charge drawn between a full charge and the lower knee; without a lower knee the least that it can be.

use super::charge::Charge;
use super::full::Full;
use super::visit::Span;
use crate::curve::{CAPACITY_SLOW_PLETT, RESISTANCE_RATIO_PLETT};
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{L, Limits};
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
    /// The most that was drawn at a stretch, less the error of counting, Ah, and when.
    drawn: Option<(f64, Stamp)>,
    celsius: Option<f64>,
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
        let net = charge.net();
        let here = Start { full: None, net, secs: charge.secs, blind: charge.blind_secs };
        let start = self.start.get_or_insert(here);
        if let Some(full) = full.filter(|full| full.low >= FULL_ENOUGH) {
            *start = Start { full: Some((full.best, (full.high - full.low) / 2.0)), ..here };
        } else if net > start.net || charge.blind_secs > start.blind {
            // More cannot be in it than when it was full; what was not seen ends the count.
            *start = Start { full: start.full.filter(|_| charge.blind_secs <= start.blind), ..here };
        }
        let start = *start;
        let hours = (charge.secs - start.secs) / 3600.0;
        let drawn = start.net - net;
        let offset = hours * limits.get(L::SocOffset).max(limits.get(L::SocOffsetRate) * rated);
        let sure = drawn * (1.0 - limits.get(L::SocGain) / 100.0) - offset;
        if sure > self.drawn.map_or(0.0, |(most, _)| most) {
            self.drawn = Some((sure, view.now));
        }
        if view.now.secs() % 60 == 0 {
            self.celsius = view.coldest().map(|sensor| sensor.celsius);
        }
        if let (Some((at_net, rate)), Some((soc, soc_off))) = (low, start.full)
            && hours < LONGEST
        {
            let drawn = start.net - at_net;
            let at = self.celsius.unwrap_or(25.0);
            let by_rate = rate.max(0.0) * RESISTANCE_RATIO_PLETT.at(at);
            let part = soc - AT_MARK.0 - BY_RATE.0 * by_rate;
            let off = [soc_off, AT_MARK.1, BY_RATE.1 * by_rate, limits.get(L::SocGain) / 100.0, offset / rated];
            let off = off.iter().map(|off| off * off).sum::<f64>().sqrt() / part;
            let ah = drawn / part / CAPACITY_SLOW_PLETT.at(at);
            self.take(Measured { ah, off: off * ah, at: view.now }, rated, limits);
        }
    }

    fn take(&mut self, new: Measured, rated: f64, limits: &Limits) {
        if !(new.ah > 0.0 && new.off <= limits.get(L::CapacityNotKnown) / 100.0 * rated) {
            return;
        }
        let older = self.measured.map(|old| old.off * (1.0 + AGES * new.at.since(old.at) / 86_400.0 * 100.0));
        if older.is_none_or(|off| new.off <= 1.5 * off) {
            self.measured = Some(new);
        }
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

//! State of charge with an honest ±: known from the end of a charge or from a rest, counted from there on.

use super::capacity::Measured;
use super::charge::{Charge, unseen};
use super::full::{Full, FullWatch};
use super::offset::{Learnt, Offset, assumed};
use super::rest::Rest;
use super::taper::Taper;
use crate::curve::{HYSTERESIS_PLETT, OCV_PLETT_MID};
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// A rest at the top proves at least this.
const REST_PROVES: f64 = 0.95;
/// A learnt offset is never known better than this: it wanders with the temperature, A.
const OFFSET_WANDERS: f64 = 0.02;
/// Hours in a month.
const MONTH_H: f64 = 720.0;
/// What a rest voltage leaves open beside the hysteresis.
const REST_BAND: f64 = 0.02;

/// A state of charge with its bounds, as fractions of the capacity: the measured one once known, else the rated one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// At least.
    pub low: f64,
    /// Most likely.
    pub best: f64,
    /// At most.
    pub high: f64,
}

/// What was counted since the state of charge was last known, in Ah and hours.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Since {
    net: f64,
    charged: f64,
    hours: f64,
    blind: f64,
    /// Squares of what may have passed between two readings, Ah².
    between: f64,
}

/// State of charge of a pack.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Soc {
    anchor: Option<Known>,
    since: Since,
    /// The counts at the tick before.
    taken: Charge,
    /// The last tick with a current.
    as_of: Option<Stamp>,
    last_full: Option<Stamp>,
    /// Drawn since a full charge last set the state of charge, Ah.
    drawn_since: f64,
    full: FullWatch,
    /// The capacity that it is against, Ah.
    capacity: f64,
    /// Half width of the measured capacity, as a share of it; 0 while the rated one is taken.
    unsure: f64,
    /// What the current sensor reads at zero.
    pub offset: Offset,
    /// The learnt offset as far as it is useful.
    learnt: Option<Learnt>,
    /// What had been counted when the pack was last full, or when the log began.
    use_from: Option<(Stamp, Charge)>,
}

impl Soc {
    /// Moves on by one tick.
    ///
    /// What is said is against the measured capacity once that is known. Returns what a charge says that has come to
    /// its end.
    pub fn tick(
        &mut self,
        view: &View,
        counted: (&Charge, &Taper, &Rest),
        measured: Option<&Measured>,
        limits: &Limits,
    ) -> Option<Full> {
        let (charge, taper, rest) = counted;
        let full = self.full.tick(view, taper, limits);
        self.use_from = self.use_from.or(Some((view.now, *charge)));
        let rated = view.capacity?;
        let capacity = measured.map_or(rated, |found| found.ah);
        self.unsure = measured.map_or(0.0, |found| found.off / found.ah);
        self.capacity = capacity;
        self.count(charge, capacity, limits);
        if view.current.is_some() {
            self.as_of = Some(view.now);
        }
        if let Some(full) = full {
            self.take_full(&full, charge, capacity, limits);
            if full.last_full {
                self.last_full = Some(view.now);
                self.use_from = Some((view.now, *charge));
            }
        }
        if !view.mean_from_pack && rest.since(view.now, limits).is_some() {
            self.take_rest(view, capacity, limits);
        }
        full
    }

    /// Forgets how full the pack is. What stands at `charge` was counted before; the offset is the sensor's.
    pub fn begin_anew(&mut self, charge: &Charge) {
        *self = Self { taken: *charge, offset: self.offset, learnt: self.learnt, ..Self::default() };
    }

    /// Forgets what the current sensor reads at zero.
    pub fn forget_offset(&mut self) {
        (self.offset, self.learnt) = (Offset::default(), None);
    }

    fn count(&mut self, charge: &Charge, capacity: f64, limits: &Limits) {
        let charged = charge.charged - self.taken.charged;
        let drawn = charge.drawn - self.taken.drawn;
        let since = &mut self.since;
        since.charged += charged;
        let hours = (charge.secs - self.taken.secs) / 3600.0;
        since.hours += hours;
        since.blind += (charge.blind_secs - self.taken.blind_secs) / 3600.0;
        since.between += charge.between - self.taken.between;
        since.net += charged * (1.0 + limits.get(LimitId::SocEfficiency)) / 2.0 - drawn;
        since.net -= self.learnt.map_or(0.0, |learnt| learnt.amps * hours);
        self.drawn_since += drawn;
        self.taken = *charge;
        if let Some(anchor) = self.anchor {
            since.net = since.net.max(-anchor.best * capacity).min((1.0 - anchor.best) * capacity);
        }
    }

    /// A full charge sets the state of charge anew after a discharge; until then it may only raise it, since a bank
    /// that was full floats at any lower voltage.
    fn take_full(&mut self, full: &Full, charge: &Charge, capacity: f64, limits: &Limits) {
        let known = self.known(capacity, limits);
        let cycle = limits.get(LimitId::AnchorNewCycle) / 100.0 * capacity;
        if full.tapered && self.drawn_since >= cycle {
            self.offset.full(charge, full.best, capacity, limits);
            self.learnt = self.offset.useful(capacity, limits);
        }
        let says = Known { low: full.low, best: full.best, high: full.high };
        match known {
            Some(known) if !full.tapered || self.drawn_since < cycle => self.raise(known, says),
            _ => self.set(says),
        }
        self.drawn_since = if full.tapered { 0.0 } else { self.drawn_since };
    }

    /// Above the knee a rest proves 'nearly full' and may only raise; near empty its voltage tells; between nothing.
    fn take_rest(&mut self, view: &View, capacity: f64, limits: &Limits) {
        let Some(mean) = view.mean else { return };
        if mean >= limits.get(LimitId::SocRestProves) {
            let says = Known { low: REST_PROVES, best: (1.0 + REST_PROVES) / 2.0, high: 1.0 };
            return match self.known(capacity, limits) {
                Some(known) => self.raise(known, says),
                None => self.set(says),
            };
        }
        let spread = view.highest().zip(view.lowest()).map_or(f64::MAX, |(high, low)| high.volts - low.volts);
        let tells = OCV_PLETT_MID.at(limits.get(LimitId::SocRestTells) / 100.0);
        if mean < tells && spread < limits.get(LimitId::SocRestSpread) * 1e-3 {
            let best = OCV_PLETT_MID.inverse(mean);
            let half = HYSTERESIS_PLETT.at(best) / 2.0;
            self.set(Known {
                low: (OCV_PLETT_MID.inverse(mean - half) - REST_BAND).max(0.0),
                best,
                high: OCV_PLETT_MID.inverse(mean + half) + REST_BAND,
            });
        }
    }

    fn set(&mut self, known: Known) {
        self.anchor = Some(known);
        self.since = Since::default();
    }

    /// Only upwards: a better lower bound, and a better value with it.
    fn raise(&mut self, known: Known, says: Known) {
        if says.low <= known.low && says.best <= known.best {
            return;
        }
        let best = known.best.max(says.best);
        self.set(Known { low: known.low.max(says.low), best, high: known.high.max(says.high).max(best) });
    }

    /// The state of charge as far as it was counted; none before it was ever known.
    #[must_use]
    pub fn known(&self, capacity: f64, limits: &Limits) -> Option<Known> {
        let anchor = self.anchor?;
        let since = &self.since;
        let offset = self.learnt.map_or(assumed(capacity, limits), |learnt| learnt.half.max(OFFSET_WANDERS));
        let leaked = since.hours * limits.get(LimitId::SelfDischarge) / 100.0 / MONTH_H;
        let spread = since.charged * (1.0 - limits.get(LimitId::SocEfficiency)) / 2.0
            + since.net.abs() * (limits.get(LimitId::SocGain) / 100.0).hypot(self.unsure)
            + since.hours * offset
            + unseen(since.between)
            + since.blind * limits.get(LimitId::SocBlindRate) * capacity;
        let (moved, spread) = (since.net / capacity, spread / capacity);
        // Where it was known from and what was counted since err each by itself.
        let low = (anchor.best - anchor.low).hypot(spread + leaked);
        let high = (anchor.high - anchor.best).hypot(spread);
        // `clamp` panics on bounds that are no numbers, which a broken saved state may bring.
        let best = (anchor.best + moved).clamp(0.0, 1.0);
        Some(Known {
            low: (anchor.best + moved - low).max(0.0).min(best),
            best,
            high: (anchor.best + moved + high).min(1.0).max(best),
        })
    }

    /// State of charge at the moment `now`, with what may have flowed unseen since the last current; or why it is
    /// not known.
    ///
    /// # Errors
    /// In words, why there is no figure.
    pub fn estimate(&self, view: &View, now: Stamp, limits: &Limits) -> Result<(Known, Stamp), &'static str> {
        view.capacity.ok_or("the rated capacity is not described")?;
        let capacity = self.capacity;
        let mut known = self.known(capacity, limits).ok_or(if view.mean_from_pack {
            "no full charge was seen yet; with pack voltage alone its taper must be seen"
        } else {
            "no full charge and no rest near empty was seen yet"
        })?;
        let as_of = self.as_of.ok_or("no valid current was seen yet")?;
        if view.current.is_none() {
            let unseen = now.since(as_of).max(0.0) / 3600.0 * limits.get(LimitId::SocBlindRate);
            known.low = (known.low - unseen).max(0.0);
            known.high = (known.high + unseen).min(1.0);
        }
        if (known.high - known.low) / 2.0 > limits.get(LimitId::SocNotKnown) / 100.0 {
            return Err("too long since it was last known: a full charge sets it anew");
        }
        Ok((known, as_of))
    }

    /// When the pack was last full.
    #[must_use]
    pub fn last_full(&self) -> Option<Stamp> {
        self.last_full
    }

    /// The offset of the current sensor, as far as it is known better than what is assumed of any, A.
    #[must_use]
    pub fn learnt_offset(&self) -> Option<Learnt> {
        self.learnt
    }

    /// When the pack was last full, or the log began, and what had been counted by then.
    #[must_use]
    pub fn in_use_since(&self) -> Option<(Stamp, Charge)> {
        self.use_from
    }

    /// The cell that ended the latest charge before the pack was full: as full as it will get.
    #[must_use]
    pub fn ended_by(&self) -> Option<u8> {
        self.full.ended_by()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Bus, Story, four_cells};
    use crate::model::Quantity;
    use crate::unit::AmpHours;

    const HOUR: f64 = 3600.0;

    /// 'low best high' in percent, or why not.
    fn soc(story: &Story) -> String {
        let pack = &story.engine.packs[0];
        match pack.estimates.soc.estimate(&pack.view, pack.view.now, &Limits::default()) {
            Ok((known, _)) => {
                format!("{:.0} {:.0} {:.0}", known.low * 100.0, known.best * 100.0, known.high * 100.0)
            }
            Err(why) => why.to_owned(),
        }
    }

    fn set(bus: &mut Bus, volts: f64, amps: f64) {
        bus.cells(&[volts; 4]);
        bus.current(amps);
    }

    /// An hour of bulk at 30 A and a taper at `volts` per cell that ends at `end` amperes.
    fn charge(story: &mut Story, from: f64, volts: f64, end: f64) -> f64 {
        let hours = |amps: f64| (30.0 / amps).ln() * 0.4;
        let to = from + HOUR + hours(end) * HOUR;
        story.run(from, to, 10.0, |t, bus| {
            let h = (t - from) / HOUR - 1.0;
            if h < 0.0 {
                set(bus, volts + 0.08 * h, 30.0);
            } else {
                set(bus, volts, 30.0 * (-h / 0.4).exp());
            }
        });
        to
    }

    #[test]
    fn how_full_depends_on_the_voltage_held() {
        let after = |volts, end| {
            let mut story = Story::new(four_cells());
            charge(&mut story, 0.0, volts, end);
            soc(&story)
        };
        assert_eq!(after(3.60, 4.0), "98 100 100");
        assert_eq!(after(3.50, 4.0), "96 98 100");
        assert_eq!(after(3.45, 4.0), "95 97 99");
        assert_eq!(after(3.40, 4.0), "93 95 97");
        assert_eq!(after(3.40, 1.2), "98 99 100", "a tail below C/50");
        assert_eq!(after(3.37, 4.0), "no full charge and no rest near empty was seen yet");
        assert_eq!(after(3.60, 8.0), "no full charge and no rest near empty was seen yet", "not yet at the tail");
    }

    #[test]
    fn a_current_that_falls_in_a_step_is_no_taper_until_the_voltage_has_stood_for_half_an_hour() {
        let mut story = Story::new(four_cells());
        story.run(0.0, HOUR, 1.0, |_, bus| set(bus, 3.50, 30.0));
        story.run(HOUR, HOUR + 1_500.0, 1.0, |_, bus| set(bus, 3.50, 3.0));
        assert_eq!(soc(&story), "no full charge and no rest near empty was seen yet");
        story.run(HOUR + 1_500.0, HOUR + 1_900.0, 1.0, |_, bus| set(bus, 3.50, 3.0));
        assert_eq!(soc(&story), "96 98 100");
    }

    #[test]
    fn a_charge_at_a_small_current_is_full_when_the_voltage_stands_not_while_it_rises() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 3.0 * HOUR, 10.0, |t, bus| set(bus, 3.36 + 0.05 * t / HOUR, 3.0));
        assert_eq!(soc(&story), "no full charge and no rest near empty was seen yet");
    }

    #[test]
    fn a_set_a_minute_shows_the_taper_as_well() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 3.0 * HOUR, 60.0, |t, bus| {
            let h = t / HOUR - 1.0;
            set(bus, 3.5 + 0.08 * h.min(0.0), 30.0 * (-h.max(0.0) / 0.4).exp());
        });
        assert!(soc(&story).ends_with("100"), "{}", soc(&story));
    }

    #[test]
    fn a_pack_whose_charge_path_is_open_is_never_full() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 10.0 * HOUR, 10.0, |t, bus| {
            bus.one(Quantity::ChargePath, f64::from(t < HOUR));
            set(bus, 3.55, if t < HOUR { 30.0 } else { 0.5 });
        });
        assert_eq!(soc(&story), "no full charge and no rest near empty was seen yet");
    }

    #[test]
    fn with_pack_voltage_alone_only_a_taper_counts() {
        let told = |taper: bool| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 8.0 * HOUR, 1.0, |t, bus| {
                let h = t / HOUR - 1.0;
                bus.one(Quantity::PackVoltage, 14.4 + 0.3 * h.min(0.0));
                bus.current(if h < 0.0 {
                    30.0
                } else if taper {
                    30.0 * (-h / 0.4).exp()
                } else {
                    0.1
                });
            });
            soc(&story)
        };
        assert_eq!(told(true), "98 100 100");
        assert!(told(false).contains("taper must be seen"));
    }

    #[test]
    fn from_the_full_charge_on_it_is_counted_and_the_bounds_grow() {
        let mut story = Story::new(four_cells());
        let full = charge(&mut story, 0.0, 3.60, 3.0);
        story.run(full, full + 5.0 * HOUR, 10.0, |_, bus| set(bus, 3.28, -10.0));
        assert_eq!(soc(&story), "48 50 51", "1.5 % of what was full and 1 % of what was counted, each by itself");
        // Laid up: 0.1 A that nobody sees is 2.4 % a day.
        story.run(full + 5.0 * HOUR, full + 77.0 * HOUR, 10.0, |_, bus| set(bus, 3.28, 0.0));
        assert_eq!(soc(&story), "41 50 58");
    }

    #[test]
    fn a_float_below_the_absorption_does_not_take_back_what_was_full() {
        let mut story = Story::new(four_cells());
        let full = charge(&mut story, 0.0, 3.60, 3.0);
        story.run(full, full + 9.0 * HOUR, 10.0, |_, bus| set(bus, 3.40, 0.5));
        assert_eq!(soc(&story), "98 100 100");
    }

    #[test]
    fn after_a_discharge_a_full_charge_sets_it_anew() {
        let mut story = Story::new(four_cells());
        let full = charge(&mut story, 0.0, 3.60, 3.0);
        story.run(full, full + 2.0 * HOUR, 10.0, |_, bus| set(bus, 3.28, -10.0));
        // 30 A for an hour and the taper count to more than was drawn; the voltage says 95 %.
        charge(&mut story, full + 2.0 * HOUR, 3.40, 4.0);
        assert_eq!(soc(&story), "93 95 97");
    }

    #[test]
    fn a_rest_near_empty_tells_and_one_on_the_plateau_does_not() {
        let rested = |volts: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 2.0 * HOUR, 10.0, |_, bus| set(bus, volts, 0.0));
            soc(&story)
        };
        assert_eq!(rested(3.181), "7 10 16");
        assert_eq!(rested(3.30), "no full charge and no rest near empty was seen yet");
        assert_eq!(rested(3.33), "no full charge and no rest near empty was seen yet");
    }

    #[test]
    fn a_long_silence_makes_it_not_known() {
        let mut story = Story::new(four_cells());
        let full = charge(&mut story, 0.0, 3.60, 3.0);
        story.run(full, full + HOUR, 10.0, |_, bus| set(bus, 3.33, -10.0));
        story.run(full + 1.2 * HOUR, full + 2.2 * HOUR, 10.0, |_, bus| set(bus, 3.33, -10.0));
        assert_eq!(soc(&story), "69 80 91", "twelve minutes that nobody saw");
        story.run(full + 9.0 * HOUR, full + 10.0 * HOUR, 10.0, |_, bus| set(bus, 3.33, -10.0));
        assert_eq!(soc(&story), "too long since it was last known: a full charge sets it anew");
    }

    #[test]
    fn a_charge_that_one_high_cell_ended_is_said() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 1.0, |t, bus| {
            bus.cells(&[3.42, 3.42, 3.42 + 0.23 * t / 600.0, 3.42]);
            bus.current(15.0);
        });
        story.run(600.0, 700.0, 1.0, |_, bus| {
            bus.cells(&[3.37, 3.37, 3.50, 3.37]);
            bus.current(0.0);
        });
        assert_eq!(story.engine.packs[0].estimates.soc.ended_by(), Some(2));
        assert_eq!(soc(&story), "no full charge and no rest near empty was seen yet");
    }

    #[test]
    fn a_bank_four_times_as_large_at_four_times_the_current_is_as_full() {
        let told = |times: f64| {
            let mut bank = four_cells();
            bank.packs[0].rated.capacity = Some(AmpHours::of(100.0 * times));
            let mut story = Story::new(bank);
            story.run(0.0, 8.0 * HOUR, 10.0, |t, bus| {
                let h = t / HOUR - 1.0;
                let amps = if h > 4.0 { -20.0 } else { 30.0 * (-h.max(0.0) / 0.4).exp() };
                set(bus, if h > 4.0 { 3.29 } else { 3.5 + 0.08 * h.min(0.0) }, amps * times);
            });
            soc(&story)
        };
        assert_eq!(told(1.0), told(4.0));
        assert_eq!(told(1.0), "38 40 42");
    }
}

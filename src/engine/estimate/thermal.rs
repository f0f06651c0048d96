//! How a pack follows the air around it: its time constant, learnt at rest; when it will be warm enough for the current
//! on offer; and whether its heater does its job.

use super::around::Around;
use super::cold::rated_rate;
use super::habits::Told;
use crate::engine::pack::Pack;
use crate::engine::view::View;
use crate::model::Estimate;
use crate::model::bank::{PackSpec, SensorRole};
use crate::model::limits::{LimitId, Limits};
use crate::model::{Quantity, Stamp};
use serde::{Deserialize, Serialize};

/// Length of a stretch over which a change of temperature is taken, s.
const STRETCH: f64 = 1800.0;
/// Stretches from which a time constant is told.
const FEWEST: f64 = 12.0;
/// Older stretches count less by this factor with each new one.
const KEEP: f64 = 0.99;
/// Heat that warms a cell by a kelvin, Wh per K and Ah: 11 kg of four cells of 100 Ah at 1 kJ/(kg K); judgement.
const WATT_HOURS: f64 = 27.5 / 3600.0;
/// Resolution of temperatures while it is not described, K.
pub(super) const GRAIN: f64 = 1.0;
/// Temperatures at which the limit of charge is looked up, °C.
const WARM: std::ops::Range<i32> = -20..46;

/// A stretch under way: begin, temperature then, and the sum of air less pack over it, K·s.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Mark {
    at: Stamp,
    celsius: f64,
    apart: f64,
    last: Stamp,
}

/// Sums over stretches: x is how far the air was away times hours, y the change, K.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Sums {
    n: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

/// The warming of an hour with the heater on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Warming {
    /// K per hour.
    pub rise: f64,
    /// What the resolution leaves open, K per hour.
    pub open: f64,
    /// Coldest sensor at the end, °C.
    pub coldest: f64,
}

/// How a pack follows the air.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Thermal {
    mark: Option<Mark>,
    sums: Sums,
    /// Since when the heater has been on, and the mean temperature then.
    heating: Option<(Stamp, f64)>,
    /// The last whole hour of heating.
    warming: Option<Warming>,
    /// What the sources offer together, A.
    offer: Option<f64>,
    ambient: Option<f64>,
}

/// Hours until a pack has come from `from` to `to` °C in air of `air` °C: `wh` Wh per kelvin, a loss of `loss` W/K, a
/// heater of `watts`. None when it never comes there.
#[must_use]
pub fn warm_up_hours((from, to, air): (f64, f64, f64), wh: f64, loss: f64, watts: f64) -> Option<f64> {
    if to <= from {
        return Some(0.0);
    }
    if loss <= 0.0 {
        return (watts > 0.0).then(|| wh * (to - from) / watts);
    }
    let end = air + watts / loss;
    (end > to).then(|| wh / loss * ((end - from) / (end - to)).ln())
}

impl Thermal {
    /// Moves on; called once a minute.
    pub fn minute(&mut self, view: &View, around: &Around, told: &Told) {
        let limits = around.limits;
        self.ambient = mean(view.sensors.iter().filter(|s| s.role == SensorRole::Ambient).map(|s| s.celsius));
        let place = Quantity::SourceOffer as usize - Quantity::SourceKind as usize;
        let offers = around
            .bank
            .sources
            .iter()
            .filter_map(|source| source[place].now(view.now, limits.get(LimitId::StalePeriods)));
        self.offer = offers.reduce(|sum, amps| sum + amps);
        let own = mean(view.limiting.iter().map(|s| s.celsius)).filter(|_| view.role_known);
        self.follow(view, own, told);
        self.watch_heater(view, own, around);
    }

    /// Notes how the pack follows the air while it rests and nothing warms it.
    fn follow(&mut self, view: &View, own: Option<f64>, told: &Told) {
        let still = told.rest.quiet_since().is_some() && view.switches.heater_on != Some(true);
        let (Some(celsius), Some(air), true) = (own, self.ambient, still) else {
            self.mark = None;
            return;
        };
        let mark = self.mark.get_or_insert(Mark { at: view.now, celsius, apart: 0.0, last: view.now });
        mark.apart += (air - celsius) * view.now.since(mark.last);
        mark.last = view.now;
        if view.now.since(mark.at) < STRETCH {
            return;
        }
        let (x, y) = (mark.apart / 3600.0, celsius - mark.celsius);
        *mark = Mark { at: view.now, celsius, apart: 0.0, last: view.now };
        let Sums { n, xx, xy, yy } = self.sums;
        self.sums = Sums { n: n * KEEP + 1.0, xx: xx * KEEP + x * x, xy: xy * KEEP + x * y, yy: yy * KEEP + y * y };
    }

    fn watch_heater(&mut self, view: &View, own: Option<f64>, around: &Around) {
        let (Some(true), Some(celsius), Some(coldest)) = (view.switches.heater_on, own, view.coldest()) else {
            (self.heating, self.warming) = (None, None);
            return;
        };
        let (since, then) = *self.heating.get_or_insert((view.now, celsius));
        let hours = view.now.since(since) / 3600.0;
        if hours * 60.0 >= around.limits.get(LimitId::HeaterMinutes) {
            let open = around.spec.grain.temperature.unwrap_or(GRAIN) / hours;
            self.warming = Some(Warming { rise: (celsius - then) / hours, open, coldest: coldest.celsius });
            self.heating = Some((view.now, celsius));
        }
    }

    /// The last whole hour of heating; none while the heater is off.
    #[must_use]
    pub fn warming(&self) -> Option<Warming> {
        self.warming
    }

    /// Share of the way to the air's temperature that is made in an hour, and its half width.
    fn per_hour(&self) -> Option<(f64, f64)> {
        let Sums { n, xx, xy, yy } = self.sums;
        if n < FEWEST || xx <= 0.0 {
            return None;
        }
        let slope = xy / xx;
        let half = 2.0 * ((yy - slope * xy).max(0.0) / (n - 1.0) / xx).sqrt();
        (slope > 0.0 && half < 0.5 * slope).then_some((slope, half))
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack, spec: &PackSpec, limits: &Limits) -> Vec<Estimate> {
        let subject = pack.subject();
        let name = "thermal_time_constant_h";
        let constant = match (self.per_hour(), self.ambient) {
            (Some((slope, half)), _) => {
                Estimate::known(name, subject, 1.0 / slope).within(1.0 / (slope + half), 1.0 / (slope - half))
            }
            (None, None) => Estimate::unknown(name, subject, "no sensor measures the air around the bank"),
            (None, Some(_)) => {
                Estimate::unknown(name, subject, "the bank has not rested long enough in warmer or colder air")
            }
        };
        let mut rows = vec![constant, self.warm_enough(pack, spec, limits)];
        if let Some(warming) = self.warming {
            let (low, high) = (warming.rise - warming.open, warming.rise + warming.open);
            rows.push(Estimate::known("heater_rise_k_per_h", subject, warming.rise).within(low, high));
        }
        rows
    }

    /// Hours until the coldest sensor allows the current on offer.
    fn warm_enough(&self, pack: &Pack, spec: &PackSpec, limits: &Limits) -> Estimate {
        let (name, subject, view) = ("warm_enough_h", pack.subject(), &pack.view);
        let not = |why: &str| Estimate::unknown(name, subject, why);
        let Some(capacity) = view.capacity else { return not("the rated capacity is not described") };
        let Some(coldest) = view.coldest().filter(|_| view.role_known) else {
            return not("no valid cell or case temperature");
        };
        let Some(offer) = self.offer else { return not("no source tells what it could give") };
        if offer <= 0.0 {
            return not("no source offers anything");
        }
        let rated = spec.rated.charge.map(|amps| amps.get() / capacity);
        let fine = |celsius: f64| rated_rate(celsius, rated, limits) * capacity >= offer;
        if fine(coldest.celsius) {
            return Estimate::known(name, subject, 0.0);
        }
        let Some(needed) = WARM.map(f64::from).find(|celsius| *celsius > coldest.celsius && fine(*celsius)) else {
            return not("the sources offer more than the bank takes at any temperature");
        };
        let wh = WATT_HOURS * capacity * f64::from(view.cells_in_series);
        let course = (coldest.celsius, needed, self.ambient.unwrap_or(coldest.celsius));
        let loss = self.per_hour().map(|(slope, half)| (wh * slope, wh * (slope + half)));
        let hours = match (self.warming, loss, self.ambient) {
            (Some(warming), ..) if warming.rise > warming.open => Some((needed - coldest.celsius) / warming.rise),
            (Some(_), ..) => return not("the heater does not warm it"),
            (None, Some((loss, _)), Some(_)) => warm_up_hours(course, wh, loss, 0.0),
            (None, ..) => return not("neither a heater is on nor is it known how the bank follows the air"),
        };
        let why = format!("until it is {needed:.0} °C at its coldest sensor, for the {offer:.0} A on offer");
        match hours {
            Some(hours) => Estimate::known(name, subject, hours).because(why),
            None => not("the air around it stays too cold"),
        }
    }
}

fn mean(celsius: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = celsius.fold((0.0, 0.0), |(sum, count), celsius| (sum + celsius, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::story::{Story, four_cells};
    use crate::model::bank::SensorSpec;

    /// Worked by hand from m·c·ΔT and −(m·c/G)·ln(1 − G·ΔT/P): 100 Ah (11 kg, 1 kJ/(kg K)) from −10 to 5 °C take 46 Wh
    /// without loss, 57 Wh and 0.96 h at 60 W against 1.5 W/K.
    #[test]
    fn warming_takes_as_long_as_arithmetic_says() {
        let wh = WATT_HOURS * 100.0 * 4.0;
        let course = (-10.0, 5.0, -10.0);
        let ideal = warm_up_hours(course, wh, 0.0, 60.0).unwrap();
        assert!((ideal * 60.0 - 46.0).abs() < 0.5, "{ideal}");
        let real = warm_up_hours(course, wh, 1.5, 60.0).unwrap();
        assert!((real - 0.96).abs() < 0.01 && (real * 60.0 - 57.0).abs() < 0.6, "{real}");
        assert_eq!(warm_up_hours(course, wh, 1.5, 20.0), None, "20 W never warm it by 15 K");
        assert_eq!(warm_up_hours((6.0, 5.0, 0.0), wh, 1.5, 0.0), Some(0.0));
    }

    fn bank() -> crate::model::Bank {
        let mut bank = four_cells();
        bank.packs[0].sensors[1] = SensorSpec { role: SensorRole::Ambient, cell: None };
        bank
    }

    fn row(story: &Story, name: &str) -> Estimate {
        story.snapshot().estimates.into_iter().find(|row| row.name == name).unwrap()
    }

    /// Air that swings by 6 K a day about a mean; a pack that follows it with a time constant of five hours.
    fn days(mean: f64, step: f64, grain: f64) -> Story {
        let mut story = Story::new(bank());
        let mut celsius = mean;
        let coarse = move |celsius: f64| (celsius / grain).round() * grain;
        story.run(0.0, 4.0 * 86_400.0, step, |t, bus| {
            let air = mean + 6.0 * (t / 86_400.0 * std::f64::consts::TAU).sin();
            celsius += (air - celsius) * step / (5.0 * 3600.0);
            bus.celsius(0, coarse(celsius));
            bus.celsius(1, coarse(air));
            bus.cells(&[3.3; 4]);
            bus.current(0.0);
        });
        story
    }

    #[test]
    fn the_time_constant_is_learnt_at_rest_within_its_bounds() {
        for (step, grain) in [(10.0, 0.1), (60.0, 1.0)] {
            let row = row(&days(5.0, step, grain), "thermal_time_constant_h");
            let (value, low, high) = (row.value.unwrap(), row.low.unwrap(), row.high.unwrap());
            assert!((value - 5.0).abs() < 0.5 && low <= 5.0 && 5.0 <= high, "{row:?}");
        }
        let mut story = Story::new(four_cells());
        story.run(0.0, 86_400.0, 60.0, |_, bus| bus.celsius(0, 5.0));
        assert_eq!(row(&story, "thermal_time_constant_h").why.unwrap(), "no sensor measures the air around the bank");
    }

    #[test]
    fn without_an_offer_nobody_knows_what_to_wait_for() {
        assert_eq!(row(&days(5.0, 60.0, 0.1), "warm_enough_h").why.unwrap(), "no source tells what it could give");
    }
}

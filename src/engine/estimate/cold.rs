//! Charging in the cold: the two limits at the present temperature, and what went above each of them.

use super::around::Around;
use crate::engine::pack::Pack;
use crate::engine::view::{SensorNow, View};
use crate::model::Estimate;
use crate::model::Quantity;
use crate::model::bank::{PackSpec, SourceKind};
use crate::model::limits::{LimitId, Limits};
use crate::model::snapshot::{FineNow, Switches};
use serde::{Deserialize, Serialize};

/// Gas constant, J/(mol K). Source: CODATA 2018.
const GAS_CONSTANT: f64 = 8.314_462_618;
/// 0 °C in kelvin.
const ZERO_CELSIUS: f64 = 273.15;
/// Kinds of charging sources.
const KINDS: usize = SourceKind::ALL.len();

/// Tier 1, 'sheet': the largest charge rate that a data sheet allows at a temperature in °C, in C.
///
/// Linear between the points of the limit table, 0 below 0 °C, constant from 20 to 45 °C, 0 from 60 °C.
#[must_use]
pub fn sheet_rate(celsius: f64, limits: &Limits) -> f64 {
    const POINTS: [(f64, LimitId); 9] = [
        (0.0, LimitId::SheetAt0),
        (5.0, LimitId::SheetAt5),
        (10.0, LimitId::SheetAt10),
        (15.0, LimitId::SheetAt15),
        (20.0, LimitId::SheetAt20),
        (45.0, LimitId::SheetAt45),
        (50.0, LimitId::SheetAt50),
        (55.0, LimitId::SheetAt55),
        (60.0, LimitId::SheetAt60),
    ];
    if celsius < 0.0 {
        return limits.get(LimitId::SheetBelow0);
    }
    for pair in POINTS.windows(2) {
        let ((from, low), (to, high)) = (pair[0], pair[1]);
        if celsius < to {
            let (low, high) = (limits.get(low), limits.get(high));
            return low + (high - low) * (celsius - from) / (to - from);
        }
    }
    limits.get(LimitId::SheetAt60)
}

/// Tier 2, 'plating': the charge rate above which lithium plating must be expected at a temperature in °C, in C.
///
/// The rate at the reference temperature scaled by Arrhenius; 0 below the floor, never under [`sheet_rate`].
#[must_use]
pub fn plating_rate(celsius: f64, limits: &Limits) -> f64 {
    let sheet = sheet_rate(celsius, limits);
    if celsius < limits.get(LimitId::PlatingFloor) {
        return sheet;
    }
    let kelvin = celsius + ZERO_CELSIUS;
    let reference = limits.get(LimitId::PlatingCelsius) + ZERO_CELSIUS;
    let energy = limits.get(LimitId::PlatingActivation) * 1000.0;
    let factor = (-energy / GAS_CONSTANT * (1.0 / kelvin - 1.0 / reference)).exp();
    (limits.get(LimitId::PlatingRate) * factor).max(sheet)
}

/// The charge rate that the sheet allows at this temperature, where a rated charge current given for the pack
/// stands for the stretch from 20 to 45 °C and the hot points fall in the same proportion.
#[must_use]
pub fn rated_rate(celsius: f64, rated: Option<f64>, limits: &Limits) -> f64 {
    let sheet = sheet_rate(celsius, limits);
    let Some(rated) = rated else { return sheet };
    let (at_15, at_20) = (limits.get(LimitId::SheetAt15), limits.get(LimitId::SheetAt20));
    match celsius {
        c if c < 15.0 => sheet.min(rated),
        c if c < 20.0 => (at_15 + (rated - at_15) * (c - 15.0) / 5.0).min(rated),
        _ if at_20 > 0.0 => sheet * rated / at_20,
        _ => sheet.min(rated),
    }
}

/// What flows into the cells as far as cold charging is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flow {
    /// Less than the dead-band, drawing, or not into the cells: the charge path is open or the heater takes it.
    None,
    /// Charging, or the current of a heater that is fed ahead of the cells.
    Unsure,
    /// Charging.
    Charging,
}

/// Whether the current of this tick is charge into the cells.
#[must_use]
pub fn flow(amps: f64, view: &View, spec: &PackSpec, limits: &Limits) -> Flow {
    let Switches { charge_path, heater_on, .. } = view.switches;
    if amps <= view.dead_band(limits) || charge_path == Some(false) || heater_on == Some(true) {
        return Flow::None;
    }
    let heater_possible = spec.heater.fitted != Some(false) && heater_on.is_none();
    if charge_path.is_none() && heater_possible {
        let by_rate = view.capacity.map(|capacity| capacity * limits.get(LimitId::HeaterUnknownRate));
        let heater = spec.heater.current.map(|a| a.get()).or(by_rate).unwrap_or(0.0);
        if amps <= heater {
            return Flow::Unsure;
        }
    }
    Flow::Charging
}

/// The coldest sensor that counts. A sensor of unknown role does not stand in for a described one that is lost:
/// it may sit somewhere warmer.
#[must_use]
pub fn coldest(view: &View, spec: &PackSpec) -> Option<SensorNow> {
    let described = || spec.sensors.iter().any(|sensor| sensor.role.sets_limits());
    view.coldest().filter(|_| view.role_known || !described())
}

/// The limits at one tick; only below the temperature at which cold charging is judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ColdNow {
    /// The coldest sensor that counts, °C.
    pub celsius: f64,
    /// Sheet limit, A.
    pub sheet: f64,
    /// Plating limit, A.
    pub plating: f64,
    /// Charging current, A.
    pub amps: f64,
    /// Readings of the sensor since the start.
    pub count: u32,
    /// It may as well be a heater's.
    pub unsure: bool,
}

/// What went above one limit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Account {
    /// A run is under way: above the limit, or below it for a short dip only.
    pub on: bool,
    /// Seconds of the run above the limit.
    pub above_secs: f64,
    /// Seconds of the run below it.
    pub below_secs: f64,
    /// Seconds of the dip that is under way.
    dip_secs: f64,
    /// Ah above the limit in this run.
    pub run_ah: f64,
    /// Ah above the limit since the tick before.
    pub step_ah: f64,
    /// Seconds above the limit since the start.
    pub total_secs: f64,
    /// Ah above the limit since the start.
    pub total_ah: f64,
    /// Excess at the tick before, A; 0 when there was none.
    excess: f64,
}

impl Account {
    /// Moves on to a tick at which the current is `excess` amperes above the limit (0 when it is not above).
    fn tick(&mut self, excess: f64, secs: f64, counts: bool, dip: f64) {
        let share = match (self.excess > 0.0, excess > 0.0) {
            (true, true) => 1.0,
            (false, false) => 0.0,
            _ => 0.5,
        };
        let above = secs * share;
        self.step_ah = (self.excess + excess) / 2.0 * above / 3600.0;
        self.excess = excess;
        if counts {
            self.total_secs += above;
            self.total_ah += self.step_ah;
        }
        if excess > 0.0 && !self.on {
            *self = Self { on: true, above_secs: above, below_secs: 0.0, dip_secs: 0.0, run_ah: self.step_ah, ..*self };
        } else if self.on {
            self.above_secs += above;
            self.below_secs += secs - above;
            self.run_ah += self.step_ah;
            self.dip_secs = if excess > 0.0 { 0.0 } else { self.dip_secs + secs };
            self.on = excess > 0.0 || (self.dip_secs <= dip && self.below_secs <= self.above_secs);
        }
    }

    /// Ends the run: nobody knows what flows.
    fn stop(&mut self) {
        (self.on, self.excess, self.step_ah) = (false, 0.0, 0.0);
    }

    /// How long a condition must have stood so that the time above the limit, less the dips, reaches `secs`.
    /// Within a dip it reaches nothing.
    #[must_use]
    pub fn hold(&self, secs: f64) -> f64 {
        if self.dip_secs > 0.0 { f64::INFINITY } else { secs + 2.0 * self.below_secs }
    }
}

/// Time and charge above the sheet limit that came from one kind of source.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// Seconds.
    pub secs: f64,
    /// Ah.
    pub ah: f64,
}

/// Charging in the cold.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Cold {
    /// The limits now, while the pack charges in the cold and everything needed is valid.
    pub now: Option<ColdNow>,
    /// Above the sheet limit.
    pub sheet: Account,
    /// Above the plating limit.
    pub plating: Account,
    /// Above the sheet limit, by the only source that was heard charging, in the order of `SourceKind::ALL`.
    pub by_source: [Exposure; KINDS],
    /// A current, a capacity and a temperature were valid together at least once.
    pub seen: bool,
}

impl Cold {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around) {
        let limits = around.limits;
        self.now = self.look(view, around.spec, limits);
        let (sheet, plating, counts) = match self.now {
            Some(now) => {
                let certain = if now.unsure { 0.0 } else { (now.amps - now.plating).max(0.0) };
                ((now.amps - now.sheet).max(0.0), certain, !now.unsure)
            }
            None => (0.0, 0.0, true),
        };
        if view.current.is_none() || coldest(view, around.spec).is_none() {
            self.sheet.stop();
            self.plating.stop();
            return;
        }
        if sheet == 0.0 && self.sheet.excess == 0.0 && !self.sheet.on {
            self.sheet.step_ah = 0.0;
            return;
        }
        let (secs, dip) = (view.secs(), limits.get(LimitId::ColdDipSeconds));
        let before = self.sheet.total_secs;
        self.sheet.tick(sheet, secs, counts, dip);
        self.plating.tick(plating, secs, counts, dip);
        if self.sheet.total_secs > before
            && let Some(source) = around.bank.only_source(view.now, limits.get(LimitId::StalePeriods))
            && let Some(row) = self.by_source.get_mut(usize::from(source.code()))
        {
            row.secs += self.sheet.total_secs - before;
            row.ah += self.sheet.step_ah;
        }
    }

    fn look(&mut self, view: &View, spec: &PackSpec, limits: &Limits) -> Option<ColdNow> {
        let (current, capacity) = (view.current?, view.capacity?);
        let coldest = coldest(view, spec)?;
        self.seen = true;
        let flow = flow(current.amps, view, spec, limits);
        if flow == Flow::None || coldest.celsius >= limits.get(LimitId::ColdBelow) {
            return None;
        }
        Some(ColdNow {
            celsius: coldest.celsius,
            sheet: sheet_rate(coldest.celsius, limits) * capacity,
            plating: plating_rate(coldest.celsius, limits) * capacity,
            amps: current.amps,
            count: coldest.count,
            unsure: flow == Flow::Unsure,
        })
    }

    /// What is estimated, for screens and scripts.
    #[must_use]
    pub fn rows(&self, pack: &Pack, spec: &PackSpec, limits: &Limits) -> Vec<Estimate> {
        let subject = pack.subject();
        let now = fine_now(pack, spec, limits);
        let limit =
            Estimate { value: now.amps, why: Some(now.why), ..Estimate::known("charge_limit_now_a", subject, 0.0) };
        let mut rows = vec![limit];
        let total = |name, value: f64| match self.seen {
            true => Estimate::known(name, subject, value),
            false => Estimate::unknown(name, subject, "current, capacity and temperature were never known together"),
        };
        rows.push(total("minutes_above_cold_limit", self.sheet.total_secs / 60.0));
        rows.push(total("ah_above_cold_limit", self.sheet.total_ah));
        rows.push(total("minutes_above_plating_limit", self.plating.total_secs / 60.0));
        rows.push(total("ah_above_plating_limit", self.plating.total_ah));
        let kinds = SourceKind::ALL.iter().zip(&self.by_source).filter(|(_, exposure)| exposure.secs > 0.0);
        for ((_, kind), exposure) in kinds {
            let [minutes, ah] = source_rows(*kind);
            rows.extend([
                Estimate::known(minutes, subject, exposure.secs / 60.0),
                Estimate::known(ah, subject, exposure.ah),
            ]);
        }
        rows
    }
}

/// Names of the rows that say how long, and by how much, one kind of source charged above the limit.
const fn source_rows(kind: SourceKind) -> [&'static str; 2] {
    match kind {
        SourceKind::Unknown => ["minutes_above_cold_limit_unknown_source", "ah_above_cold_limit_unknown_source"],
        SourceKind::Alternator => ["minutes_above_cold_limit_alternator", "ah_above_cold_limit_alternator"],
        SourceKind::Shore => ["minutes_above_cold_limit_shore_charger", "ah_above_cold_limit_shore_charger"],
        SourceKind::Solar => ["minutes_above_cold_limit_solar", "ah_above_cold_limit_solar"],
        SourceKind::Wind => ["minutes_above_cold_limit_wind", "ah_above_cold_limit_wind"],
        SourceKind::Generator => ["minutes_above_cold_limit_generator", "ah_above_cold_limit_generator"],
        SourceKind::Converter => ["minutes_above_cold_limit_dc_converter", "ah_above_cold_limit_dc_converter"],
    }
}

/// The largest charge current that is within limits now, and what sets it.
#[must_use]
pub fn fine_now(pack: &Pack, spec: &PackSpec, limits: &Limits) -> FineNow {
    let view = &pack.view;
    let not_known = |why: &str| FineNow { amps: None, why: why.to_owned() };
    let Some(capacity) = view.capacity else { return not_known("the rated capacity is not described") };
    let (Some(coldest), Some(hottest)) = (coldest(view, spec), view.hottest()) else {
        return not_known("no valid cell or case temperature");
    };
    let rated = spec.rated.charge.map(|a| a.get() / capacity);
    let rate = |sensor: SensorNow| rated_rate(sensor.celsius, rated, limits) * capacity;
    let sensor = if rate(hottest) < rate(coldest) { hottest } else { coldest };
    let (mut amps, mut why) = (rate(sensor), words(sensor, rate(sensor), view.role_known));
    let reported = pack.gauge(Quantity::ChargeLimit).now(view.now, limits.get(LimitId::StalePeriods));
    let parts = [
        (spec.rated.charge.map(|a| a.get()), "set by the rated charge current"),
        (spec.rated.weakest.map(|a| a.get()), "set by the weakest part of the path"),
        (reported.filter(|part| *part < amps), "set by the pack itself, which reports it as its limit"),
    ];
    for (part, words) in parts {
        if let Some(part) = part.filter(|part| *part <= amps) {
            (amps, why) = (part, words.to_owned());
        }
    }
    if view.switches.charge_path == Some(false) {
        why.push_str("; the charge path is open now");
    }
    FineNow { amps: Some(amps), why }
}

fn words(sensor: SensorNow, amps: f64, role_known: bool) -> String {
    let number = sensor.sensor + 1;
    let doubt = if role_known { "" } else { ", of which nobody said where it sits" };
    let why = match (amps > 0.0, sensor.celsius < 15.0) {
        (true, _) => "set by the temperature: ",
        (false, true) => "too cold to charge: ",
        (false, false) => "too hot to charge: ",
    };
    format!("{why}{:.1} °C at sensor {number}{doubt}", sensor.celsius)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plating_limit_meets_the_computed_points() {
        // 31 kJ/mol from 0.20 C at −4 °C, in C at °C; worked by hand from Arrhenius' law.
        let limits = Limits::default();
        for (celsius, rate) in
            [(-20.0, 0.083), (-10.0, 0.146), (-4.0, 0.200), (0.0, 0.245), (5.0, 0.313), (10.0, 0.397), (12.0, 0.435)]
        {
            let found = plating_rate(celsius, &limits);
            assert!((found - rate).abs() < 0.0006, "{celsius} °C: {found:.4} C, expected {rate} C");
        }
        assert_eq!(plating_rate(-20.1, &limits), 0.0);
    }

    #[test]
    fn the_sheet_limit_meets_its_points_and_is_linear_between_them() {
        let limits = Limits::default();
        let points = [
            (-0.1, 0.0),
            (0.0, 0.05),
            (2.5, 0.075),
            (5.0, 0.10),
            (10.0, 0.16),
            (12.5, 0.245),
            (15.0, 0.33),
            (20.0, 0.50),
            (33.0, 0.50),
            (45.0, 0.50),
            (50.0, 0.30),
            (55.0, 0.10),
            (57.5, 0.05),
            (60.0, 0.0),
            (70.0, 0.0),
        ];
        for (celsius, rate) in points {
            assert!((sheet_rate(celsius, &limits) - rate).abs() < 1e-12, "{celsius} °C");
        }
    }

    #[test]
    fn plating_is_never_under_the_sheet_and_both_never_fall_as_it_warms_to_20() {
        let limits = Limits::default();
        let mut last = (0.0, 0.0);
        for tenth in -400..=200 {
            let celsius = f64::from(tenth) / 10.0;
            let now = (sheet_rate(celsius, &limits), plating_rate(celsius, &limits));
            assert!(now.1 >= now.0 && now.0 >= last.0 && now.1 >= last.1, "{celsius} °C");
            last = now;
        }
    }

    #[test]
    fn a_rated_current_stands_for_the_warm_stretch_and_leaves_the_cold_alone() {
        let limits = Limits::default();
        assert_eq!(rated_rate(25.0, Some(1.0), &limits), 1.0);
        assert_eq!(rated_rate(50.0, Some(1.0), &limits), 0.6);
        assert_eq!(rated_rate(5.0, Some(1.0), &limits), 0.10);
        assert_eq!(rated_rate(25.0, Some(0.2), &limits), 0.2);
        assert_eq!(rated_rate(14.9, Some(0.2), &limits), 0.2);
        assert_eq!(rated_rate(25.0, None, &limits), 0.5);
    }

    #[test]
    fn short_dips_neither_end_a_run_nor_count_in_it() {
        let mut account = Account::default();
        account.tick(10.0, 1.0, true, 30.0);
        for _ in 0..50 {
            account.tick(10.0, 1.0, true, 30.0);
        }
        account.tick(0.0, 10.0, true, 30.0);
        assert!(account.on);
        assert_eq!((account.above_secs, account.below_secs), (55.5, 5.0));
        account.tick(0.0, 31.0, true, 30.0);
        assert!(!account.on);
        assert!((account.total_ah - (50.0 + 2.5 + 2.5 / 2.0) * 10.0 / 3600.0).abs() < 0.02);
    }
}

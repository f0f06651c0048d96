//! The BMS of a pack: opens a path when a cell or a temperature leaves its bounds, and closes it again.

use super::scenario::Bms as Rules;

/// A cell must be out of bounds for this long before a path opens, seconds.
const HOLD: f64 = 2.0;
/// Kelvin to come back before a path that opened for temperature closes.
const KELVIN_BACK: f64 = 3.0;
/// Warns from this much inside a voltage limit, V.
const PRE_ALARM: f64 = 0.10;

/// The extremes of a pack, on which its BMS decides.
#[derive(Debug, Clone, Copy)]
pub(super) struct Extremes {
    /// Lowest and highest cell, V.
    pub(super) volts: (f64, f64),
    /// Coldest and hottest cell, °C.
    pub(super) celsius: (f64, f64),
}

/// State of a BMS.
#[derive(Debug, Clone)]
pub(super) struct Bms {
    /// Charge path closed.
    pub(super) charge: bool,
    /// Discharge path closed.
    pub(super) discharge: bool,
    /// Warns that it will cut off soon.
    pub(super) pre_alarm: bool,
    /// Refuses to charge, to discharge, for no reason of its rules.
    pub(super) refuses: (bool, bool),
    over_for: f64,
    under_for: f64,
}

impl Bms {
    pub(super) fn new() -> Self {
        Self { charge: true, discharge: true, pre_alarm: false, refuses: (false, false), over_for: 0.0, under_for: 0.0 }
    }

    /// How near the BMS is to a decision on voltage: then steps are short.
    pub(super) fn is_near(rules: &Rules, seen: &Extremes) -> bool {
        seen.volts.1 > rules.over_volts - 0.06 || seen.volts.0 < rules.under_volts + 0.25
    }

    /// Decides after a step.
    pub(super) fn step(&mut self, rules: &Rules, seen: &Extremes, secs: f64) {
        let held = |so_far: f64, out: bool| if out { so_far + secs } else { 0.0 };
        self.over_for = held(self.over_for, seen.volts.1 > rules.over_volts);
        self.under_for = held(self.under_for, seen.volts.0 < rules.under_volts);
        let cold = rules.cold_charge.unwrap_or(f64::NEG_INFINITY);
        let frozen = seen.celsius.1 > rules.hot;
        self.charge = if self.charge {
            self.over_for < HOLD && seen.celsius.0 > cold && seen.celsius.1 < rules.hot_charge && !frozen
        } else {
            seen.volts.1 < rules.over_recover
                && seen.celsius.0 > cold + KELVIN_BACK
                && seen.celsius.1 < rules.hot_charge - KELVIN_BACK
        };
        self.discharge = if self.discharge {
            self.under_for < HOLD && !frozen
        } else {
            seen.volts.0 > rules.under_recover && seen.celsius.1 < rules.hot - KELVIN_BACK
        };
        self.obey();
        let near = seen.volts.1 > rules.over_volts - PRE_ALARM || seen.volts.0 < rules.under_volts + PRE_ALARM;
        self.pre_alarm = rules.pre_alarm && near;
    }

    fn obey(&mut self) {
        self.charge &= !self.refuses.0;
        self.discharge &= !self.refuses.1;
    }

    /// From now on refuses to charge, to discharge, or no longer.
    pub(super) fn refuse(&mut self, refuses: (bool, bool)) {
        self.refuses = refuses;
        self.obey();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(low: f64, high: f64) -> Extremes {
        Extremes { volts: (low, high), celsius: (20.0, 21.0) }
    }

    #[test]
    fn an_empty_cell_opens_the_discharge_path_and_a_charge_closes_it() {
        let rules = Rules::default();
        let mut bms = Bms::new();
        bms.step(&rules, &seen(2.4, 3.0), 1.0);
        assert!(bms.discharge, "a second of sag is no reason");
        bms.step(&rules, &seen(2.4, 3.0), 1.0);
        assert!(!bms.discharge && bms.charge);
        bms.step(&rules, &seen(2.9, 3.1), 1.0);
        assert!(!bms.discharge, "relaxed, but still empty");
        bms.step(&rules, &seen(3.1, 3.2), 1.0);
        assert!(bms.discharge);
    }

    #[test]
    fn a_high_cell_opens_the_charge_path_only() {
        let rules = Rules::default();
        let mut bms = Bms::new();
        bms.step(&rules, &seen(3.4, 3.8), 2.0);
        assert!(!bms.charge && bms.discharge);
        bms.step(&rules, &seen(3.4, 3.44), 2.0);
        assert!(bms.charge);
    }
}

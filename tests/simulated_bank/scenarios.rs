//! Over ten seeds each scenario does to its bank what its fixture lists, inside of its windows, and keeps clear of
//! every other limit by a margin.

use super::exposure::{self, Exposure};
use super::fixture;

const SEEDS: std::ops::RangeInclusive<u64> = 1..=10;

/// Runs a scenario over the seeds at a coarse sampling and hands on what it did to its bank.
fn over_seeds(name: &str, check: impl Fn(&Exposure)) {
    for seed in SEEDS {
        let sample = cellwright::sim::scenarios().iter().find(|info| info.name == name).unwrap().sample.max(20.0);
        let seen = exposure::of(name, seed, sample);
        println!("{name}, seed {seed}: {seen:?}");
        check(&seen);
    }
}

/// What no scenario does but the one that is about it.
#[derive(Default)]
struct But {
    cold: bool,
    hot: bool,
    spread: bool,
    held: bool,
    empty: bool,
}

fn nothing_else(seen: &Exposure, but: &But) {
    assert!(but.cold || seen.sheet.minutes < 1.0 && seen.plating_ratio < 0.5, "cold charging");
    assert!(but.hot || seen.hottest < 35.0, "heat");
    assert!(but.spread || seen.spread_volts < 0.035, "spread in the knee");
    assert!(but.held || seen.held.0 < 12.0, "held high");
    assert!(but.empty || seen.lowest > 3.0 && seen.cuts.0 == 0, "emptied");
    assert!(seen.highest < 3.63, "a cell near its upper limit");
    assert!(seen.discharge_rate < 0.6, "a load near its limit");
}

#[test]
fn a_healthy_week_and_a_healthy_shunt_keep_clear_of_everything() {
    for name in ["healthy-week", "shunt-only"] {
        assert!(fixture::of(name).findings.is_empty());
        over_seeds(name, |seen| nothing_else(seen, &But::default()));
    }
}

#[test]
fn a_cold_morning_charges_above_the_plating_limit_for_an_hour_and_never_at_twice_it() {
    let fixture = fixture::of("cold-morning");
    over_seeds("cold-morning", |seen| {
        fixture.holds("cold-charge", seen.sheet.first);
        fixture.holds("cold-charge", seen.plating.first.map(|minute| minute + 1.0));
        assert!(seen.plating.minutes > 45.0 && (1.3..1.8).contains(&seen.plating_ratio));
        nothing_else(seen, &But { cold: true, ..But::default() });
    });
}

#[test]
fn two_months_on_shore_are_held_high_from_the_first_day_on() {
    let fixture = fixture::of("shore-float");
    over_seeds("shore-float", |seen| {
        fixture.holds("prolonged-high-float", seen.held.1);
        assert!(seen.held.0 > 1400.0);
        nothing_else(seen, &But { held: true, ..But::default() });
    });
}

#[test]
fn a_hot_locker_goes_above_fifty_degrees_and_stays_well_below_fifty_five() {
    let fixture = fixture::of("hot-locker");
    over_seeds("hot-locker", |seen| {
        fixture.holds("overtemperature", seen.hot[0].first);
        assert!(seen.hot[1].minutes > 120.0 && (51.5..53.5).contains(&seen.hottest));
        assert!(seen.hottest_charging > 51.5);
        nothing_else(seen, &But { hot: true, ..But::default() });
    });
}

#[test]
fn a_lost_sensor_is_all_that_is_wrong() {
    over_seeds("lost-sensor", |seen| nothing_else(seen, &But::default()));
}

#[test]
fn a_drifting_cell_lags_in_the_knee_each_day() {
    let fixture = fixture::of("drifting-cell");
    over_seeds("drifting-cell", |seen| {
        fixture.holds("imbalance", seen.spread.first);
        fixture.holds("imbalance", seen.spread.first.map(|minute| minute + 5.0));
        assert!(seen.spread.at_the_end(), "the verdict at the end is a notice only while it holds");
        assert!(seen.spread.minutes > 90.0 && (0.12..0.20).contains(&seen.spread_volts));
        nothing_else(seen, &But { spread: true, ..But::default() });
    });
}

#[test]
fn a_night_ends_in_one_cut_off_that_leaves_no_cell_below_two_and_a_half_volts() {
    let fixture = fixture::of("night-cutoff");
    over_seeds("night-cutoff", |seen| {
        fixture.holds("cell-undervoltage", seen.low.first);
        fixture.holds("bms-cutoff", seen.cuts.1);
        assert!(seen.cuts.0 == 1 && (2.58..2.70).contains(&seen.lowest));
        nothing_else(seen, &But { empty: true, ..But::default() });
    });
}

//! What figures are called for people: estimates and evidence, by their names in JSON. The only place of such words;
//! JSON keeps the names.

/// A figure as people read it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Figure {
    /// Name in JSON.
    pub name: &'static str,
    /// In words.
    pub words: &'static str,
    /// Unit behind the number; empty for none.
    pub unit: &'static str,
    /// Digits behind the point that say something.
    pub digits: usize,
}

/// The unit of rates by capacity: owners read amperes, so the screen leaves these out.
pub const RATE: &str = "of the capacity per hour";

/// The unit behind a number as it is shown: 'day' behind '1'.
#[must_use]
pub fn one_of<'a>(shown: &str, unit: &'a str) -> &'a str {
    const MANY: [&str; 4] = ["days", "times", "frames", "points"];
    if shown == "1" && MANY.contains(&unit) { unit.trim_end_matches('s') } else { unit }
}

const fn row(name: &'static str, words: &'static str, unit: &'static str, digits: usize) -> Figure {
    Figure { name, words, unit, digits }
}

/// The figure with this name; none for a name that has no words yet.
#[must_use]
pub fn figure(name: &str) -> Option<&'static Figure> {
    FIGURES.iter().find(|figure| figure.name == name)
}

/// Every estimate, in the order of `docs/json.md`, then figures of evidence that are no estimate.
pub static FIGURES: &[Figure] = &[
    row("soc_percent", "state of charge", "%", 1),
    row("charged_ah", "charged since the start", "Ah", 1),
    row("drawn_ah", "drawn since the start", "Ah", 1),
    row("since_full_h", "time since full", "h", 1),
    row("held_high_h_30_days", "held high at a small current, last 30 days", "h", 1),
    row("rest_h", "time at rest", "h", 1),
    row("capacity_ah", "capacity at 25 °C", "Ah", 1),
    row("imbalance_ah", "cells apart at the top", "Ah", 2),
    row("imbalance_low_ah", "cells apart at the bottom", "Ah", 2),
    row("rebalance_h", "balancing that this takes", "h", 0),
    row("balance_h_30_days", "balancing done, last 30 days", "h", 1),
    row("early_at_top_ah", "full before the median by", "Ah", 2),
    row("early_at_bottom_ah", "empty before the median by", "Ah", 2),
    row("less_than_median_ah", "holds less than the median by", "Ah", 2),
    row("loses_ma", "loses by itself, beyond the median", "mA", 1),
    row("current_offset_a", "what the current sensor reads at zero", "A", 3),
    row("charge_lost_percent", "charge that does not come back", "%", 1),
    row("ageing_by_heat_times", "ageing by heat, against 25 °C", "times", 2),
    row("hours_hot_of_30d", "hot in 30 days", "h", 1),
    row("hours_of_30d_below_0c", "below 0 °C, last 30 days", "h", 1),
    row("hours_of_30d_0_to_10c", "0 to 10 °C, last 30 days", "h", 1),
    row("hours_of_30d_10_to_25c", "10 to 25 °C, last 30 days", "h", 1),
    row("hours_of_30d_25_to_30c", "25 to 30 °C, last 30 days", "h", 1),
    row("hours_of_30d_30_to_38c", "30 to 38 °C, last 30 days", "h", 1),
    row("hours_of_30d_38_to_45c", "38 to 45 °C, last 30 days", "h", 1),
    row("hours_of_30d_45_to_55c", "45 to 55 °C, last 30 days", "h", 1),
    row("hours_of_30d_above_55c", "above 55 °C, last 30 days", "h", 1),
    row("standby_draw_a", "drawn in the quietest hours", "A", 2),
    row("quiet_hours_draw_a", "median draw of the hours without charge", "A", 2),
    row("until_a_tenth_days", "time until a tenth is left, without charge", "days", 0),
    row("mean_15_min_a", "mean current, last 15 minutes", "A", 1),
    row("rms_charge_60s_a", "charge, effective over the last minute", "A", 1),
    row("rms_discharge_60s_a", "discharge, effective over the last minute", "A", 1),
    row("to_empty_h", "time to empty at that current", "h", 1),
    row("to_full_h", "time to full at that current", "h", 1),
    row("charge_limit_now_a", "largest charge for the temperature now", "A", 0),
    row("largest_current_now_a", "draw at which the weakest cell would be down to 2.5 V", "A", 0),
    row("minutes_above_cold_limit", "charged above the limit for the cold", "min", 1),
    row("ah_above_cold_limit", "charge taken above the limit for the cold", "Ah", 2),
    row("minutes_above_plating_limit", "charged at a rate at which lithium may plate", "min", 1),
    row("ah_above_plating_limit", "charge taken at a rate at which lithium may plate", "Ah", 2),
    row("minutes_above_cold_limit_unknown_source", "above the limit for the cold, source not known", "min", 1),
    row("minutes_above_cold_limit_alternator", "above the limit for the cold, by alternator", "min", 1),
    row("minutes_above_cold_limit_shore_charger", "above the limit for the cold, by shore charger", "min", 1),
    row("minutes_above_cold_limit_solar", "above the limit for the cold, by solar", "min", 1),
    row("minutes_above_cold_limit_wind", "above the limit for the cold, by wind", "min", 1),
    row("minutes_above_cold_limit_generator", "above the limit for the cold, by generator", "min", 1),
    row("minutes_above_cold_limit_dc_converter", "above the limit for the cold, by DC converter", "min", 1),
    row("ah_above_cold_limit_unknown_source", "taken above that limit, source not known", "Ah", 2),
    row("ah_above_cold_limit_alternator", "taken above that limit from the alternator", "Ah", 2),
    row("ah_above_cold_limit_shore_charger", "taken above that limit from the shore charger", "Ah", 2),
    row("ah_above_cold_limit_solar", "taken above that limit from solar", "Ah", 2),
    row("ah_above_cold_limit_wind", "taken above that limit from wind", "Ah", 2),
    row("ah_above_cold_limit_generator", "taken above that limit from the generator", "Ah", 2),
    row("ah_above_cold_limit_dc_converter", "taken above that limit from the DC converter", "Ah", 2),
    row("session_bulk_a", "this or the last charge, largest current", "A", 1),
    row("session_h", "this or the last charge, length", "h", 1),
    row("session_held_v", "this or the last charge, voltage held", "V", 2),
    row("session_float_v", "this or the last charge, float voltage after it", "V", 2),
    row("session_tail_a", "this or the last charge, current at its end", "A", 1),
    row("session_restarts", "this or the last charge, begun again", "times", 0),
    row("charger_compensation_mv_per_k", "voltage held, per kelvin", "mV/K", 1),
    row("cut_margin_v", "at the last cut-off, short of its limit by", "V", 3),
    row("cut_margin_k", "at the last cut-off, short of its limit by", "K", 1),
    row("cut_cell_after_60_s_v", "a minute after the last cut-off", "V", 2),
    row("cut_recovered_after_s", "last cut-off lasted", "s", 0),
    row("thermal_time_constant_h", "time to follow the air's temperature (63 %)", "h", 1),
    row("warm_enough_h", "time until warm enough for the charge on offer", "h", 1),
    row("heater_rise_k_per_h", "warmed by the heater", "K/h", 1),
    row("share_charge_percent", "share of the bank's charge", "%", 0),
    row("share_discharge_percent", "share of the bank's discharge", "%", 0),
    row("cell_resistance_mohm", "resistance at 25 °C with its connection", "mΩ", 2),
    row("connection_mohm", "resistance beyond the median of the cells", "mΩ", 2),
    row("outside_cells_mohm", "resistance between cells and bus", "mΩ", 2),
    row("peak_v", "peak", "V", 3),
    row("lowest_v", "lowest", "V", 3),
    row("corrected_for_load_v", "corrected for the load", "V", 3),
    row("mean_v", "mean", "V", 3),
    row("peak_degc", "hottest", "°C", 1),
    row("lowest_degc", "coldest", "°C", 1),
    row("rise_k", "risen by", "K", 1),
    row("others_degc", "the others", "°C", 1),
    row("peak_a", "peak", "A", 1),
    row("rms_60s_a", "effective over 60 s", "A", 1),
    row("peak_c_rate", "peak rate", RATE, 3),
    row("reduce_to_a", "reduce to", "A", 1),
    row("limit_c_rate", "limit", RATE, 3),
    row("charge_above_limit_ah", "taken above the limit", "Ah", 2),
    row("spread_mv", "spread", "mV", 0),
    row("apart_ah", "apart", "Ah", 2),
    row("apart_at_least_ah", "apart at least", "Ah", 2),
    row("apart_percent", "apart, of the capacity", "%", 1),
    row("apart_error_ah", "known to within", "Ah", 2),
    row("less_than_median_percent", "less than the median by", "%", 1),
    row("less_error_ah", "known to within", "Ah", 2),
    row("lost_ah", "lost", "Ah", 2),
    row("lost_over_days", "within", "days", 1),
    row("loss_ma", "loses by itself", "mA", 1),
    row("behind_ah", "behind the median by", "Ah", 2),
    row("bled_h", "balanced for", "h", 1),
    row("bled_due_ah", "due to come down by", "Ah", 2),
    row("came_down_ah", "came down by", "Ah", 2),
    row("held_h", "held for", "h", 1),
    row("held_days", "held for", "days", 1),
    row("window_days", "within", "days", 1),
    row("separation_v", "cells and bus apart by", "V", 2),
    row("current_before_a", "current before (charging positive)", "A", 1),
    row("lost_percent", "lost", "%", 1),
    row("lost_frames", "lost", "frames", 0),
    row("step_s", "step", "s", 1),
    row("silent_s", "silent for", "s", 0),
    row("at_range_end_percent", "readings at the end of the range", "%", 1),
    row("charged_at_v", "charged at", "V", 2),
    row("held_v", "held", "V", 2),
    row("float_v", "float", "V", 2),
    row("compensation_mv_per_k", "follows the temperature by", "mV/K", 1),
    row("share_percent", "share", "%", 0),
    row("share_beyond_points", "off its share by", "points", 0),
    row("spread_k", "spread", "K", 1),
    row("warming_k_per_h", "warming", "K/h", 1),
    row("first_cell_number", "first was cell", "in the row", 0),
    row("near_limit_s", "near its limit for", "s", 0),
    row("offset_a", "reads at zero", "A", 2),
    row("draw_a", "draw", "A", 2),
    row("since_full_days", "since full", "days", 1),
    row("full_cycles", "full cycles since", "in all", 1),
    row("connection_error_mohm", "known to within", "mΩ", 2),
    row("growth_mohm", "grown by", "mΩ", 2),
    row("at_100_a_mv", "at 100 A", "mV", 0),
    row("heat_w", "heat in it", "W", 1),
    row("largest_10min_a", "largest over 10 min", "A", 1),
    row("rated_a", "rated", "A", 0),
    row("off_mv", "off by", "mV", 0),
    row("read_v", "read", "V", 3),
    row("one_way_ah", "went one way", "Ah", 1),
    row("measured_ah", "measured", "Ah", 1),
    row("measured_before_ah", "measured before", "Ah", 1),
    row("filed_ah", "described", "Ah", 0),
    row("resistance_rise_times", "resistance", "times what it was", 2),
    row("hidden_step_times", "moved alike", "times", 0),
    row("hidden_step_mv", "the last time by", "mV", 0),
    row("reported_soc_moved_percent", "reported charge moved by", "%", 0),
    row("counted_meanwhile_ah", "counted meanwhile", "Ah", 1),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Fact;
    use std::collections::BTreeSet;

    #[test]
    fn every_figure_of_evidence_has_words_and_a_unit() {
        for fact in Fact::ALL {
            assert!(figure(fact.name()).is_some_and(|figure| !figure.unit.is_empty()), "{}", fact.name());
        }
    }

    #[test]
    fn one_is_one() {
        assert_eq!([("1", "days"), ("10", "days"), ("1", "h")].map(|(n, unit)| one_of(n, unit)), ["day", "days", "h"]);
    }

    #[test]
    fn no_name_stands_twice_and_every_one_is_told_in_the_page() {
        let page = include_str!("../../docs/json.md");
        let names: BTreeSet<&str> = FIGURES.iter().map(|figure| figure.name).collect();
        assert_eq!(names.len(), FIGURES.len());
        let missing: Vec<&&str> = names.iter().filter(|name| !page.contains(&format!("`{name}`"))).collect();
        assert!(missing.is_empty(), "docs/json.md lacks {missing:?}");
    }
}

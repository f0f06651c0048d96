//! `cold-charge`: more charge current than the cells can take at their temperature.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::cold::{Cold, ColdNow, Flow, coldest, flow, plating_rate, sheet_rate};
use crate::engine::view::CurrentNow;
use crate::model::Change;
use crate::model::SensorRole;
use crate::model::bank::SourceKind;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

/// It may be a heater's current.
const UNSURE: u8 = 1;
/// It is charge.
const CHARGE: u8 = 2;
/// Bits of the kind that say which of them; the others hold the source's code.
const WHAT: u8 = 0x0F;
/// More than one source was heard.
const SEVERAL: u8 = 0xF0;

pub(super) const RULE: Rule = Rule {
    code: "cold-charge",
    page: include_str!("../../../docs/conditions/cold-charge.md"),
    title: "charged too fast for the cold",
    safety: true,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Switch charging off at its source: stop the engine before anything is disconnected, since opening the \
              path under a running alternator damages equipment.",
    source: "sheet limit: Gasper 2023, 10.1016/j.est.2023.109042, at 10 °C, else judgement; plating limit: common \
             practice, scaled by published activation energies (O'Kane 2022, Ecker 2015)",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let subject = bench.pack.subject();
    let Some(current) = bench.view.current else {
        court.end(|s| s == subject);
        return court.not_judged(Why::NoCurrent);
    };
    if flow(current.amps, bench.view, bench.spec, bench.limits) != Flow::None
        && let Some(why) = blind(bench)
    {
        court.end(|s| s == subject);
        return court.not_judged(why);
    }
    court.judged();
    let cold = &bench.pack.estimates.stress.cold;
    if !court.has_cases() && !cold.sheet.on {
        return;
    }
    let facts = cold.now.map(|now| facts(&now, cold, bench.view.capacity.unwrap_or(f64::MAX)));
    court.say(subject, &signs(bench, cold, &current), facts.as_ref().map_or(&[], |facts| facts.as_slice()));
    let before = court.case(subject).map(|case| case.kind);
    match (cold.now, before) {
        (Some(now), Some(before)) if !now.unsure => court.kind(subject, CHARGE | source(bench, before)),
        (Some(_), Some(0)) => court.kind(subject, UNSURE),
        _ => {}
    }
}

/// The only source that is heard charging, in the high bits of the kind; several in turn are not named.
fn source(bench: &Bench, before: u8) -> u8 {
    let periods = bench.limits.get(LimitId::StalePeriods);
    let (named, old) = (before & CHARGE != 0, before & !WHAT);
    match bench.bank.only_source(bench.view.now, periods).map(|kind| kind.code() << 4) {
        Some(now) if named && old != 0 && old != now => SEVERAL,
        Some(now) => now,
        None => old,
    }
}

/// What is missing to judge a charge.
fn blind(bench: &Bench) -> Option<Why> {
    let terminal = || bench.view.sensors.iter().any(|sensor| sensor.role == SensorRole::Terminal);
    match (coldest(bench.view, bench.spec).is_none(), bench.view.capacity) {
        (true, _) if terminal() => Some(Why::OnlyTerminal),
        (true, _) => Some(Why::NoTemperature),
        (false, None) => Some(Why::NoCapacity),
        (false, Some(_)) => None,
    }
}

fn signs(bench: &Bench, cold: &Cold, current: &CurrentNow) -> [Sign; 3] {
    let limit = |limit| bench.limits.get(limit);
    let share = limit(LimitId::PlatingShare) / 100.0 * bench.view.capacity.unwrap_or(f64::MAX);
    let seconds = if cold.plating.run_ah >= share { 0.0 } else { limit(LimitId::PlatingSeconds) };
    let above_twice = |now: ColdNow| !now.unsure && now.amps > limit(LimitId::PlatingUrgent) * now.plating;
    let twice = bench.view.role_known && cold.now.is_some_and(above_twice);
    let count = cold.now.map_or(current.count, |now| now.count.min(current.count));
    let sign = |severity, on| Sign::new(severity, on, on).read(2, count, 1);
    [
        sign(Severity::Notice, cold.sheet.on).held(cold.sheet.hold(limit(LimitId::SheetMinutes) * 60.0)),
        sign(Severity::Warning, cold.plating.on).held(cold.plating.hold(seconds)),
        sign(Severity::Urgent, twice).held(limit(LimitId::PlatingUrgentSeconds)),
    ]
}

fn facts(now: &ColdNow, cold: &Cold, capacity: f64) -> [(Fact, f64); 6] {
    [
        (Fact::PeakAmps, now.amps),
        (Fact::PeakRate, now.amps / capacity),
        (Fact::LowestCelsius, now.celsius),
        (Fact::LimitAmps, now.sheet),
        (Fact::LimitRate, now.sheet / capacity),
        (Fact::ChargeAh, cold.sheet.step_ah),
    ]
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let (peak, celsius, reduce) = (get(Fact::PeakAmps), get(Fact::LowestCelsius), get(Fact::LimitAmps));
    let minutes = minutes(told.case.total_secs);
    let place = place(told);
    if told.kind & WHAT == UNSURE && told.severity == Severity::Notice {
        return Story {
            text: format!(
                "{}: charging or heater current of up to {peak:.1} A for {minutes} at {celsius:.1} °C. {place}.",
                capital(told.subject)
            ),
            what_to_do: "Find out whether this current warms the heater or charges the cells: the bank does not say \
                         whether its charge path is open. If it charges, stop until the coldest sensor is above freezing."
                .into(),
        };
    }
    let takes = if told.active { "takes" } else { "took" };
    let limit = match (told.severity, told.spec.rated.capacity) {
        (Severity::Notice, _) | (_, None) => format!("the sheet limit there is {reduce:.1} A"),
        (_, Some(capacity)) => {
            let amps = plating_rate(celsius, told.limits) * capacity.get();
            format!("lithium may plate out from about {amps:.1} A on")
        }
    };
    let text = format!(
        "{} {takes} up to {peak:.1} A of charge{} at {celsius:.1} °C, too fast for the cold: {limit}. {:.2} Ah above \
         the sheet limit in {minutes}. {place}.",
        capital(told.subject),
        by_source(told.kind),
        get(Fact::ChargeAh),
    );
    Story { text, what_to_do: advice(told, reduce) }
}

/// ' from the alternator', when one source alone was heard charging.
fn by_source(kind: u8) -> String {
    match SourceKind::from_code(kind >> 4).unwrap_or_default() {
        SourceKind::Unknown => String::new(),
        source => format!(" from the {}", source.word()),
    }
}

fn advice(told: &Told, reduce: f64) -> String {
    let lower = match told.spec.rated.capacity.map(|c| c.get() * sheet_rate(0.0, told.limits)) {
        _ if reduce >= 0.1 => format!("at most {reduce:.1} A until the cells are warmer"),
        Some(amps) => format!("no charge below 0 °C, at most {amps:.1} A at 0 °C"),
        None => "no charge below 0 °C".into(),
    };
    match (told.active, told.severity) {
        (true, Severity::Urgent) => format!("Switch the charging source off now, engine first. Then {lower}."),
        (true, _) if reduce >= 0.1 => format!("Lower the charge current: {lower}. Or warm them first."),
        (true, _) => format!("Stop charging and warm the cells first: {lower}."),
        (false, _) => {
            format!("Nothing flows now. When it is this cold again: {lower}. Find out why nothing held it back.")
        }
    }
}

/// Which sensor it was, with its doubt.
fn place(told: &Told) -> &'static str {
    let has = |role| told.spec.sensors.iter().any(|sensor| sensor.role == role);
    match (has(SensorRole::Cell), has(SensorRole::Case)) {
        (true, false) => "Read at the coldest cell sensor",
        (false, true) => "Read at the coldest case sensor, which may miss the cells by 2 K",
        (true, true) => "Read at the coldest cell or case sensor",
        (false, false) => "Read at the coldest sensor, of which nobody said where it sits",
    }
}

/// '45 s' or '12 min' or '3.2 h'.
pub(super) fn minutes(secs: f64) -> String {
    match secs {
        s if s < 120.0 => format!("{s:.0} s"),
        s if s < 7200.0 => format!("{:.0} min", s / 60.0),
        s => format!("{:.1} h", s / 3600.0),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Bus, Story, four_cells};
    use crate::model::bank::{SensorRole, SensorSpec};
    use crate::model::snapshot::Snapshot;
    use crate::model::{Bank, Quantity, Slot, Value};
    use crate::unit::Amps;

    /// A bank whose path is reported closed and that has no heater.
    fn plain() -> Bank {
        let mut bank = four_cells();
        bank.packs[0].heater.fitted = Some(false);
        bank
    }

    fn with_heater(amps: Option<f64>) -> Bank {
        let mut bank = four_cells();
        bank.packs[0].heater.fitted = Some(true);
        bank.packs[0].heater.current = amps.map(Amps::of);
        bank
    }

    fn set(bus: &mut Bus, celsius: f64, amps: f64) {
        bus.cells(&[3.35; 4]);
        bus.celsius(0, celsius);
        bus.celsius(1, 20.0);
        bus.current(amps);
    }

    /// What is found of a steady current at a steady temperature.
    fn steady(bank: Bank, celsius: f64, amps: f64, (until, step): (f64, f64)) -> Vec<String> {
        let mut story = Story::new(bank);
        story.run(0.0, until, step, |_, bus| set(bus, celsius, amps));
        story.found_of("cold-charge")
    }

    fn estimate(snapshot: &Snapshot, name: &str) -> Option<f64> {
        snapshot.estimates.iter().find(|row| row.name == name).and_then(|row| row.value)
    }

    #[test]
    fn above_the_sheet_for_ten_minutes_is_a_notice_and_just_under_it_is_nothing() {
        // At 5 °C the sheet allows 0.10 C: 10 A of 100 Ah.
        assert_eq!(steady(plain(), 5.0, 10.5, (605.0, 1.0)), ["cold-charge notice pack 1 from 1 s to 605 s, active"]);
        assert!(steady(plain(), 5.0, 10.5, (595.0, 1.0)).is_empty(), "not before ten minutes");
        assert!(steady(plain(), 5.0, 9.9, (7200.0, 1.0)).is_empty(), "within the sheet");
    }

    #[test]
    fn above_the_plating_limit_for_a_minute_is_a_warning_and_just_under_it_is_a_notice_only() {
        // At −10 °C plating must be expected from 0.146 C on: 14.6 A of 100 Ah. The sheet allows nothing.
        assert_eq!(
            steady(plain(), -10.0, 15.0, (120.0, 1.0)),
            ["cold-charge warning pack 1 from 1 s to 120 s, active"]
        );
        assert!(steady(plain(), -10.0, 15.0, (60.0, 1.0)).is_empty());
        assert_eq!(steady(plain(), -10.0, 14.4, (900.0, 1.0)), ["cold-charge notice pack 1 from 1 s to 900 s, active"]);
    }

    #[test]
    fn above_twice_the_plating_limit_is_urgent_in_two_readings_over_ten_seconds() {
        assert_eq!(steady(plain(), -10.0, 30.0, (15.0, 1.0)), ["cold-charge urgent pack 1 from 1 s to 15 s, active"]);
        assert!(steady(plain(), -10.0, 30.0, (10.0, 1.0)).is_empty());
        let mut story = Story::new(plain());
        story.run(0.0, 120.0, 1.0, |t, bus| set(bus, -10.0, if t < 5.0 { 60.0 } else { 0.0 }));
        assert!(
            story.found_of("cold-charge").is_empty(),
            "five seconds are not ten: {:?}",
            story.found_of("cold-charge")
        );
    }

    #[test]
    fn the_same_morning_is_found_at_a_set_a_minute() {
        assert_eq!(
            steady(plain(), -10.0, 15.0, (600.0, 60.0)),
            ["cold-charge warning pack 1 from 1 s to 541 s, active"]
        );
        assert_eq!(steady(plain(), -10.0, 40.0, (61.0, 60.0)), ["cold-charge urgent pack 1 from 1 s to 61 s, active"]);
        assert_eq!(steady(plain(), 5.0, 12.0, (900.0, 60.0)), ["cold-charge notice pack 1 from 1 s to 841 s, active"]);
        assert!(steady(plain(), 5.0, 9.0, (86_400.0, 60.0)).is_empty());
    }

    #[test]
    fn one_reading_that_stands_alone_finds_nothing_however_long_it_stands() {
        let mut story = Story::new(plain());
        story.run(0.0, 1.0, 1.0, |_, bus| set(bus, -15.0, 80.0));
        story.silence_until(3600.0);
        assert!(story.found_of("cold-charge").is_empty(), "{:?}", story.found_of("cold-charge"));
    }

    #[test]
    fn one_wrong_temperature_among_slow_ones_finds_nothing() {
        let mut story = Story::new(plain());
        story.run(0.0, 1800.0, 1.0, |t, bus| {
            bus.current(45.0);
            if t % 60.0 == 0.0 {
                bus.celsius(0, if t == 600.0 { -21.0 } else { 22.0 });
            }
        });
        assert!(story.found_of("cold-charge").is_empty(), "{:?}", story.found_of("cold-charge"));
    }

    #[test]
    fn a_sensor_of_unknown_role_does_not_stand_in_for_a_lost_one() {
        let mut story = Story::new(plain());
        story.run(0.0, 120.0, 1.0, |t, bus| {
            bus.current(30.0);
            bus.celsius(2, 25.0);
            if t < 60.0 {
                bus.celsius(0, 18.0);
            } else {
                bus.put(Slot::at(0, Quantity::Temperature, 0), Value::Missing);
            }
        });
        assert_eq!(story.why_not("cold-charge").as_deref(), Some("no valid cell or case temperature"));
        assert_eq!(story.snapshot().packs[0].fine_now.amps, None);
    }

    #[test]
    fn the_dead_band_is_no_charge() {
        // 2 A of 100 Ah, even far below freezing.
        assert!(steady(plain(), -25.0, 2.0, (7200.0, 10.0)).is_empty());
        assert_eq!(steady(plain(), -25.0, 2.5, (60.0, 1.0)).len(), 1, "below −20 °C the plating limit is nothing");
    }

    #[test]
    fn from_15_degrees_on_this_rule_is_silent() {
        assert!(steady(plain(), 15.0, 80.0, (3600.0, 1.0)).is_empty());
        assert_eq!(steady(plain(), 14.9, 40.0, (660.0, 1.0)), ["cold-charge notice pack 1 from 1 s to 660 s, active"]);
    }

    #[test]
    fn drawing_in_the_cold_is_allowed() {
        assert!(steady(plain(), -18.0, -90.0, (7200.0, 1.0)).is_empty());
    }

    #[test]
    fn an_open_charge_path_or_a_heater_at_work_is_no_charge_into_the_cells() {
        for switch in [(Quantity::ChargePath, 0.0), (Quantity::HeaterOn, 1.0)] {
            let mut story = Story::new(with_heater(Some(8.0)));
            story.run(0.0, 3600.0, 1.0, |_, bus| {
                set(bus, -12.0, 20.0);
                bus.one(switch.0, switch.1);
            });
            assert!(story.found_of("cold-charge").is_empty(), "{switch:?}: {:?}", story.found_of("cold-charge"));
        }
    }

    #[test]
    fn with_the_path_unknown_a_small_current_may_be_the_heaters() {
        let mut story = Story::new(with_heater(Some(8.0)));
        story.run(0.0, 700.0, 1.0, |_, bus| set(bus, -25.0, 7.5));
        assert_eq!(story.found_of("cold-charge"), ["cold-charge notice pack 1 from 1 s to 700 s, active"]);
        let text = &story.snapshot().findings[0].text;
        assert!(text.starts_with("Pack 1: charging or heater current of up to 7.5 A"), "{text}");
        assert_eq!(steady(with_heater(Some(8.0)), -25.0, 8.5, (120.0, 1.0)).len(), 1, "above it: the ordinary tiers");
        assert_eq!(
            steady(four_cells(), -25.0, 4.9, (700.0, 1.0)),
            ["cold-charge notice pack 1 from 1 s to 700 s, active"]
        );
        assert_eq!(
            steady(four_cells(), -25.0, 5.1, (70.0, 1.0)),
            ["cold-charge urgent pack 1 from 1 s to 70 s, active"]
        );
    }

    #[test]
    fn a_heater_known_to_be_off_excuses_nothing() {
        let mut story = Story::new(with_heater(Some(8.0)));
        story.run(0.0, 70.0, 1.0, |_, bus| {
            set(bus, -25.0, 7.5);
            bus.one(Quantity::HeaterOn, 0.0);
        });
        assert_eq!(story.found_of("cold-charge"), ["cold-charge urgent pack 1 from 1 s to 70 s, active"]);
    }

    #[test]
    fn charging_without_a_valid_temperature_is_not_judged_and_says_so() {
        let mut story = Story::new(plain());
        story.run(0.0, 60.0, 1.0, |_, bus| {
            bus.celsius(1, -10.0);
            bus.current(30.0);
        });
        assert!(story.found_of("cold-charge").is_empty(), "electronics never set a limit");
        assert_eq!(story.why_not("cold-charge").as_deref(), Some("no valid cell or case temperature"));
        story.run(60.0, 120.0, 1.0, |_, bus| set(bus, 20.0, 30.0));
        assert_eq!(story.why_not("cold-charge"), None);
    }

    #[test]
    fn a_terminal_is_not_trusted_in_the_cold() {
        let mut bank = plain();
        bank.packs[0].sensors[0] = SensorSpec { role: SensorRole::Terminal, cell: None };
        let mut story = Story::new(bank);
        story.run(0.0, 900.0, 1.0, |_, bus| set(bus, 2.0, 40.0));
        assert!(story.found_of("cold-charge").is_empty());
        let why = story.why_not("cold-charge");
        assert_eq!(why.as_deref(), Some("the only temperature is a terminal's, which reads warm under load"));
    }

    #[test]
    fn a_sensor_of_unknown_role_is_never_urgent() {
        let mut bank = plain();
        bank.packs[0].sensors[0] = SensorSpec::default();
        assert_eq!(steady(bank, -10.0, 90.0, (600.0, 1.0)), ["cold-charge warning pack 1 from 1 s to 600 s, active"]);
    }

    #[test]
    fn a_sensor_that_goes_away_ends_the_finding_and_the_judging() {
        let mut story = Story::new(plain());
        story.run(0.0, 120.0, 1.0, |_, bus| set(bus, -10.0, 15.0));
        story.run(120.0, 180.0, 1.0, |_, bus| {
            bus.put(Slot::at(0, Quantity::Temperature, 0), Value::Missing);
            bus.cells(&[3.3; 4]);
            bus.current(15.0);
        });
        let found: Vec<String> =
            story.found_of("cold-charge").into_iter().filter(|line| line.starts_with("cold")).collect();
        assert_eq!(found, ["cold-charge warning pack 1 from 1 s to 120 s"]);
        assert_eq!(story.why_not("cold-charge").as_deref(), Some("no valid cell or case temperature"));
    }

    #[test]
    fn a_solar_morning_with_short_clouds_still_adds_up() {
        let mut story = Story::new(plain());
        story.run(0.0, 900.0, 1.0, |t, bus| set(bus, 3.0, if t % 60.0 < 50.0 { 20.0 } else { 4.0 }));
        assert_eq!(story.found_of("cold-charge"), ["cold-charge notice pack 1 from 1 s to 900 s, active"]);
        let mut story = Story::new(plain());
        story.run(0.0, 3600.0, 1.0, |t, bus| set(bus, 3.0, if t % 60.0 < 20.0 { 20.0 } else { 4.0 }));
        assert!(
            story.found_of("cold-charge").is_empty(),
            "mostly within the limit: {:?}",
            story.found_of("cold-charge")
        );
    }

    #[test]
    fn minutes_ampere_hours_and_source_are_counted() {
        for step in [0.2, 1.0, 60.0] {
            let mut story = Story::new(plain());
            story.run(0.0, 3601.0, step, |_, bus| {
                set(bus, 5.0, 20.0);
                bus.put(Slot::at(0, Quantity::SourceKind, 0), Value::Present(1.0));
                bus.put(Slot::at(0, Quantity::SourceCurrent, 0), Value::Present(25.0));
            });
            let snapshot = story.snapshot();
            let near = |name: &str, expected: f64| {
                let found = estimate(&snapshot, name).unwrap();
                assert!((found / expected - 1.0).abs() < 0.01, "{name} at {step} s: {found}");
            };
            near("minutes_above_cold_limit", 60.0);
            near("ah_above_cold_limit", 10.0);
            near("minutes_above_cold_limit_alternator", 60.0);
            near("charge_limit_now_a", 10.0);
        }
    }

    #[test]
    fn the_story_is_told_in_amperes() {
        let mut story = Story::new(plain());
        story.run(0.0, 600.0, 1.0, |_, bus| set(bus, -4.0, 38.0));
        let finding = story.snapshot().findings.remove(0);
        assert_eq!(
            finding.text,
            "Pack 1 takes up to 38.0 A of charge at -4.0 °C, too fast for the cold: lithium may plate out from about \
             20.0 A on. 6.32 Ah above the sheet limit in 10 min. Read at the coldest case sensor, which may miss the \
             cells by 2 K."
        );
        assert_eq!(
            finding.what_to_do,
            "Stop charging and warm the cells first: no charge below 0 °C, at most 5.0 A at 0 °C."
        );
        assert_eq!(story.snapshot().packs[0].fine_now.why, "too cold to charge: -4.0 °C at sensor 1");
        assert!(!finding.text.contains(" C;") && !finding.caution.contains("safe"));
    }
}

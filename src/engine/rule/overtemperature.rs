//! `overtemperature`: a cell or the case is too hot, or rises too fast.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::cold::coldest;
use crate::engine::median::median_of;
use crate::engine::view::SensorNow;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;
use crate::model::{Change, MAX_SENSORS, SensorRole};

/// Nobody said where the sensor sits.
const UNPLACED: u8 = 1;
/// It rises faster than the current explains.
const UNEXPLAINED: u8 = 2;
/// Emergency.
const EMERGENCY: u8 = 3;
/// The kind of a case also holds which sensor was the hottest: its number from 0, times this.
const SENSOR: u8 = 4;

pub(super) const RULE: Rule = Rule {
    code: "overtemperature",
    page: include_str!("../../../docs/conditions/overtemperature.md"),
    title: "too hot",
    safety: true,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Do not open a hot, swollen, leaking or smoking pack, and do not charge it: its gas is flammable and \
              toxic. This is a monitor; it switches nothing off.",
    source: "60 °C: common practice, no source; 80 °C: Liu 2018 Sci. Adv. 4:eaas9820; other tiers: judgement",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let view = bench.view;
    let valid = |sensor: u8| view.sensors.iter().any(|s| s.sensor == sensor);
    court.end(|s| s.pack == Some(bench.pack.number) && s.sensor.is_some_and(|sensor| !valid(sensor)));
    match view.hottest().filter(|_| view.role_known) {
        Some(hottest) => judge_placed(&hottest, bench, court),
        None => court.end(|s| s == bench.pack.subject()),
    }
    let trusted = |sensor: &&SensorNow| bench.pack.estimates.sensors.trouble(usize::from(sensor.sensor)).is_none();
    let unplaced = view.sensors.iter().filter(|sensor| sensor.role == SensorRole::Unknown);
    for sensor in unplaced.filter(trusted) {
        judge_unplaced(sensor, bench, court);
    }
    match coldest(view, bench.spec).and(view.hottest()) {
        None => court.not_judged(Why::NoTemperature),
        Some(hottest) if view.current.is_none() && hottest.celsius >= bench.limits.get(LimitId::HotChargeNotice) => {
            court.not_judged(Why::NoCurrent);
        }
        Some(_) => court.judged(),
    }
}

/// Below all of these nothing is said.
const TIERS: [LimitId; 6] = [
    LimitId::HotChargeNotice,
    LimitId::HotChargeWarning,
    LimitId::HotChargeUrgent,
    LimitId::HotWarning,
    LimitId::HotUrgent,
    LimitId::RiseFrom,
];

/// The hottest sensor on a cell or on the case: all tiers.
fn judge_placed(hottest: &SensorNow, bench: &Bench, court: &mut Court) {
    let limit = |limit| bench.limits.get(limit);
    if !court.has_cases() && hottest.celsius < bench.limits.least(TIERS) {
        return;
    }
    let charging = charges(bench);
    let charge = |limit: LimitId| if charging { bench.limits.get(limit) } else { f64::MAX };
    let hot_enough = |sensor: &&SensorNow| sensor.celsius >= limit(LimitId::RiseFrom);
    let fast = |sensor: &SensorNow| rise(sensor, bench).filter(|(kelvin, _)| *kelvin >= limit(LimitId::RiseKelvin));
    // A cell that heats itself needs no current for it: explained or not, a fast rise from here on is danger.
    let rising = bench.view.limiting.iter().filter(hot_enough).any(|sensor| fast(sensor).is_some());
    let tiers = [
        (Severity::Notice, charge(LimitId::HotChargeNotice)),
        (Severity::Warning, charge(LimitId::HotChargeWarning).min(limit(LimitId::HotWarning))),
        (Severity::Urgent, charge(LimitId::HotChargeUrgent).min(limit(LimitId::HotUrgent))),
    ];
    let signs = tiers.map(|(severity, at)| {
        let by_rise = rising && severity == Severity::Urgent;
        let sign = sign(severity, at, hottest, bench);
        Sign { met: sign.met || by_rise, keeps: sign.keeps || by_rise, ..sign }
    });
    let subject = bench.pack.subject();
    say(subject, hottest, &signs, bench, court);
    let unexplained = fast(hottest).is_some_and(|(_, explained)| !explained);
    name(subject, hottest, (rising, unexplained), bench, court);
}

/// Which kind of heat it is, and which sensor reads it.
fn name(subject: Subject, hottest: &SensorNow, (rising, unexplained): (bool, bool), bench: &Bench, court: &mut Court) {
    let Some(case) = court.case(subject).filter(|case| case.is_active()) else { return };
    let celsius = bench.pack.estimates.stress.rise.lower_of_two(hottest).unwrap_or(f64::MIN);
    let emergency = celsius >= bench.limits.get(LimitId::EmergencyCelsius) || rising;
    let kind = match case.kind % SENSOR {
        _ if case.active() == Some(Severity::Urgent) && emergency => EMERGENCY,
        0 if unexplained => UNEXPLAINED,
        kind => kind,
    };
    let is_peak = case.evidence.get(Fact::PeakCelsius).is_none_or(|peak| celsius >= peak);
    let sensor = if is_peak { hottest.sensor } else { case.kind / SENSOR };
    court.kind(subject, kind + sensor * SENSOR);
}

/// At a temperature or above, less the hysteresis once it is found; for some seconds and in two readings.
fn sign(severity: Severity, at: f64, sensor: &SensorNow, bench: &Bench) -> Sign {
    let keeps = sensor.celsius > at - bench.limits.get(LimitId::HotHysteresis);
    let hold = bench.limits.get(LimitId::HotSeconds);
    Sign::new(severity, sensor.celsius >= at, keeps).held(hold).read(2, sensor.count, 1)
}

/// Whether charge flows into the cells.
fn charges(bench: &Bench) -> bool {
    bench.view.switches.charge_path != Some(false)
        && bench.view.current.is_some_and(|current| current.amps > bench.view.dead_band(bench.limits))
}

/// How much a sensor rose, and whether cells may rise so: there is current enough, or it is not known how much.
/// With the heater on nothing is said.
fn rise(sensor: &SensorNow, bench: &Bench) -> Option<(f64, bool)> {
    if bench.view.switches.heater_on == Some(true) {
        return None;
    }
    let risen = bench.pack.estimates.stress.rise.of(sensor, bench.limits)?;
    let enough = bench.view.capacity.map(|capacity| capacity * bench.limits.get(LimitId::RiseByCurrent));
    let explained = risen.amps.zip(enough).is_none_or(|(amps, enough)| amps >= enough);
    Some((risen.kelvin, explained))
}

/// A sensor of unknown role: it may sit on the electronics, where 70 to 85 °C is normal. Nothing urgent.
fn judge_unplaced(sensor: &SensorNow, bench: &Bench, court: &mut Court) {
    let limit = |limit| bench.limits.get(limit);
    if !court.has_cases() && sensor.celsius < bench.limits.least(TIERS).min(limit(LimitId::EmergencyCelsius)) {
        return;
    }
    let apart = others(sensor, bench).map(|median| sensor.celsius - median > limit(LimitId::UnknownApart));
    let (notice, warning) = match apart {
        Some(false) if charges(bench) => (limit(LimitId::HotChargeNotice), limit(LimitId::HotChargeUrgent)),
        Some(true) => (limit(LimitId::HotWarning), limit(LimitId::EmergencyCelsius)),
        _ => (limit(LimitId::HotWarning), limit(LimitId::HotUrgent)),
    };
    let tiers = [(Severity::Notice, notice), (Severity::Warning, warning)];
    let signs = tiers.map(|(severity, at)| sign(severity, at, sensor, bench));
    let subject = Subject::sensor(bench.pack.number, sensor.sensor);
    say(subject, sensor, &signs, bench, court);
    court.kind(subject, UNPLACED);
}

/// Median of the other valid sensors that are not on the electronics, °C.
fn others(sensor: &SensorNow, bench: &Bench) -> Option<f64> {
    let other = |s: &&SensorNow| s.sensor != sensor.sensor && s.role != SensorRole::Electronics;
    median_of::<MAX_SENSORS>(bench.view.sensors.iter().filter(other).map(|s| s.celsius))
}

fn say(subject: Subject, sensor: &SensorNow, signs: &[Sign], bench: &Bench, court: &mut Court) {
    let celsius = bench.pack.estimates.stress.rise.lower_of_two(sensor).unwrap_or(sensor.celsius);
    let amps = bench.view.current.map_or(0.0, |current| current.amps);
    let all = [
        Some((Fact::PeakCelsius, celsius)),
        rise(sensor, bench).map(|(kelvin, _)| (Fact::RiseKelvin, kelvin)),
        bench.view.current.map(|_| (Fact::PeakAmps, amps.max(0.0))),
        others(sensor, bench).map(|median| (Fact::OthersCelsius, median)),
    ];
    let mut facts = [(Fact::PeakCelsius, celsius); 4];
    let mut count = 0;
    for fact in all.into_iter().flatten() {
        facts[count] = fact;
        count += 1;
    }
    court.say(subject, signs, &facts[..count]);
}

fn tell(told: &Told) -> Story {
    let peak = told.evidence.get(Fact::PeakCelsius).unwrap_or_default();
    let rise = told.evidence.get(Fact::RiseKelvin).unwrap_or_default();
    let others = match told.evidence.get(Fact::OthersCelsius) {
        Some(celsius) => format!(", the others {celsius:.0} °C"),
        None => String::new(),
    };
    let reads = if told.active { "reads" } else { "read" };
    let number = told.subject.sensor.unwrap_or(told.kind / SENSOR) + 1;
    let place = Subject::sensor(told.subject.pack.unwrap_or_default(), number - 1);
    let sensor = capital(place);
    let kind = if told.subject.sensor.is_some() { UNPLACED } else { told.kind % SENSOR };
    match kind {
        EMERGENCY if !told.active => Story {
            text: format!("{sensor} {reads} {peak:.1} °C{others}{}: that was an emergency.", rose(rise)),
            what_to_do: "Keep away from the pack and leave it isolated until a qualified person has looked at it."
                .into(),
        },
        EMERGENCY => Story {
            text: format!("Emergency: {place} {reads} {peak:.1} °C{others}{}.", rose(rise)),
            what_to_do: emergency(),
        },
        UNPLACED => Story {
            text: format!("{sensor} {reads} {peak:.1} °C{others}; nobody said where it sits."),
            what_to_do:
                "Look from a distance: smoke, smell or swelling means get away and call for help. If it sits on \
                         the electronics this may be ordinary: say so in the bank's file."
                    .into(),
        },
        UNEXPLAINED => Story {
            text: format!(
                "{sensor} {reads} {peak:.1} °C{others}{}: faster than the current through the cells explains.",
                rose(rise)
            ),
            what_to_do: format!(
                "Stop charging and large loads, and look from a distance. Either the sensor sits in the wrong place, \
                 or something beside it is very hot. At smoke, smell or swelling: {}",
                emergency()
            ),
        },
        _ => {
            let charged = charged(told, peak);
            let text = format!("{}: up to {peak:.1} °C at sensor {number}{others}{charged}.", capital(told.subject));
            Story { text, what_to_do: cool(told, !charged.is_empty()) }
        }
    }
}

/// That it was charged, where only that made the temperature one to tell of.
fn charged(told: &Told, peak: f64) -> String {
    let amps =
        told.evidence.get(Fact::PeakAmps).filter(|amps| *amps > 0.0 && peak < told.limits.get(LimitId::HotWarning));
    amps.map_or_else(String::new, |amps| format!(", while it was charged with up to {amps:.1} A"))
}

fn rose(kelvin: f64) -> String {
    if kelvin >= 1.0 { format!(" and rises by {kelvin:.0} K in about five minutes") } else { String::new() }
}

fn emergency() -> String {
    "Move people away. Do not open the locker: gas is flammable and toxic. No flame, no switching nearby. Call the \
     emergency services; at sea follow the vessel's plan and call for help."
        .into()
}

fn cool(told: &Told, charged: bool) -> String {
    const WHERE_FROM: &str = "Find out where the heat came from: current, a connection, sun or an engine beside it.";
    let words = match (told.active, told.severity) {
        (false, _) if charged => {
            let most = told.limits.get(LimitId::HotChargeNotice);
            return format!(
                "It has cooled. Do not charge it at {most:.0} °C or above: give it air, or wait. {WHERE_FROM}"
            );
        }
        (false, _) => return format!("It has cooled. {WHERE_FROM}"),
        (true, Severity::Notice) => "Lower the charge current and give the bank air until it is cooler.",
        (true, Severity::Warning) => "Stop charging, lower the loads, and give the bank air until it is cooler.",
        (true, Severity::Urgent) => {
            "Stop charging and loads now: engine and charging sources first, then the loads. Stay away from a pack \
             that swells, smells or smokes."
        }
    };
    words.into()
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Bus, Story, four_cells};
    use crate::model::bank::SensorSpec;
    use crate::model::{Bank, Quantity, Slot, Value};

    fn set(bus: &mut Bus, celsius: f64, amps: f64) {
        bus.cells(&[3.33; 4]);
        bus.celsius(0, celsius);
        bus.celsius(1, 75.0);
        bus.current(amps);
    }

    fn steady(bank: Bank, celsius: f64, amps: f64, (until, step): (f64, f64)) -> Vec<String> {
        let mut story = Story::new(bank);
        story.run(0.0, until, step, |_, bus| set(bus, celsius, amps));
        story.found_of("overtemperature")
    }

    fn severity(celsius: f64, amps: f64) -> String {
        let found = steady(four_cells(), celsius, amps, (60.0, 1.0));
        found.first().map_or("nothing", |line| line.split(' ').nth(1).unwrap()).to_owned()
    }

    #[test]
    fn the_tiers_depend_on_whether_it_charges() {
        let charging = [(44.9, "nothing"), (45.0, "notice"), (50.0, "warning"), (54.9, "warning"), (55.0, "urgent")];
        for (celsius, expected) in charging {
            assert_eq!(severity(celsius, 10.0), expected, "charging at {celsius} °C");
        }
        let other = [(54.9, "nothing"), (55.0, "warning"), (59.9, "warning"), (60.0, "urgent")];
        for (celsius, expected) in other {
            assert_eq!(severity(celsius, -10.0), expected, "drawing at {celsius} °C");
            assert_eq!(severity(celsius, 0.5), expected, "at rest at {celsius} °C");
        }
    }

    #[test]
    fn half_a_minute_and_two_readings_are_needed() {
        assert!(steady(four_cells(), 62.0, 0.0, (30.0, 1.0)).is_empty());
        assert_eq!(
            steady(four_cells(), 62.0, 0.0, (32.0, 1.0)),
            ["overtemperature urgent pack 1 from 1 s to 32 s, active"]
        );
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 60.0, |t, bus| set(bus, if t == 120.0 { 90.0 } else { 25.0 }, 0.0));
        assert!(
            story.found_of("overtemperature").is_empty(),
            "one wrong reading: {:?}",
            story.found_of("overtemperature")
        );
        assert_eq!(
            steady(four_cells(), 62.0, 0.0, (61.0, 60.0)),
            ["overtemperature urgent pack 1 from 1 s to 61 s, active"]
        );
    }

    #[test]
    fn hot_electronics_never_set_a_limit() {
        assert!(steady(four_cells(), 25.0, 80.0, (3600.0, 1.0)).is_empty());
    }

    #[test]
    fn it_is_over_two_kelvin_lower() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 100.0, 1.0, |_, bus| set(bus, 56.0, 0.0));
        story.run(100.0, 200.0, 1.0, |_, bus| set(bus, 53.5, 0.0));
        assert!(
            story.found_of("overtemperature")[0].ends_with("from 1 s to 200 s, active"),
            "{:?}",
            story.found_of("overtemperature")
        );
        story.run(200.0, 300.0, 1.0, |_, bus| set(bus, 53.0, 0.0));
        assert!(
            story.found_of("overtemperature")[0].ends_with("from 1 s to 200 s"),
            "{:?}",
            story.found_of("overtemperature")
        );
    }

    #[test]
    fn a_sensor_of_unknown_role_is_looked_at_from_a_distance_and_never_urgent() {
        let mut bank = four_cells();
        bank.packs[0].sensors[0] = SensorSpec::default();
        bank.packs[0].sensors[1] = SensorSpec::default();
        let mut story = Story::new(bank);
        story.run(0.0, 600.0, 1.0, |_, bus| {
            bus.celsius(0, 85.0);
            bus.celsius(1, 25.0);
            bus.celsius(2, 25.0);
            bus.current(0.0);
        });
        assert_eq!(
            story.found_of("overtemperature"),
            ["overtemperature warning sensor 1 of pack 1 from 1 s to 600 s, active"]
        );
        let finding = story.snapshot().findings.remove(0);
        assert_eq!(finding.text, "Sensor 1 of pack 1 reads 85.0 °C, the others 25 °C; nobody said where it sits.");
        assert!(finding.what_to_do.starts_with("Look from a distance"));
    }

    #[test]
    fn sensors_of_unknown_role_that_agree_are_believed_while_charging_and_one_alone_is_not() {
        let found = |sensors: u8| {
            let mut bank = four_cells();
            bank.packs[0].sensors = Default::default();
            let mut story = Story::new(bank);
            story.run(0.0, 60.0, 1.0, |_, bus| {
                (0..sensors).for_each(|sensor| bus.celsius(sensor, 46.0 + f64::from(sensor)));
                bus.current(20.0);
            });
            story.found_of("overtemperature").len()
        };
        assert_eq!((found(1), found(3)), (0, 3));
    }

    #[test]
    fn eighty_degrees_is_an_emergency_and_one_reading_of_eighty_is_not() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |_, bus| set(bus, 81.0, 0.0));
        let finding = story.snapshot().findings.remove(0);
        assert_eq!(finding.text, "Emergency: sensor 1 of pack 1 reads 81.0 °C.");
        assert!(finding.what_to_do.starts_with("Move people away. Do not open the locker"));
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |t, bus| set(bus, if t == 40.0 { 95.0 } else { 61.0 }, 0.0));
        let finding = story.snapshot().findings.remove(0);
        assert_eq!(finding.text, "Pack 1: up to 61.0 °C at sensor 1.");
    }

    /// Rises by `per_minute` from 40 °C with `amps` for 25 minutes.
    fn rising(per_minute: f64, amps: f64, heater: bool, step: f64) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, 1140.0, step, |t, bus| {
            set(bus, 40.0 + per_minute * t / 60.0, amps);
            bus.one(Quantity::HeaterOn, f64::from(u8::from(heater)));
        });
        story
    }

    #[test]
    fn a_fast_rise_under_load_is_an_emergency_from_55_degrees_on() {
        for step in [1.0, 60.0] {
            let story = rising(1.05, -80.0, false, step);
            let finding = story.snapshot().findings.remove(0);
            assert_eq!(finding.severity.word(), "urgent", "at {step} s");
            assert!(finding.text.starts_with("Emergency: sensor 1 of pack 1 reads 5"), "{}", finding.text);
        }
        assert!(
            !rising(0.8, -80.0, false, 1.0).findings().iter().any(|line| line.contains("urgent")),
            "no 5 K in 5 min"
        );
    }

    #[test]
    fn a_hot_cell_that_rises_without_a_current_is_an_emergency_too_and_a_heater_explains_a_rise() {
        let finding = rising(1.05, -10.0, false, 1.0).snapshot().findings.remove(0);
        assert_eq!(finding.severity.word(), "urgent");
        assert!(finding.text.starts_with("Emergency: "), "{}", finding.text);
        let finding = rising(1.05, -80.0, true, 1.0).snapshot().findings.remove(0);
        assert_eq!((finding.severity.word(), finding.text.contains("rises")), ("warning", false));
    }

    #[test]
    fn a_fast_rise_below_55_degrees_that_no_current_explains_asks_to_look() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 800.0, 1.0, |t, bus| set(bus, 38.0 + 1.1 * t / 60.0, 8.0));
        let finding = story.snapshot().findings.remove(0);
        assert!(finding.text.ends_with("faster than the current through the cells explains."), "{}", finding.text);
    }

    #[test]
    fn a_wrong_low_reading_is_no_rise() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 1200.0, 1.0, |t, bus| set(bus, if t % 60.0 == 0.0 { -40.0 } else { 56.0 }, -80.0));
        let found = story.found_of("overtemperature");
        assert!(found.iter().all(|line| line.contains("warning")), "{found:?}");
    }

    #[test]
    fn without_a_valid_temperature_it_is_not_judged() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |_, bus| set(bus, 62.0, 0.0));
        story.run(60.0, 120.0, 1.0, |_, bus| {
            bus.put(Slot::at(0, Quantity::Temperature, 0), Value::Missing);
            bus.celsius(1, 75.0);
        });
        assert_eq!(story.why_not("overtemperature").as_deref(), Some("no valid cell or case temperature"));
        assert_eq!(story.found_of("overtemperature"), ["overtemperature urgent pack 1 from 1 s to 60 s"]);
    }

    #[test]
    fn a_warm_pack_without_a_current_is_not_judged_since_it_may_charge() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |_, bus| bus.celsius(0, 48.0));
        assert_eq!(story.why_not("overtemperature").as_deref(), Some("no valid current"));
    }
}

//! `sensor-fault`: a sensor says 'not available' or 'error', stands still, jumps, reads at the end of its
//! range, or swings with the air; or the current sensor reads a current where there is none.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::sensors::Trouble;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

const REFUSED: u8 = 0;
const STUCK: u8 = 1;
const JUMPED: u8 = 2;
const RANGE_END: u8 = 3;
const AIR: u8 = 4;
const OFFSET: u8 = 5;

pub(super) const RULE: Rule = Rule {
    code: "sensor-fault",
    page: include_str!("../../../docs/conditions/sensor-fault.md"),
    title: "a sensor cannot be trusted",
    safety: false,
    remembered: false,
    ends_with: &[Change::SensorMoved],
    caution: "",
    source: "judgement of this project",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    if bench.pack.sensors.is_empty() && bench.pack.cells.is_empty() {
        return court.not_judged(Why::NoSensors);
    }
    court.judged();
    let hold = bench.limits.get(LimitId::SensorRefusedSeconds);
    let left = !bench.view.limiting.is_empty();
    for (index, gauge) in bench.pack.sensors.iter().enumerate() {
        let subject = Subject::sensor(bench.pack.number, index as u8);
        let trouble = bench.pack.estimates.sensors.trouble(index);
        let (kind, met) = match trouble {
            _ if gauge.is_refused() => (REFUSED, true),
            Some(Trouble::Stuck) => (STUCK, true),
            Some(Trouble::Jumped) => (JUMPED, true),
            Some(Trouble::RangeEnd) => (RANGE_END, true),
            Some(Trouble::Air) => (AIR, true),
            None => (REFUSED, false),
        };
        let hold = if kind == REFUSED { hold } else { 0.0 };
        let signs = [
            Sign::new(Severity::Notice, met, met).held(hold),
            Sign::new(Severity::Warning, met && !left, met && !left).held(hold),
        ];
        court.say(subject, &signs, &[]);
        if met {
            court.kind(subject, kind);
        }
    }
    for (index, gauge) in bench.pack.cells.iter().enumerate() {
        let subject = Subject::cell(bench.pack.number, index as u8);
        let at_end = bench.pack.estimates.sensors.cell_at_end(index);
        let met = gauge.is_refused() || at_end;
        court.say(subject, &[Sign::new(Severity::Notice, met, met).held(if at_end { 0.0 } else { hold })], &[]);
        if met {
            court.kind(subject, if at_end { RANGE_END } else { REFUSED });
        }
    }
    judge_current(bench, court);
}

/// The current sensor: at the end of its range, or off at zero by more than the limit for certain.
fn judge_current(bench: &Bench, court: &mut Court) {
    let (subject, at_end) = (bench.pack.subject(), bench.pack.estimates.sensors.current_at_end());
    let most = bench.view.capacity.map(|capacity| {
        bench.limits.get(LimitId::SensorOffset).max(capacity * bench.limits.get(LimitId::SensorOffsetRate) / 1000.0)
    });
    let learnt = bench.pack.estimates.soc.offset.learnt();
    let off = learnt.zip(most).filter(|(learnt, most)| learnt.amps.abs() - learnt.half > *most);
    let met = at_end || off.is_some();
    let facts = off.map(|(learnt, _)| [(Fact::OffsetAmps, learnt.amps)]);
    let facts = facts.as_ref().map_or(&[][..], |facts| facts.as_slice());
    court.say(subject, &[Sign::new(Severity::Notice, met, met)], facts);
    if met {
        court.kind(subject, if at_end { RANGE_END } else { OFFSET });
    }
}

fn tell(told: &Told) -> Story {
    let whole = told.subject.cell.is_none() && told.subject.sensor.is_none();
    let what = if whole { format!("The current of {}", told.subject) } else { capital(told.subject) };
    let text = match told.kind {
        STUCK => format!("{what} stood still while its neighbours moved by several degrees."),
        JUMPED => format!("{what} jumped by more than its neighbours can."),
        AIR => format!("{what} swings with the air, hours ahead of the others and further: it does not sit on a cell."),
        OFFSET => {
            let amps = told.evidence.get(Fact::OffsetAmps).unwrap_or_default();
            format!("{what} reads {amps:+.1} A when none flows, as full charges show.")
        }
        RANGE_END => format!("{what} reads at the end of its range too often."),
        _ if told.active => format!("{what} gave values and now says 'not available' or 'error'."),
        _ => format!("{what} said 'not available' or 'error' for a while."),
    };
    let none_left = if told.severity == Severity::Warning {
        " No other cell or case sensor is left: cold and heat are not judged."
    } else {
        ""
    };
    let what_to_do = match told.kind {
        AIR => {
            "Find where the sensor sits and fix it to a cell, or name it 'ambient' in the bank's file. It sets no limits meanwhile."
        }
        OFFSET => {
            "Set the current sensor's zero anew with everything switched off, as its maker says, and look whether something \
             is fed past it."
        }
        _ => "Check the sensor's plug and lead, then the sensor. Its readings set no limits meanwhile.",
    };
    Story { text: text + none_left, what_to_do: what_to_do.into() }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::bank::{SensorRole, SensorSpec};
    use crate::model::{Bank, Quantity, Slot, Value};

    /// Three case sensors.
    fn three_sensors() -> Bank {
        let mut bank = four_cells();
        for sensor in 0..3 {
            bank.packs[0].sensors[sensor] = SensorSpec { role: SensorRole::Case, cell: None };
        }
        bank
    }

    #[test]
    fn a_sensor_that_gave_values_and_then_none_is_told_after_half_a_minute() {
        let mut story = Story::new(three_sensors());
        story.run(0.0, 200.0, 1.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.celsius(0, 20.0);
            let value = if t < 100.0 { Value::Present(20.0) } else { Value::Missing };
            bus.put(Slot::at(0, Quantity::Temperature, 1), value);
        });
        assert_eq!(story.findings(), ["sensor-fault notice sensor 2 of pack 1 from 101 s to 200 s, active"]);
    }

    #[test]
    fn the_last_one_that_goes_is_a_warning() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 200.0, 1.0, |t, bus| {
            bus.celsius(1, 30.0);
            bus.put(
                Slot::at(0, Quantity::Temperature, 0),
                if t < 100.0 { Value::Present(20.0) } else { Value::Missing },
            );
        });
        assert_eq!(story.findings(), ["sensor-fault warning sensor 1 of pack 1 from 101 s to 200 s, active"]);
    }

    #[test]
    fn a_sensor_that_stands_while_its_siblings_move_is_stuck_and_a_slow_day_is_not() {
        let mut story = Story::new(three_sensors());
        story.run(0.0, 8000.0, 10.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.celsius(0, (20.0 + t * 0.001).round());
            bus.celsius(1, 20.0);
            bus.celsius(2, (20.0 + t * 0.001).round());
        });
        let found = story.findings();
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].starts_with("sensor-fault notice sensor 2 of pack 1 from 36"), "{found:?}");
    }

    /// Whole degrees: at its turn of the day one stays at 27 while the others go from 24.6 to 27.5, which reads as three.
    #[test]
    fn two_kelvin_that_read_as_three_do_not_make_a_sensor_stuck() {
        let mut story = Story::new(three_sensors());
        story.run(0.0, 8000.0, 10.0, |t, bus| {
            let others = (24.6 + 2.9 * t / 8000.0).round();
            bus.cells(&[3.3; 4]);
            bus.celsius(0, others);
            bus.celsius(1, 27.0);
            bus.celsius(2, others);
        });
        assert!(story.findings().is_empty(), "{:?}", story.findings());
    }

    /// Four days of air that swings by 8 K about 15 °C; cells that follow it with a time constant of six hours; the third
    /// sensor hangs in the air, or sits on a cell by a cold hull.
    fn days(third: fn(f64, f64) -> f64, sensors: u8) -> Story {
        let mut story = Story::new(three_sensors());
        let mut celsius = 15.0;
        story.run(0.0, 4.5 * 86_400.0, 60.0, |t, bus| {
            let air = 15.0 + 8.0 * (t / 86_400.0 * std::f64::consts::TAU).sin();
            celsius += (air - celsius) * 60.0 / (6.0 * 3600.0);
            bus.cells(&[3.3; 4]);
            bus.current(0.0);
            for sensor in 0..sensors {
                bus.celsius(sensor, if sensor == 2 { third(air, celsius) } else { celsius });
            }
        });
        story
    }

    #[test]
    fn a_sensor_that_swings_with_the_air_is_on_no_cell_and_one_by_a_hull_is() {
        let found = days(|air, _| air, 3).found_of("sensor-fault");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            found[0].starts_with("sensor-fault notice sensor 3 of pack 1") && found[0].ends_with("active"),
            "{found:?}"
        );
        assert!(days(|air, cell| 0.3 * air + 0.7 * cell - 3.0, 3).found_of("sensor-fault").is_empty());
        assert!(days(|_, cell| cell, 3).found_of("sensor-fault").is_empty());
    }

    #[test]
    fn an_offset_that_full_charges_show_is_told_from_half_an_ampere_on() {
        let told = |offset: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 8.0 * 86_400.0, 30.0, |t, bus| bus.day_of_full_charge(t, offset));
            story.found_of("sensor-fault")
        };
        assert!(told(0.0).is_empty());
        assert!(told(-0.3).is_empty());
        assert_eq!(told(-0.9).len(), 1);
    }

    #[test]
    fn a_jump_of_ten_kelvin_is_no_temperature() {
        let mut story = Story::new(three_sensors());
        story.run(0.0, 2000.0, 1.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.celsius(0, 20.0);
            bus.celsius(1, if (100.0..160.0).contains(&t) { -35.0 } else { 20.0 });
            bus.celsius(2, 20.0);
        });
        assert_eq!(story.findings(), ["sensor-fault notice sensor 2 of pack 1 from 101 s to 701 s"]);
    }
}

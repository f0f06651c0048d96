//! `sensor-fault`: a sensor says 'not available' or 'error', stands still, jumps, or reads at the end of its range.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::sensors::Trouble;
use crate::model::finding::{Severity, Subject};
use crate::model::limits::L;

const REFUSED: u8 = 0;
const STUCK: u8 = 1;
const JUMPED: u8 = 2;
const RANGE_END: u8 = 3;

pub(super) const RULE: Rule = Rule {
    code: "sensor-fault",
    page: include_str!("../../../docs/conditions/sensor-fault.md"),
    title: "a sensor cannot be trusted",
    safety: false,
    remembered: false,
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
    let hold = bench.limits.get(L::SensorRefusedSeconds);
    let left = !bench.view.limiting.is_empty();
    for (index, gauge) in bench.pack.sensors.iter().enumerate() {
        let subject = Subject::sensor(bench.pack.number, index as u8);
        let trouble = bench.pack.estimates.sensors.trouble(index);
        let (kind, met) = match trouble {
            _ if gauge.is_refused() => (REFUSED, true),
            Some(Trouble::Stuck) => (STUCK, true),
            Some(Trouble::Jumped) => (JUMPED, true),
            Some(Trouble::RangeEnd) => (RANGE_END, true),
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
    let (subject, met) = (Subject::pack(bench.pack.number), bench.pack.estimates.sensors.current_at_end());
    court.say(subject, &[Sign::new(Severity::Notice, met, met)], &[]);
    court.kind(subject, RANGE_END);
}

fn tell(told: &Told) -> Story {
    let whole = told.subject.cell.is_none() && told.subject.sensor.is_none();
    let what = if whole { format!("The current of {}", told.subject) } else { capital(told.subject) };
    let text = match told.kind {
        STUCK => format!("{what} stood still while its neighbours moved by several degrees."),
        JUMPED => format!("{what} jumped by more than its neighbours can."),
        RANGE_END => format!("{what} reads at the end of its range too often."),
        _ if told.active => format!("{what} gave values and now says 'not available' or 'error'."),
        _ => format!("{what} said 'not available' or 'error' for a while."),
    };
    let none_left = if told.severity == Severity::Warning {
        " No other cell or case sensor is left: cold and heat are not judged."
    } else {
        ""
    };
    Story {
        text: text + none_left,
        what_to_do: "Check the sensor's plug and lead, then the sensor. Its readings set no limits meanwhile.".into(),
    }
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

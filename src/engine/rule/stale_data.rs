//! `stale-data`: a value that used to come no longer does.

use super::{Bench, Court, Judge, Rule, Story, Told, capital};
use crate::engine::case::Sign;
use crate::model::Quantity;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::L;

/// The whole pack is silent.
const WHOLE: u8 = 1;

pub(super) const RULE: Rule = Rule {
    code: "stale-data",
    title: "a value no longer arrives",
    safety: true,
    remembered: false,
    caution: "",
    source: "judgement of this project",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let pack = bench.pack.number;
    let silence = (bench.limits.get(L::StaleFindPeriods), bench.limits.get(L::StaleFindSeconds));
    court.judged();
    let mut whole = None;
    if let Some(since) = bench.pack.silent_since {
        whole = Some(bench.view.now.since(since));
    }
    for (slot, gauge) in bench.pack.gauges() {
        let subject = match slot.quantity {
            Quantity::CellVoltage => Subject::cell(pack, slot.index),
            Quantity::Temperature => Subject::sensor(pack, slot.index),
            Quantity::Current | Quantity::PackVoltage if whole.is_none() => Subject::pack(pack),
            _ => continue,
        };
        let silent = gauge.silent_secs(bench.view.now, silence.0, silence.1).filter(|_| whole.is_none());
        if silent.is_some() {
            whole = whole.filter(|_| subject.cell.is_some() || subject.sensor.is_some());
        }
        say(court, subject, silent, 0);
    }
    if whole.is_some() || court.case(Subject::pack(pack)).is_some_and(|case| case.kind == WHOLE) {
        say(court, Subject::pack(pack), whole, WHOLE);
    }
}

fn say(court: &mut Court, subject: Subject, silent: Option<f64>, kind: u8) {
    let sign = Sign::new(Severity::Notice, silent.is_some(), silent.is_some());
    court.say(subject, &[sign], &[(Fact::SilentSeconds, silent.unwrap_or_default())]);
    if silent.is_some() {
        court.kind(subject, kind);
    }
}

fn tell(told: &Told) -> Story {
    let silent = told.evidence.get(Fact::SilentSeconds).unwrap_or_default();
    let span = super::span(silent);
    let what = if told.kind == WHOLE || told.subject.cell.is_some() || told.subject.sensor.is_some() {
        capital(told.subject)
    } else {
        format!("The current or the pack voltage of {}", told.subject)
    };
    let text = if told.active {
        format!("{what} has not been heard for {span}.")
    } else {
        format!("{what} was not heard for {span}; it has come back.")
    };
    Story { text, what_to_do: "Check plug, cable and adapter, and whether the sender has power.".into() }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    #[test]
    fn a_bus_that_falls_silent_is_one_finding_not_forty() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 100.0, 1.0, |_, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(-5.0);
            bus.celsius(0, 20.0);
        });
        assert!(story.findings().is_empty());
        story.silence_until(400.0);
        assert_eq!(story.findings(), ["stale-data notice pack 1 from 110 s to 110 s, active"]);
    }

    #[test]
    fn one_sensor_that_stops_is_named() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 100.0, 1.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(-5.0);
            bus.celsius(0, 20.0);
            if t < 50.0 {
                bus.celsius(1, 25.0);
            }
        });
        assert_eq!(story.findings(), ["stale-data notice sensor 2 of pack 1 from 60 s to 100 s, active"]);
    }

    #[test]
    fn a_set_a_minute_is_not_stale_between_sets() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 7200.0, 60.0, |_, bus| bus.cells(&[3.3; 4]));
        assert!(story.findings().is_empty());
        story.silence_until(7140.0 + 299.0);
        assert!(story.findings().is_empty());
        story.silence_until(7140.0 + 302.0);
        assert_eq!(story.findings().len(), 1);
    }
}

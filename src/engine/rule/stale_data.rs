//! `stale-data`: a value that used to come no longer does.

use super::{Bench, Court, Judge, Rule, Story, Told, capital};
use crate::engine::case::Sign;
use crate::engine::gauge::Gauge;
use crate::model::Quantity;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// What a finding about a whole pack is silent about, a bit each.
const PARTS: [(u8, &str); 4] = [(1, "cell voltages"), (2, "temperatures"), (4, "current"), (8, "pack voltage")];
/// The whole pack is silent.
const WHOLE: u8 = 16;

pub(super) const RULE: Rule = Rule {
    code: "stale-data",
    page: include_str!("../../../docs/conditions/stale-data.md"),
    title: "a value no longer arrives",
    safety: true,
    remembered: false,
    ends_with: &[],
    caution: "",
    source: "judgement of this project",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    court.judged();
    let pack = bench.pack;
    let silence = |gauge: &Gauge| {
        let (periods, secs) =
            (bench.limits.get(LimitId::StaleFindPeriods), bench.limits.get(LimitId::StaleFindSeconds));
        gauge.silent_secs(bench.view.now, periods, secs)
    };
    let singles = [Quantity::Current, Quantity::PackVoltage].map(|quantity| pack.gauge(quantity));
    let all_heard = || pack.cells.iter().chain(&pack.sensors).chain(singles).all(|gauge| silence(gauge).is_none());
    if !court.has_cases() && pack.silent_since.is_none() && all_heard() {
        return;
    }
    let (mut kind, mut longest) = (0, 0.0);
    if let Some(since) = pack.silent_since {
        (kind, longest) = (WHOLE, bench.view.now.since(since));
    }
    let (cells, cells_silent) = count_silent(&pack.cells, silence);
    let (sensors, sensors_silent) = count_silent(&pack.sensors, silence);
    let current = silence(pack.gauge(Quantity::Current));
    let voltage = silence(pack.gauge(Quantity::PackVoltage));
    let parts = [
        (cells && pack.cells.len() > 1).then_some(cells_silent),
        (sensors && pack.sensors.len() > 1).then_some(sensors_silent),
        current,
        voltage,
    ];
    for ((bit, _), silent) in PARTS.iter().zip(parts) {
        if let Some(secs) = silent.filter(|_| kind != WHOLE) {
            kind |= bit;
            longest = secs.max(longest);
        }
    }
    let whole = |bit: u8| kind & (bit | WHOLE) != 0;
    for (index, gauge) in pack.cells.iter().enumerate() {
        say(court, Subject::cell(pack.number, index as u8), silence(gauge).filter(|_| !whole(PARTS[0].0)));
    }
    for (index, gauge) in pack.sensors.iter().enumerate() {
        say(court, Subject::sensor(pack.number, index as u8), silence(gauge).filter(|_| !whole(PARTS[1].0)));
    }
    say(court, pack.subject(), (kind != 0).then_some(longest));
    if kind != 0 {
        let seen = court.case(pack.subject()).map_or(0, |case| case.kind);
        court.kind(pack.subject(), if kind == WHOLE { WHOLE } else { kind | (seen & !WHOLE) });
    }
}

/// Whether all of them are silent, and for how long the one that was heard last.
fn count_silent(gauges: &[Gauge], silence: impl Fn(&Gauge) -> Option<f64>) -> (bool, f64) {
    let silent: Option<Vec<f64>> = gauges.iter().map(silence).collect();
    let shortest = silent.map(|secs| secs.into_iter().fold(f64::MAX, f64::min));
    shortest.filter(|_| !gauges.is_empty()).map_or((false, 0.0), |secs| (true, secs))
}

fn say(court: &mut Court, subject: Subject, silent: Option<f64>) {
    let sign = Sign::new(Severity::Notice, silent.is_some(), silent.is_some());
    court.say(subject, &[sign], &[(Fact::SilentSeconds, silent.unwrap_or_default())]);
}

fn tell(told: &Told) -> Story {
    let silent = crate::model::span(told.evidence.get(Fact::SilentSeconds).unwrap_or_default());
    let names: Vec<&str> = PARTS.iter().filter(|(bit, _)| told.kind & bit != 0).map(|(_, name)| *name).collect();
    let (what, many) = match (told.subject.cell.or(told.subject.sensor), names.as_slice()) {
        (None, [.., _]) if told.kind != WHOLE => {
            (format!("The {} of {}", names.join(", "), told.subject), names.len() > 1 || told.kind < 4)
        }
        _ => (capital(told.subject), false),
    };
    let (has, was) = if many { ("have", "were") } else { ("has", "was") };
    let text = match told.active {
        true => format!("{what} {has} not been heard for {silent}."),
        false => format!("{what} {was} not heard for {silent}; now it comes again."),
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

    #[test]
    fn all_cells_that_stop_are_one_finding_about_the_pack() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 100.0, 1.0, |t, bus| {
            bus.current(-5.0);
            bus.celsius(0, 20.0);
            if t < 50.0 {
                bus.cells(&[3.3; 4]);
            }
        });
        assert_eq!(story.findings(), ["stale-data notice pack 1 from 60 s to 100 s, active"]);
        assert_eq!(story.snapshot().findings[0].text, "The cell voltages of pack 1 have not been heard for 51 s.");
    }
}

//! `temperature-spread`: one place of a pack is much warmer than the others, beyond what it is at rest.

use super::{Bench, Court, Judge, Rule, Story, Told, Why};
use crate::engine::case::Sign;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// A current flowed: a connection is to be suspected.
const LOADED: u8 = 1;
/// From this rate on a current warms a connection, C.
const LOAD: f64 = 0.1;

pub(super) const RULE: Rule = Rule {
    code: "temperature-spread",
    page: include_str!("../../../docs/conditions/temperature-spread.md"),
    title: "one place of a pack is much warmer than the others",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced, Change::SensorMoved, Change::ConnectionsChanged],
    caution: "Before anything is touched: stop charging and loads, isolate, prove dead, insulated tools, the maker's torque; measure \
              the voltage across a connection first. Do not open a sealed pack.",
    source: "judgement of this project",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (view, limits, pack) = (bench.view, bench.limits, bench.pack.number);
    let spread = match bench.pack.estimates.habits.baseline.spread(view) {
        Ok(spread) => spread,
        Err(two) => {
            court.end(|subject| subject.pack == Some(pack));
            return match two {
                true => court.not_judged(Why::NeverRested),
                false => court.waits(Why::OneSensor),
            };
        }
    };
    court.judged();
    if !court.has_cases() && spread.kelvin <= limits.least([LimitId::SpreadNotice, LimitId::SpreadWarning]) {
        return;
    }
    let heats = view.switches.heater_on == Some(true);
    let back = limits.get(LimitId::SpreadHysteresis);
    let sign = |severity, limit: f64| {
        let (met, keeps) = (spread.kelvin > limit, spread.kelvin > limit - back);
        Sign::new(severity, met && !heats, keeps && !heats).held(limits.get(LimitId::SpreadMinutes) * 60.0)
    };
    let signs = [
        sign(Severity::Notice, limits.get(LimitId::SpreadNotice)),
        sign(Severity::Warning, limits.get(LimitId::SpreadWarning)),
    ];
    let (high, low) = spread.ends;
    let facts = [(Fact::SpreadKelvin, spread.kelvin), (Fact::PeakCelsius, high), (Fact::OthersCelsius, low)];
    let subject = Subject::pack(pack);
    court.say(subject, &signs, &facts);
    if signs.iter().any(|sign| sign.met) {
        court.kind(subject, if view.rate().is_some_and(|rate| rate.abs() >= LOAD) { LOADED } else { 0 });
    }
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let text = format!(
        "Sensors of {} were {:.0} K further apart than at rest: up to {:.0} °C at the warmest, {:.0} °C at the coldest.",
        told.subject,
        get(Fact::SpreadKelvin),
        get(Fact::PeakCelsius),
        get(Fact::OthersCelsius),
    );
    let what_to_do = match told.kind {
        LOADED => {
            "Large currents off until the warm place is found. A connection there may have come loose: have the voltage across it \
             measured under load."
        }
        _ => {
            "Find out what warms that place: sun, engine, a heater, a sensor that has come off. If a cell is warm with nothing else \
             near it, do not use the bank until a qualified person has looked."
        }
    };
    Story { text, what_to_do: what_to_do.into() }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::Bank;
    use crate::model::bank::{SensorRole, SensorSpec};

    const HOUR: f64 = 3600.0;

    fn three() -> Bank {
        let mut bank = four_cells();
        for sensor in 0..3 {
            bank.packs[0].sensors[sensor] = SensorSpec { role: SensorRole::Cell, cell: Some(sensor as u8) };
        }
        bank
    }

    /// A night's rest with the third sensor by a cold hull, then hours of load with a sensor that warms.
    fn told(rest: f64, more: f64, hours: f64) -> Story {
        let mut story = Story::new(three());
        story.run(0.0, (4.0 + hours) * HOUR, 30.0, |t, bus| {
            let loaded = t >= 4.0 * HOUR;
            bus.cells(&[3.3; 4]);
            bus.current(if loaded {
                -60.0
            } else if rest > 0.0 {
                0.0
            } else {
                -5.0
            });
            bus.celsius(0, 20.0);
            bus.celsius(1, if loaded { 20.0 + more } else { 20.0 });
            bus.celsius(2, 11.0);
        });
        story
    }

    fn found(story: &Story) -> Vec<String> {
        let found = story.found_of("temperature-spread");
        found.iter().map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn what_is_warmer_than_at_rest_is_found_and_a_cold_hull_is_not() {
        assert!(found(&told(1.0, 0.0, 2.0)).is_empty());
        assert!(found(&told(1.0, 7.5, 2.0)).is_empty());
        let story = told(1.0, 9.0, 1.0);
        assert_eq!(found(&story), ["temperature-spread notice pack 1"]);
        assert!(story.snapshot().findings[0].text.contains("9 K further apart than at rest: up to 29 °C"));
        assert!(story.snapshot().findings[0].what_to_do.contains("connection"));
        assert_eq!(found(&told(1.0, 13.0, 1.0)), ["temperature-spread warning pack 1"]);
        assert!(found(&told(1.0, 13.0, 0.3)).is_empty(), "not held for twenty minutes");
    }

    #[test]
    fn before_the_first_rest_it_is_not_judged() {
        let story = told(0.0, 20.0, 1.0);
        assert!(found(&story).is_empty());
        assert_eq!(story.why_not("temperature-spread").unwrap(), "the bank never rested long enough");
    }
}

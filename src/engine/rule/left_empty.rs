//! `left-empty`: a cell rests near empty for a day. Self-discharge goes on below any cut-off.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::gauge::Gauge;
use crate::engine::view::CellNow;
use crate::model::Change;
use crate::model::Quantity;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// A link that loses frames breaks no rest: so long may nothing come, s.
const GAP: f64 = 600.0;

pub(super) const RULE: Rule = Rule {
    code: "left-empty",
    page: include_str!("../../../docs/conditions/left-empty.md"),
    title: "a cell is left empty",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Do not charge a cell that was found below 2.0 V, or a pack that is swollen, hot or leaking: isolate it. \
              Do not wake a pack by charging it directly.",
    source: "common practice, no source; self-discharge goes on below any cut-off voltage",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (pack, view, limits) = (bench.pack.number, bench.view, bench.limits);
    if view.secs() > GAP {
        court.end(|subject| subject.pack == Some(pack));
    }
    let lost = view.current.is_none() || view.cells.is_empty();
    if lost && view.capacity.is_some() && is_lately_heard(bench) {
        return court.judged();
    }
    if view.cells.is_empty() {
        court.end(|subject| subject.pack == Some(pack));
        return court.not_judged(if view.mean.is_some() { Why::PackVoltageOnly } else { Why::NoCellVoltages });
    }
    let level = limits.greatest([LimitId::LeftEmptyNotice, LimitId::LeftEmptyWarning]);
    if view.current.is_none() || view.capacity.is_none() {
        // Without a current nobody knows whether it rests; a cell that stands high is not empty either way.
        court.end(|subject| subject.pack == Some(pack));
        let high = view.sees_all_cells() && view.cells.iter().all(|cell| cell.volts > level);
        let why = if view.current.is_none() { Why::NoCurrent } else { Why::NoCapacity };
        return if high { court.judged() } else { court.not_judged(why) };
    }
    court.judged();
    if !view.sees_all_cells() {
        court.not_judged(Why::SomeCellsMissing);
    }
    if !court.has_cases() && view.cells.iter().all(|cell| cell.volts >= level) {
        return;
    }
    let quiet = bench.pack.estimates.rest.quiet_since().is_some();
    for cell in &view.cells {
        judge_cell(bench, cell, quiet, court);
    }
}

/// A cell and the current were heard within the last minutes.
fn is_lately_heard(bench: &Bench) -> bool {
    let lately = |gauge: &Gauge| gauge.last_good().is_some_and(|(at, _)| bench.view.now.since(at) <= GAP);
    lately(bench.pack.gauge(Quantity::Current)) && bench.pack.cells.iter().any(lately)
}

fn judge_cell(bench: &Bench, cell: &CellNow, quiet: bool, court: &mut Court) {
    let limits = bench.limits;
    let no_reading = cell.volts <= bench.spec.span.cell.0.map_or(0.0, |volts| volts.get());
    let counts = quiet && !no_reading && !bench.view.lead_may_be_open(cell.cell, limits);
    let sign = |severity, limit| {
        let below = counts && cell.volts < limits.get(limit);
        Sign::new(severity, below, below).held(limits.get(LimitId::LeftEmptyHours) * 3600.0).read(2, cell.count, 1)
    };
    let signs = [sign(Severity::Notice, LimitId::LeftEmptyNotice), sign(Severity::Warning, LimitId::LeftEmptyWarning)];
    let subject = Subject::cell(bench.pack.number, cell.cell);
    court.say(subject, &signs, &[(Fact::LowestVolts, cell.volts)]);
}

fn tell(told: &Told) -> Story {
    let lowest = told.evidence.get(Fact::LowestVolts).unwrap_or_default();
    let hours = told.case.total_secs / 3600.0;
    Story {
        text: format!("{} rested empty, at {lowest:.2} V, for {hours:.0} hours.", capital(told.subject)),
        what_to_do: match told.severity {
            Severity::Notice => {
                "Charge the bank soon, gently at first. Find what draws while it is laid up, and store it about half full."
            }
            _ => {
                "Charge the bank now at a small current, from 0 °C up only, and watch the low cell. If a cell is below 2.0 V \
                 do not charge: have a qualified person look at it."
            }
        }
        .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    const HOUR: f64 = 3600.0;

    fn told(hours: f64, mut set: impl FnMut(f64) -> (f64, f64)) -> Vec<String> {
        let mut story = Story::new(four_cells());
        story.run(0.0, hours * HOUR, 60.0, |t, bus| {
            let (volts, amps) = set(t / HOUR);
            bus.celsius(0, 15.0);
            bus.current(amps);
            bus.cells(&[3.1, volts, 3.1, 3.1]);
        });
        story.findings().into_iter().filter(|line| line.starts_with("left-empty")).collect()
    }

    #[test]
    fn a_day_at_rest_near_empty_is_a_notice_and_deeper_a_warning() {
        assert_eq!(told(25.0, |_| (2.95, 0.0)), ["left-empty notice cell 2 of pack 1 from 1 s to 89941 s, active"]);
        assert_eq!(
            told(50.0, |h| (if h < 10.0 { 2.95 } else { 2.78 }, -0.1)),
            ["left-empty warning cell 2 of pack 1 from 1 s to 179941 s, active"]
        );
    }

    #[test]
    fn a_night_near_empty_that_is_charged_in_the_morning_is_not_left_empty() {
        assert!(told(60.0, |h| if h % 24.0 < 22.0 { (2.95, 0.0) } else { (3.25, 20.0) }).is_empty());
    }

    #[test]
    fn a_low_voltage_under_load_is_not_rest() {
        assert!(told(40.0, |h| (2.95, if h % 2.0 < 1.0 { -3.0 } else { 0.0 })).is_empty());
    }

    #[test]
    fn what_rests_at_three_volts_and_more_is_not_empty() {
        assert!(told(40.0, |_| (3.0, 0.0)).is_empty());
    }

    #[test]
    fn with_pack_voltage_alone_there_is_no_rest() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 30.0 * HOUR, 60.0, |_, bus| {
            bus.current(0.0);
            bus.one(crate::model::Quantity::PackVoltage, 11.6);
        });
        assert!(!story.findings().iter().any(|line| line.starts_with("left-empty")));
        assert!(story.why_not("left-empty").unwrap().contains("only the pack voltage"));
    }

    #[test]
    fn frames_that_are_lost_for_some_minutes_do_not_begin_the_hours_anew() {
        let told = |silence: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 26.0 * HOUR, 60.0, |t, bus| {
                let gone = t % 7200.0 < silence;
                if !gone {
                    bus.celsius(0, 15.0);
                    bus.current(0.0);
                    bus.cells(&[3.1, 2.95, 3.1, 3.1]);
                }
            });
            story.found_of("left-empty")
        };
        assert_eq!(told(480.0).len(), 1);
        assert!(told(1500.0).is_empty(), "that is a break");
    }
}

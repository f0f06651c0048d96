//! `cell-overvoltage`: a cell is charged too high, or the charger holds the mean too high.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::view::CellNow;
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::{LimitId, Limits};

/// The mean is too high: the charger's doing, not one cell's.
const CHARGER: u8 = 1;

pub(super) const RULE: Rule = Rule {
    code: "cell-overvoltage",
    page: include_str!("../../../docs/conditions/cell-overvoltage.md"),
    title: "a cell is charged too high",
    safety: true,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Do not bypass the BMS. If a pack is swollen, hot or smells, keep away from it and isolate it from a distance.",
    source: "judgement of this project; the cell maker's data sheet wins",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let pack = bench.pack.number;
    let mut blind = false;
    if bench.view.cells.is_empty() {
        court.end(|subject| subject.pack == Some(pack) && subject.cell.is_some());
    } else {
        let open_lead = |cell: &CellNow| {
            cell.volts > bench.limits.get(LimitId::OvervoltageNotice)
                && bench.view.lead_may_be_open(cell.cell, bench.limits)
        };
        for cell in &bench.view.cells {
            if open_lead(cell) {
                blind = true;
                court.end(|subject| subject == Subject::cell(pack, cell.cell));
                continue;
            }
            judge_cell(cell, pack, bench.limits, court);
        }
    }
    let Some(mean) = bench.view.mean else {
        court.end(|subject| subject == Subject::pack(pack));
        return court.not_judged(Why::NoVoltage);
    };
    if blind {
        court.not_judged(Why::LeadMayBeOpen);
    } else {
        court.judged();
    }
    let count = bench
        .view
        .cells
        .first()
        .map_or(bench.pack.gauge(crate::model::Quantity::PackVoltage).count(), |cell| cell.count);
    let limit = bench.limits.get(LimitId::OvervoltageMean);
    let sign =
        Sign::new(Severity::Notice, mean > limit, mean > limit - bench.limits.get(LimitId::OvervoltageHysteresis))
            .held(bench.limits.get(LimitId::OvervoltageNoticeSeconds))
            .read(2, count, 1);
    court.say(Subject::pack(pack), &[sign], &[(Fact::MeanVolts, mean), (Fact::PeakVolts, mean)]);
    court.kind(Subject::pack(pack), CHARGER);
}

fn judge_cell(cell: &CellNow, pack: u8, limits: &Limits, court: &mut Court) {
    let least = limits.least([LimitId::OvervoltageNotice, LimitId::OvervoltageWarning, LimitId::OvervoltageUrgent]);
    if !court.has_cases() && cell.recent.high <= least {
        return;
    }
    let hysteresis = limits.get(LimitId::OvervoltageHysteresis);
    let sign = |severity, limit, volts: f64, hold_secs| {
        let limit = limits.get(limit);
        Sign::new(severity, volts > limit, cell.volts > limit - hysteresis).held(hold_secs).read(
            2,
            cell.count,
            cell.readings_above(limit),
        )
    };
    let signs = [
        sign(
            Severity::Notice,
            LimitId::OvervoltageNotice,
            cell.recent.low,
            limits.get(LimitId::OvervoltageNoticeSeconds),
        ),
        sign(
            Severity::Warning,
            LimitId::OvervoltageWarning,
            cell.recent.low,
            limits.get(LimitId::OvervoltageWarningSeconds),
        ),
        sign(Severity::Urgent, LimitId::OvervoltageUrgent, cell.recent.high, 0.0),
    ];
    court.say(Subject::cell(pack, cell.cell), &signs, &[(Fact::PeakVolts, cell.recent.high)]);
}

fn tell(told: &Told) -> Story {
    let peak = told.evidence.get(Fact::PeakVolts).unwrap_or_default();
    if told.kind == CHARGER && told.subject.cell.is_none() {
        return Story {
            text: format!("The charger drives the mean cell to {peak:.3} V."),
            what_to_do: "Lower the charger's absorption voltage to what the bank's maker allows.".into(),
        };
    }
    Story {
        text: format!("{} went up to {peak:.3} V.", capital(told.subject)),
        what_to_do: match told.severity {
            Severity::Notice => {
                "Let a full charge run on at a lower current so that balancing can bring the cells together.".into()
            }
            Severity::Warning => {
                "Stop this charge or lower its voltage, and find out why the BMS let the cell rise so far.".into()
            }
            Severity::Urgent => {
                "Stop charging now: switch the charging sources off. Have the BMS looked at before the next charge."
                    .into()
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    #[test]
    fn a_high_cell_is_a_notice_after_a_minute_a_warning_after_seconds() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 300.0, 1.0, |t, bus| bus.cells(&[3.5, 3.5, if t > 100.0 { 3.72 } else { 3.5 }, 3.5]));
        assert_eq!(story.findings(), ["cell-overvoltage notice cell 3 of pack 1 from 102 s to 300 s, active"]);
        story.run(300.0, 320.0, 1.0, |_, bus| bus.cells(&[3.5, 3.5, 3.82, 3.5]));
        assert_eq!(story.findings(), ["cell-overvoltage warning cell 3 of pack 1 from 102 s to 320 s, active"]);
    }

    #[test]
    fn two_readings_within_a_second_are_enough_for_urgent_and_one_is_not() {
        let spike = |readings: usize| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 60.0, 0.1, |t, bus| {
                let tenth = (t * 10.0).round() as usize;
                let high = (302..302 + readings).contains(&tenth);
                bus.cells(&[3.5, if high { 3.95 } else { 3.5 }, 3.5, 3.5]);
            });
            story.findings()
        };
        assert!(spike(1).is_empty());
        assert_eq!(spike(2), ["cell-overvoltage urgent cell 2 of pack 1 from 31 s to 31 s"]);
    }

    #[test]
    fn two_neighbours_off_by_equal_and_opposite_amounts_are_an_open_lead_and_no_voltage() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 300.0, 1.0, |_, bus| bus.cells(&[3.3, 2.5, 4.1, 3.3]));
        assert!(story.findings().iter().all(|line| !line.starts_with("cell-overvoltage")), "{:?}", story.findings());
        assert!(story.why_not("cell-overvoltage").is_some(), "and it is not called well either");
    }

    #[test]
    fn a_charger_set_too_high_is_told_of_the_pack_not_of_a_cell() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 300.0, 1.0, |_, bus| bus.cells(&[3.67; 4]));
        assert_eq!(story.findings(), ["cell-overvoltage notice pack 1 from 1 s to 300 s, active"]);
    }
}

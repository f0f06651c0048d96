//! `cell-undervoltage`: a cell is drawn too low, judged at rest or corrected for what the load takes off.

use super::{Bench, Court, Judge, Rule, Sighting, Story, Told, Why, capital};
use crate::curve::RESISTANCE_RATIO_PLETT;
use crate::engine::case::Sign;
use crate::engine::view::{CellNow, View};
use crate::model::Change;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::{LimitId, Limits};

/// Only the pack voltage was seen.
const SUBSTITUTE: u8 = 1;
/// So far above the notice a cell needs no correction to be clear, V.
const WELL_ABOVE: f64 = 0.2;

pub(super) const RULE: Rule = Rule {
    code: "cell-undervoltage",
    page: include_str!("../../../docs/conditions/cell-undervoltage.md"),
    title: "a cell is drawn too low",
    safety: true,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Do not charge a cell that was found below 2.0 V, or a pack that is swollen, hot or leaking: isolate it. \
              Do not bypass the BMS.",
    source: "below 2.0 V: Zheng 2016, 10.1039/C6RA01677D (over-discharge of LFP/graphite); 2.5 V: lowest voltage of \
             published test sets; 2.8 V: judgement of this project; the cell maker's data sheet wins",
    judge: Judge::Pack(judge),
    tell,
};

/// What the load takes off every cell now.
struct Sag {
    /// Added to a reading to have the cell's own voltage, V; negative while charging.
    volts: f64,
    /// Load, as a multiple of the capacity.
    rate: f64,
    /// Resistance at this temperature, as a multiple of that at 25 °C.
    ratio: f64,
    /// For how long a voltage must stand below a limit, s.
    hold_secs: f64,
    /// Why the load is only assumed.
    assumed: Option<Why>,
    /// Why less may be taken off than is reckoned with, and which part of it is sure.
    doubt: Option<(Why, f64)>,
}

impl Sag {
    /// Whether a voltage that the reckoned lift clears would be too low with what of the lift is sure.
    fn sighting(&self, subject: Subject, (volts, count): (f64, u32), lift: f64, limits: &Limits) -> Option<Sighting> {
        let (why, sure) = self.doubt?;
        let notice = limits.get(LimitId::UndervoltageNotice);
        let open = volts + lift >= notice && volts + sure * lift < notice;
        open.then_some(Sighting { subject, why, volts, count })
    }
}

/// Above all of these nothing is said.
const TIERS: [LimitId; 3] = [LimitId::UndervoltageNotice, LimitId::UndervoltageWarning, LimitId::UndervoltageUrgent];

fn judge(bench: &Bench, court: &mut Court) {
    let (pack, view) = (bench.pack.number, bench.view);
    if view.cells.is_empty() {
        court.end(|subject| subject.pack == Some(pack) && subject.cell.is_some());
        return judge_substitute(bench, court);
    }
    court.judged();
    if !view.sees_all_cells() {
        court.not_judged(Why::SomeCellsMissing);
    }
    let near = bench.limits.greatest(TIERS) + WELL_ABOVE;
    if !court.has_cases() && !court.has_doubt() && view.cells.iter().all(|cell| cell.recent.low > near) {
        return;
    }
    let sag = sag(bench);
    let seen = view.cells.iter().filter_map(|cell| judge_cell(bench, &sag, cell, court));
    let seen = seen.min_by(|a, b| a.volts.total_cmp(&b.volts));
    court.doubts(bench, seen, sag.hold_secs);
}

/// Judges a cell; returns what could not be told of it.
fn judge_cell(bench: &Bench, sag: &Sag, cell: &CellNow, court: &mut Court) -> Option<Sighting> {
    let limits = bench.limits;
    let link = bench.spec.links.get(usize::from(cell.cell)).copied().flatten().map_or(0.0, |ohms| ohms.get());
    let amps = sag.rate * bench.view.capacity.unwrap_or(0.0);
    let own = bench.pack.estimates.resistance.whole(usize::from(cell.cell), limits);
    let lift = own.map_or(sag.volts, |own| own.ohms.max(0.0) * sag.ratio * amps) + link * amps;
    let suspicious = cell.recent.low + lift.min(0.0) < limits.greatest(TIERS);
    if suspicious {
        if is_no_reading(bench, cell) {
            court.not_judged(Why::SomeCellsMissing);
            return None;
        }
        if bench.view.lead_may_be_open(cell.cell, limits) {
            court.not_judged(Why::LeadMayBeOpen);
            return None;
        }
        if let Some(why) = sag.assumed {
            court.not_judged(why);
        }
    }
    let sign = |severity, limit, volts: f64, hold_secs| {
        let limit = limits.get(limit);
        let keeps = cell.volts + lift < limit + limits.get(LimitId::UndervoltageHysteresis);
        Sign::new(severity, volts + lift < limit, keeps).held(hold_secs).read(
            2,
            cell.count,
            cell.readings_below(limit - lift),
        )
    };
    let signs = [
        sign(Severity::Notice, LimitId::UndervoltageNotice, cell.recent.high, sag.hold_secs),
        sign(Severity::Warning, LimitId::UndervoltageWarning, cell.recent.high, sag.hold_secs),
        sign(Severity::Urgent, LimitId::UndervoltageUrgent, cell.recent.low, 0.0),
    ];
    let mut facts = [
        (Fact::LowestVolts, cell.recent.low),
        (Fact::CorrectedVolts, cell.recent.low + lift),
        (Fact::PeakRate, sag.rate.max(0.0)),
    ];
    if sag.assumed.is_some() {
        facts[2] = facts[0];
    }
    let subject = Subject::cell(bench.pack.number, cell.cell);
    court.say(subject, &signs, &facts);
    sag.sighting(subject, (cell.recent.high, cell.count), lift, limits)
}

/// A voltage at the low end of what its signal can say is no reading.
fn is_no_reading(bench: &Bench, cell: &CellNow) -> bool {
    cell.volts <= bench.spec.span.cell.0.map_or(0.0, |volts| volts.get())
}

/// Without cell voltages: pack voltage / cells in series, where a cut-off terminal is not taken for empty cells.
fn judge_substitute(bench: &Bench, court: &mut Court) {
    let (subject, limits) = (bench.pack.subject(), bench.limits);
    let Some(mean) = bench.view.mean.filter(|mean| *mean > limits.get(LimitId::UndervoltageSubstituteFrom)) else {
        court.end(|other| other == subject);
        return court.not_judged(if bench.view.mean.is_some() { Why::PackVoltageOnly } else { Why::NoVoltage });
    };
    court.judged();
    let sag = sag(bench);
    let lifted = mean + sag.volts;
    if let Some(why) = sag.assumed.filter(|_| mean < limits.greatest(TIERS)) {
        court.not_judged(why);
    }
    let count = bench.pack.gauge(crate::model::Quantity::PackVoltage).count();
    let sign = |severity, limit| {
        let limit = limits.get(limit);
        Sign::new(severity, lifted < limit, lifted < limit + limits.get(LimitId::UndervoltageHysteresis))
            .held(sag.hold_secs)
            .read(2, count, 1)
    };
    let signs =
        [sign(Severity::Notice, LimitId::UndervoltageNotice), sign(Severity::Warning, LimitId::UndervoltageWarning)];
    court.say(subject, &signs, &[(Fact::MeanVolts, mean), (Fact::LowestVolts, mean), (Fact::CorrectedVolts, lifted)]);
    court.kind(subject, SUBSTITUTE);
    court.doubts(bench, sag.sighting(subject, (mean, count), sag.volts, limits), sag.hold_secs);
}

/// What the load takes off: the largest of the last seconds, since the voltage comes back slowly. While the load is
/// not known, the largest that the pack is rated for.
fn sag(bench: &Bench) -> Sag {
    let (view, limits) = (bench.view, bench.limits);
    let rest = &bench.pack.estimates.rest;
    let rate = rest.recent_load().filter(|_| view.current.is_some());
    let assumed = match rate {
        Some(_) => None,
        None if view.current.is_none() => Some(Why::NoCurrent),
        None => Some(Why::NoCapacity),
    };
    let rated = bench.spec.rated.discharge.zip(view.capacity).map(|(amps, capacity)| amps.get() / capacity);
    let rate = rate.unwrap_or_else(|| rated.unwrap_or(limits.get(LimitId::OverCurrentDischarge)));
    let quiet = rest.quiet_since().is_some() || assumed.is_some();
    let hold = if quiet { LimitId::UndervoltageRestSeconds } else { LimitId::UndervoltageLoadSeconds };
    let known = celsius(view);
    let ratio = RESISTANCE_RATIO_PLETT.at(known.unwrap_or(limits.get(LimitId::UndervoltageNoTemperature)));
    let doubt = match (assumed, known) {
        (Some(why), _) => Some((why, 0.0)),
        (None, None) => Some((Why::NoTemperature, 1.0 / ratio.max(1.0))), // as warm as the sag is told for
        (None, Some(_)) => None,
    };
    Sag {
        volts: rate * limits.get(LimitId::UndervoltageSag) * ratio,
        ratio,
        rate,
        hold_secs: limits.get(hold),
        assumed,
        doubt,
    }
}

/// The coldest cell has the largest resistance.
fn celsius(view: &View) -> Option<f64> {
    view.coldest().filter(|_| view.role_known).map(|sensor| sensor.celsius)
}

fn tell(told: &Told) -> Story {
    let lowest = told.evidence.get(Fact::LowestVolts).unwrap_or_default();
    let corrected = told.evidence.get(Fact::CorrectedVolts).unwrap_or_default();
    let load =
        if corrected > lowest + 0.02 { format!(", about {corrected:.2} V without the load") } else { String::new() };
    if told.kind == SUBSTITUTE {
        return Story {
            text: format!(
                "The voltage of pack {} fell to {lowest:.2} V per cell{load}; the cells are not seen.",
                told.subject.pack.unwrap_or(0) + 1
            ),
            what_to_do:
                "Take loads off and charge the bank soon. A BMS that has cut the terminals off looks the same: see \
                         whether the loads still run."
                    .into(),
        };
    }
    Story {
        text: format!("{} fell to {lowest:.2} V{load}.", capital(told.subject)),
        what_to_do: match told.severity {
            Severity::Notice if !told.active => {
                "It has come up again. Find out which load emptied it, and see that it is switched off before the bank is \
                 empty."
            }
            Severity::Notice => "Take loads off and charge the bank soon; see how long it takes until it is full again.",
            Severity::Warning => {
                "Take the loads off and charge the bank now, at a small current. Find out why neither an alarm nor the \
                 BMS ended the discharge sooner."
            }
            Severity::Urgent => {
                "Do not charge this pack. Stop the engine and the charging sources first, then the loads, then open the \
                 battery switch, and have a qualified person look at the cell."
            }
        }
        .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::{Quantity, Slot, Value};

    #[test]
    fn a_cell_that_rests_low_is_a_notice_then_a_warning() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 1.0, |t, bus| {
            bus.current(-0.2);
            bus.celsius(0, 20.0);
            bus.cells(&[3.1, if t < 300.0 { 2.75 } else { 2.45 }, 3.1, 3.1]);
        });
        assert_eq!(story.findings(), ["cell-undervoltage warning cell 2 of pack 1 from 1 s to 600 s, active"]);
        let told = &story.snapshot().findings[0];
        assert_eq!(told.text, "Cell 2 of pack 1 fell to 2.45 V.");
        assert!(told.what_to_do.starts_with("Take the loads off and charge the bank now"));
    }

    #[test]
    fn a_cell_below_two_volts_is_not_to_be_charged() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 3.0, 1.0, |_, bus| {
            bus.current(0.0);
            bus.cells(&[3.1, 3.1, 3.1, 1.9]);
        });
        assert_eq!(story.findings(), ["cell-undervoltage urgent cell 4 of pack 1 from 1 s to 3 s, active"]);
        assert!(story.snapshot().findings[0].what_to_do.starts_with("Do not charge this pack."));
    }

    #[test]
    fn one_reading_below_two_volts_is_not_enough() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 20.0, 1.0, |t, bus| {
            bus.current(0.0);
            bus.cells(&[3.1, 3.1, 3.1, if t == 5.0 { 1.9 } else { 3.1 }]);
        });
        assert!(story.findings().is_empty());
    }

    #[test]
    fn a_windlass_is_no_low_cell() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 120.0, 0.5, |t, bus| {
            let haul = (60.0..62.0).contains(&t);
            bus.celsius(0, 15.0);
            bus.current(if haul { -250.0 } else { -3.0 });
            bus.cells(&[if haul { 2.4 } else { 3.2 }; 4]);
        });
        assert!(story.findings().is_empty(), "{:?}", story.findings());
        assert_eq!(story.why_not("cell-undervoltage"), None);
    }

    #[test]
    fn a_long_load_in_the_cold_is_corrected_and_so_is_the_minute_after_it() {
        let told = |celsius: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 400.0, 1.0, |t, bus| {
                let load = (60.0..300.0).contains(&t);
                bus.celsius(0, celsius);
                bus.current(if load { -80.0 } else { 0.0 });
                let recovers = 3.1 - 0.4 * (-(t - 300.0) / 8.0_f64).exp();
                bus.cells(
                    &[if load {
                        2.7
                    } else if t < 60.0 {
                        3.2
                    } else {
                        recovers
                    }; 4],
                );
            });
            story.findings()
        };
        assert!(told(-5.0).is_empty(), "{:?}", told(-5.0));
        assert_eq!(told(35.0).len(), 4, "warm cells do not sag by so much: they are empty");
    }

    /// A load of 0.6C takes the cells low for so long, then the charger or a rest.
    fn without_a_temperature(load_secs: f64, after: f64) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, 600.0, 1.0, |t, bus| {
            let load = (60.0..60.0 + load_secs).contains(&t);
            bus.celsius(1, 20.0); // on the electronics
            bus.current(if load {
                -60.0
            } else if t > 300.0 {
                after
            } else {
                -2.0
            });
            bus.cells(&[3.2, if load { 2.71 } else { 3.1 }, 3.2, 3.2]);
        });
        story
    }

    #[test]
    fn what_only_a_temperature_could_tell_stays_open_until_a_rest_tells_it() {
        let mut warm = Story::new(four_cells());
        warm.run(0.0, 120.0, 1.0, |t, bus| {
            bus.celsius(0, 25.0);
            bus.current(-60.0);
            bus.cells(&[3.2, if t > 60.0 { 2.71 } else { 3.1 }, 3.2, 3.2]);
        });
        assert_eq!(warm.findings(), ["cell-undervoltage notice cell 2 of pack 1 from 62 s to 120 s, active"]);
        let charged = without_a_temperature(60.0, 30.0);
        assert!(charged.findings().is_empty(), "it may have been cold: {:?}", charged.findings());
        let open = "no valid cell or case temperature to tell how much of it the load took, when cell 2 of pack 1 fell \
                    to 2.71 V, last at 2027-01-15 08:02:00 UTC";
        assert_eq!(charged.why_not("cell-undervoltage").as_deref(), Some(open));
        assert_eq!(charged.snapshot().verdict.level, crate::model::Level::NotKnown);
        assert_eq!(without_a_temperature(60.0, 0.0).why_not("cell-undervoltage"), None, "at rest it stands at 3.1 V");
        assert_eq!(without_a_temperature(3.0, 30.0).why_not("cell-undervoltage"), None, "too short to tell anything");
    }

    #[test]
    fn a_set_a_minute_that_caught_a_pump_is_no_low_cell() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 1200.0, 60.0, |t, bus| {
            bus.celsius(0, 20.0);
            bus.cells(&[if t == 600.0 { 2.6 } else { 3.2 }; 4]);
            bus.current(-2.0);
        });
        assert!(story.findings().is_empty());
    }

    #[test]
    fn an_open_balance_lead_is_not_taken_for_an_empty_cell() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 100.0, 1.0, |_, bus| {
            bus.current(0.0);
            bus.cells(&[3.3, 1.8, 4.8, 3.3]);
        });
        assert!(!story.findings().iter().any(|line| line.starts_with("cell-undervoltage")), "{:?}", story.findings());
        assert!(story.why_not("cell-undervoltage").unwrap().contains("balance lead"));
    }

    #[test]
    fn without_a_current_a_voltage_that_a_load_may_explain_is_not_judged() {
        let told = |volts: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 100.0, 1.0, |_, bus| {
                bus.celsius(0, 25.0);
                bus.cells(&[3.2, 3.2, volts, 3.2]);
            });
            (story.findings().len(), story.why_not("cell-undervoltage"))
        };
        assert_eq!(told(2.9), (0, None), "above the limit with a load, so above it without");
        assert_eq!(told(2.75), (0, Some("no valid current".into())));
        assert_eq!(told(2.6), (1, Some("no valid current".into())), "more than a full load explains");
    }

    #[test]
    fn with_pack_voltage_alone_the_mean_stands_in_and_a_dead_terminal_is_not_judged() {
        let mut story = Story::new(four_cells());
        let pack = |bus: &mut crate::engine::story::Bus, volts: f64| {
            bus.current(0.0);
            bus.put(Slot::of(0, Quantity::PackVoltage), Value::Present(volts));
        };
        story.run(0.0, 100.0, 1.0, |_, bus| pack(bus, 10.8));
        assert_eq!(story.findings(), ["cell-undervoltage notice pack 1 from 1 s to 100 s, active"]);
        let mut story = Story::new(four_cells());
        story.run(0.0, 100.0, 1.0, |_, bus| pack(bus, 0.4));
        assert!(story.findings().is_empty());
        assert!(story.why_not("cell-undervoltage").unwrap().contains("cut off"));
    }
}

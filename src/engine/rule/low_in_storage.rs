//! `low-in-storage`: a bank that nobody uses runs low by its standby draw.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::habits;
use crate::engine::estimate::standby::days_left;
use crate::model::Change;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

/// By its voltage at rest.
const VOLTAGE: u8 = 1;
/// By what is drawn.
const DRAWN: u8 = 2;

pub(super) const RULE: Rule = Rule {
    code: "low-in-storage",
    page: include_str!("../../../docs/conditions/low-in-storage.md"),
    title: "a bank in store runs low",
    safety: false,
    remembered: false,
    ends_with: &[Change::CellsReplaced, Change::CapacityChanged, Change::CurrentSensorChanged],
    caution: "An empty bank keeps discharging itself below any cut-off. Do not wake a pack by charging it directly; do not \
              charge a cell found below 2.0 V.",
    source: "judgement of this project; self-discharge: common practice, no source",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (view, limits) = (bench.view, bench.limits);
    match (view.current, view.capacity) {
        (None, _) => return court.waits(Why::NoCurrent),
        (_, None) => return court.not_judged(Why::NoCapacity),
        _ => {}
    }
    let days = projected(bench);
    let low = rested_low(bench);
    let idle = idle_hours(bench) >= limits.get(LimitId::StorageHours);
    match idle && days.is_none() && view.mean_from_pack {
        true => court.not_judged(Why::SocNotKnown),
        false => court.judged(),
    }
    if !court.has_cases() && days.is_none() && low.is_none() {
        return;
    }
    let soon = |limit| days.is_some_and(|(days, ..)| days < limits.get(limit));
    let under = |limit| low.is_some_and(|volts| volts < limits.get(limit));
    let sign = |severity, on| Sign::new(severity, on, on).held(limits.get(LimitId::StorageHoldHours) * 3600.0);
    let signs = [
        sign(Severity::Notice, soon(LimitId::StorageNoticeDays) || under(LimitId::StorageLowNotice)),
        sign(Severity::Warning, soon(LimitId::StorageWarningDays) || under(LimitId::StorageLowWarning)),
    ];
    let mut facts = [(Fact::DaysLeft, 0.0); 3];
    let mut count = 0;
    for (fact, value) in [
        (Fact::DaysLeft, days.map(|found| found.0)),
        (Fact::DrawAmps, days.map(|found| found.1)),
        (Fact::LowestVolts, low),
    ] {
        if let Some(value) = value {
            facts[count] = (fact, value);
            count += 1;
        }
    }
    let subject = bench.pack.subject();
    court.say(subject, &signs, &facts[..count]);
    let kind = if under(LimitId::StorageLowNotice) || under(LimitId::StorageLowWarning) { VOLTAGE } else { DRAWN };
    if signs.iter().any(|sign| sign.met) {
        court.kind(subject, kind);
    }
}

fn idle_hours(bench: &Bench) -> f64 {
    bench.pack.estimates.habits.standby.idle().map_or(0.0, |idle| bench.view.now.since(idle.since) / 3600.0)
}

/// Days until a tenth is left, reckoned from the near end of the state of charge but with the certain draw alone,
/// and that draw in A.
fn projected(bench: &Bench) -> Option<(f64, f64)> {
    let (view, limits, estimates) = (bench.view, bench.limits, &bench.pack.estimates);
    let idle = estimates.habits.standby.idle()?;
    if view.now.since(idle.since) < limits.get(LimitId::StorageHours) * 3600.0 {
        return None;
    }
    let told = habits::Told { charge: &estimates.charge, soc: &estimates.soc, rest: &estimates.rest };
    let (least, draw) = idle.least(view, &told, limits)?;
    let days = days_left(least, view.capacity?, draw, limits.get(LimitId::SelfDischarge))?;
    Some((days, draw))
}

/// The lowest cell, when the pack has rested for long and it stands low, V; the mean while a lead may read wrong.
fn rested_low(bench: &Bench) -> Option<f64> {
    let (view, limits) = (bench.view, bench.limits);
    let mean = view.mean.filter(|_| !view.mean_from_pack)?;
    let leads = &bench.pack.estimates.leads;
    let blind = leads.any(view, limits) || leads.doubtful();
    let volts = view.lowest().map(|cell| cell.volts).filter(|_| !blind).unwrap_or(mean);
    let rested = bench.pack.estimates.rest.since(view.now, limits)?;
    let long = view.now.since(rested) >= limits.get(LimitId::StorageRestHours) * 3600.0;
    (long && volts < limits.greatest([LimitId::StorageLowNotice, LimitId::StorageLowWarning])).then_some(volts)
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact);
    let what = capital(told.subject);
    let text = match (told.kind, get(Fact::LowestVolts)) {
        (VOLTAGE, Some(volts)) => {
            format!(
                "{what} rests with its lowest cell at {volts:.2} V: that cell is nearly empty, and discharges itself further."
            )
        }
        _ => format!(
            "{what} is not used and may be down to a tenth in {:.0} days, by a draw of {:.2} A beyond what its sensor may be off.",
            get(Fact::DaysLeft).unwrap_or_default(),
            get(Fact::DrawAmps).unwrap_or_default(),
        ),
    };
    let what_to_do = "Charge it to about half, then find out what draws while nobody is aboard and switch that off at the main switch. \
                      Store it cool and about half full, and look again after a month.";
    Story { text, what_to_do: what_to_do.into() }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Bus, Story, four_cells};

    const HOUR: f64 = 3600.0;

    /// Full at hour 6, drawn down to `soc`, then laid up for some days at a draw.
    fn laid_up(soc: f64, amps: f64, days: f64, step: f64) -> Story {
        let mut story = Story::new(four_cells());
        let set = |bus: &mut Bus, volts: f64, amps: f64| {
            bus.cells(&[volts; 4]);
            bus.current(amps);
            bus.celsius(0, 15.0);
        };
        story.run(0.0, 6.0 * HOUR, 10.0, |t, bus| set(bus, 3.55, 40.0 * (-t / HOUR).exp().max(0.01)));
        let drawn = (1.0 - soc) * 10.0;
        story.run(6.0 * HOUR, (6.0 + drawn) * HOUR, 10.0, |_, bus| set(bus, 3.28, -10.0));
        let from = (6.0 + drawn) * HOUR;
        story.run(from, from + days * 24.0 * HOUR, step, |_, bus| set(bus, 3.29, -amps));
        story
    }

    fn found(story: &Story) -> Vec<String> {
        let found = story.found_of("low-in-storage");
        found.iter().map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn a_standby_draw_that_empties_it_within_the_month_is_a_notice_and_within_the_week_a_warning() {
        assert_eq!(found(&laid_up(0.6, 0.2, 3.0, 60.0)), ["low-in-storage notice pack 1"], "45 Ah at 0.1 A certain");
        assert_eq!(found(&laid_up(0.3, 0.4, 2.5, 60.0)), ["low-in-storage warning pack 1"]);
        let findings = laid_up(0.6, 0.2, 3.0, 60.0).snapshot().findings;
        let text = &findings.iter().find(|finding| finding.code == "low-in-storage").unwrap().text;
        assert!(text.contains("by a draw of 0.10 A"), "{text}");
    }

    #[test]
    fn two_months_at_rest_are_fine_when_the_bank_is_half_full_or_full() {
        for soc in [0.98, 0.6, 0.4] {
            for amps in [0.0, 0.1, -0.1] {
                assert!(found(&laid_up(soc, amps, 60.0, 300.0)).is_empty(), "{soc} {amps}");
            }
        }
    }

    /// Two months on a float below the knee: what the sensor may be off has made the state of charge unknown when the bank
    /// is left the next time, and of what is not known nothing runs low.
    #[test]
    fn a_state_of_charge_that_is_no_longer_known_does_not_run_low() {
        let mut story = laid_up(0.99, 0.0, 0.1, 60.0);
        let from = 7.0 * HOUR;
        story.run(from, from + 60.0 * 24.0 * HOUR, 300.0, |t, bus| {
            bus.cells(&[3.32; 4]);
            bus.current(if (t / HOUR) % 240.0 < 0.5 { 2.0 } else { 0.0 });
            bus.celsius(0, 15.0);
        });
        assert!(found(&story).is_empty(), "{:?}", story.findings());
    }

    #[test]
    fn a_bank_that_is_used_each_day_is_not_in_store() {
        let mut story = laid_up(0.25, 3.0, 0.1, 60.0);
        story.run(100.0 * HOUR, 200.0 * HOUR, 60.0, |t, bus| {
            bus.cells(&[3.25; 4]);
            bus.current(if (t / HOUR) % 24.0 < 1.0 { 20.0 } else { -0.8 });
        });
        assert!(found(&story).is_empty());
    }

    #[test]
    fn a_rest_near_empty_is_told_by_its_voltage() {
        let rested = |volts: f64, hours: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, hours * HOUR, 60.0, |_, bus| {
                bus.cells(&[volts; 4]);
                bus.current(0.0);
            });
            found(&story)
        };
        assert_eq!(rested(3.18, 14.0), ["low-in-storage notice pack 1"]);
        assert_eq!(rested(3.10, 14.0), ["low-in-storage warning pack 1"]);
        assert!(rested(3.18, 11.0).is_empty() && rested(3.22, 60.0).is_empty());
    }

    /// A small cell ended the last discharge: the others hold a third yet, and it goes on discharging itself.
    #[test]
    fn one_cell_that_rests_near_empty_is_told_whatever_the_others_hold() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 14.0 * HOUR, 60.0, |_, bus| {
            bus.cells(&[3.26, 3.26, 3.08, 3.26]);
            bus.current(0.0);
        });
        assert_eq!(found(&story), ["low-in-storage warning pack 1"]);
        let text =
            &story.snapshot().findings.into_iter().find(|finding| finding.code == "low-in-storage").unwrap().text;
        assert!(text.starts_with("Pack 1 rests with its lowest cell at 3.08 V"), "{text}");
    }
}

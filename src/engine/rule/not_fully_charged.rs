//! `not-fully-charged`: a bank that is used for weeks and never filled: it cannot balance, and nobody knows how full it is.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::offset::assumed;
use crate::model::Change;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

/// Part of the time that must have been seen: a full charge may hide in what was not.
const SEEN: f64 = 0.9;

pub(super) const RULE: Rule = Rule {
    code: "not-fully-charged",
    page: include_str!("../../../docs/conditions/not-fully-charged.md"),
    title: "the bank is not filled for weeks",
    safety: false,
    remembered: false,
    ends_with: &[Change::CellsReplaced, Change::CapacityChanged, Change::CurrentSensorChanged],
    caution: "",
    source: "judgement of this project: balancing and every count of charge need a full charge now and then",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (view, limits, estimates) = (bench.view, bench.limits, &bench.pack.estimates);
    let Some(capacity) = view.capacity else { return court.not_judged(Why::NoCapacity) };
    if view.current.is_none() {
        return court.waits(Why::NoCurrent);
    }
    let Some((since, then)) = estimates.soc.in_use_since() else { return court.not_judged(Why::NothingYet) };
    let elapsed = view.now.since(since) / 86_400.0;
    let seen = (estimates.charge.secs - then.secs) / 86_400.0;
    let days = limits.get(LimitId::NotFullDays);
    if elapsed >= days && seen < SEEN * elapsed {
        court.end(|subject| subject.pack == Some(bench.pack.number));
        return court.not_judged(Why::SeenTooLittle);
    }
    court.judged();
    // what the current sensor may read where nothing flows is no use
    let offset = estimates.soc.learnt_offset().map_or(assumed(capacity, limits), |known| known.amps.abs() + known.half);
    let unsure = offset * (estimates.charge.secs - then.secs) / 3600.0;
    let cycles = (estimates.charge.drawn - then.drawn - unsure).max(0.0) / capacity;
    let met = elapsed >= days && cycles >= limits.get(LimitId::NotFullCycles);
    let facts = [(Fact::SinceFullDays, elapsed), (Fact::Cycles, cycles)];
    court.say(bench.pack.subject(), &[Sign::new(Severity::Notice, met, met)], &facts);
    court.kind(bench.pack.subject(), u8::from(estimates.soc.last_full().is_some()));
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let days = get(Fact::SinceFullDays);
    let when = match told.kind {
        0 => format!("has not been full in the {days:.0} days that were seen"),
        _ => format!("was last full {days:.0} days ago"),
    };
    Story {
        text: format!(
            "{} {when}, with at least {:.1} times its capacity drawn since.",
            capital(told.subject),
            get(Fact::Cycles)
        ),
        what_to_do:
            "Charge it full once, until the current has tapered off, within what its maker allows: then the cells can \
                     balance and the state of charge is known again. A bank in store may stay about half full."
                .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    const HOUR: f64 = 3600.0;

    /// Days of use: 8 A drawn at night, as much charged by day; the top at `volts` with a taper each `full` days.
    fn used(days: u32, drawn: f64, full: u32) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, f64::from(days) * 24.0 * HOUR, 120.0, |t, bus| {
            let (day, hour) = ((t / HOUR / 24.0) as u32, t / HOUR % 24.0);
            let fills = full > 0 && day.is_multiple_of(full);
            let (volts, amps) = match hour {
                h if h < 12.0 => (3.27, -drawn),
                h if h < 18.0 && fills => (3.55, 30.0 * (12.0 - h).exp()),
                h if h < 18.0 => (3.36, drawn * 2.0),
                _ => (3.33, 0.0),
            };
            bus.cells(&[volts; 4]);
            bus.current(amps);
        });
        story
    }

    #[test]
    fn a_month_of_use_without_a_full_charge_is_a_notice() {
        let found = used(32, 1.0, 0).found_of("not-fully-charged");
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].starts_with("not-fully-charged notice pack 1 from 259"), "{found:?}");
        assert!(used(29, 1.0, 0).found_of("not-fully-charged").is_empty());
    }

    #[test]
    fn a_full_charge_each_fortnight_is_enough_and_a_bank_in_store_needs_none() {
        assert!(used(60, 2.0, 14).found_of("not-fully-charged").is_empty());
        assert!(used(60, 0.05, 0).found_of("not-fully-charged").is_empty());
    }

    #[test]
    fn where_days_were_not_seen_it_is_not_judged() {
        let mut story = used(20, 1.0, 0);
        story.run(30.0 * 24.0 * HOUR, 33.0 * 24.0 * HOUR, 120.0, |_, bus| {
            bus.cells(&[3.3; 4]);
            bus.current(-3.0);
        });
        assert!(story.found_of("not-fully-charged").is_empty());
        assert!(story.why_not("not-fully-charged").unwrap().contains("not seen"));
    }
}

//! `over-current`: more current, either way, than the cells or the weakest part of the path are rated for.

use super::cold_charge::minutes;
use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::cold::rated_rate;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

pub(super) const RULE: Rule = Rule {
    code: "over-current",
    page: include_str!("../../../docs/conditions/over-current.md"),
    title: "more current than it is rated for",
    safety: false,
    remembered: true,
    ends_with: &[],
    caution: "A fuse or a cable is changed by a qualified person, after the bank was isolated: charging sources first, \
              then loads, then the switch.",
    source: "discharge 1 C: common practice, no source; charge: the sheet limit of `cold-charge`; ratings of the bank's \
             own description win",
    judge: Judge::Pack(judge),
    tell,
};

/// What sets a limit, as the kind of the case: these when charging, eight more when drawing.
const SHEET: u8 = 1;
const RATED: u8 = 2;
const WEAKEST: u8 = 3;
const ASSUMED: u8 = 4;
const DRAWING: u8 = 8;

/// A limit in amperes and what sets it.
type Bound = Option<(f64, u8)>;

/// One direction: its root mean square, its present current, and its limit.
#[derive(Clone, Copy)]
struct Side {
    rms: f64,
    now: f64,
    bound: Bound,
    kind: u8,
}

impl Side {
    /// How many times the limit it is, at its worst.
    fn times(&self, amps: f64) -> f64 {
        self.bound.map_or(0.0, |(limit, _)| amps / limit.max(1e-6))
    }
}

fn judge(bench: &Bench, court: &mut Court) {
    let subject = bench.pack.subject();
    let (into, out) = (charge_bound(bench), draw_bound(bench));
    let blind = match (bench.view.current, out) {
        (None, _) => Some(Why::NoCurrent),
        (Some(_), None) => Some(Why::NoCapacity),
        (Some(_), Some(_)) => None,
    };
    if let Some(why) = blind {
        court.end(|s| s == subject);
        return court.not_judged(why);
    }
    let rms = bench.pack.estimates.stress.rms.amps(bench.limits);
    match rms {
        Some(_) => court.judged(),
        None => court.waits(Why::TooLittleData),
    }
    let amps = bench.view.current.map_or(0.0, |current| current.amps);
    let path_open = bench.view.switches.charge_path == Some(false);
    let (charge, draw) = rms.unwrap_or_default();
    let charging = Side { rms: charge, now: if path_open { 0.0 } else { amps.max(0.0) }, bound: into, kind: 0 };
    let drawing = Side { rms: draw, now: (-amps).max(0.0), bound: out, kind: DRAWING };
    judge_sides(subject, (charging, drawing), bench, court);
}

fn judge_sides(subject: Subject, (charging, drawing): (Side, Side), bench: &Bench, court: &mut Court) {
    let limit = |limit| bench.limits.get(limit);
    let times = charging.times(charging.rms).max(drawing.times(drawing.rms));
    let now = charging.times(charging.now).max(drawing.times(drawing.now));
    let (met, far) = (times > 1.0 + limit(LimitId::OverCurrentMargin) / 100.0, now > limit(LimitId::OverCurrentUrgent));
    if !court.has_cases() && !met && !far {
        return;
    }
    let keeps = times > 1.0 - limit(LimitId::OverCurrentKeeps) / 100.0;
    let count = bench.view.current.map_or(0, |current| current.count);
    let signs = [
        Sign::new(Severity::Warning, met, keeps),
        Sign::new(Severity::Urgent, far, far).held(limit(LimitId::OverCurrentUrgentSeconds)).read(2, count, 1),
    ];
    let worst = |side: &Side| side.times(side.rms.max(side.now));
    let side = if worst(&charging) > worst(&drawing) { charging } else { drawing };
    let (limit, by) = side.bound.unwrap_or_default();
    court.say(subject, &signs, &[(Fact::RmsAmps, side.rms), (Fact::PeakAmps, side.now), (Fact::LimitAmps, limit)]);
    if met || far {
        court.kind(subject, by + side.kind);
    }
}

fn least(bounds: [Bound; 3]) -> Bound {
    bounds.into_iter().flatten().min_by(|a, b| a.0.total_cmp(&b.0))
}

/// Below the temperature from which this condition speaks, only ratings bound a charge.
fn charge_bound(bench: &Bench) -> Bound {
    let rated = bench.spec.rated.charge.map(|a| a.get());
    let weakest = bench.spec.rated.weakest.map(|a| (a.get(), WEAKEST));
    let sheet = bench.view.capacity.and_then(|capacity| {
        let rate = |celsius| rated_rate(celsius, rated.map(|amps| amps / capacity), bench.limits) * capacity;
        match (bench.view.coldest(), bench.view.hottest()) {
            (Some(coldest), _) if coldest.celsius < bench.limits.get(LimitId::ColdBelow) => None,
            (Some(coldest), Some(hottest)) => Some(rate(coldest.celsius).min(rate(hottest.celsius))),
            _ => Some(rate(20.0)),
        }
    });
    least([rated.map(|amps| (amps, RATED)), weakest, sheet.map(|amps| (amps, SHEET))])
}

fn draw_bound(bench: &Bench) -> Bound {
    let rated = bench.spec.rated.discharge.map(|a| (a.get(), RATED));
    let weakest = bench.spec.rated.weakest.map(|a| (a.get(), WEAKEST));
    let assumed = bench.view.capacity.map(|c| (c * bench.limits.get(LimitId::OverCurrentDischarge), ASSUMED));
    least([rated.or(assumed), weakest, None])
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let (rms, peak, limit) = (get(Fact::RmsAmps), get(Fact::PeakAmps), get(Fact::LimitAmps));
    let drawing = told.kind >= DRAWING;
    let does = match (drawing, told.active) {
        (true, true) => "gives",
        (true, false) => "gave",
        (false, true) => "is charged with",
        (false, false) => "was charged with",
    };
    let from = match told.kind % DRAWING {
        SHEET => "that its cells are rated for at that temperature",
        WEAKEST => "that the weakest part of the path is rated for",
        RATED => "that it is rated for",
        _ => "that are taken for the limit, since none is described",
    };
    let amps = match told.severity {
        Severity::Urgent => format!("up to {peak:.0} A"),
        _ => format!("{rms:.0} A over a minute"),
    };
    let text = format!(
        "{} {does} {amps}, more than the {limit:.0} A {from}. It lasted {}.",
        capital(told.subject),
        minutes(told.case.total_secs)
    );
    let what_to_do = match (told.active, drawing) {
        (true, true) => format!("Switch large loads off until it gives {limit:.0} A or less."),
        (true, false) => format!("Lower the charge current to {limit:.0} A or less."),
        (false, _) => format!(
            "Keep to {limit:.0} A, or correct the ratings in the bank's file if they are wrong. Feel no cable by hand: \
             have connections that carried it measured."
        ),
    };
    Story { text, what_to_do }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Bus, Story, four_cells};
    use crate::model::{Bank, Quantity};
    use crate::unit::Amps;

    fn set(bus: &mut Bus, celsius: f64, amps: f64) {
        bus.cells(&[3.33; 4]);
        bus.celsius(0, celsius);
        bus.current(amps);
    }

    fn found(bank: Bank, celsius: f64, step: f64, until: f64, amps: impl Fn(f64) -> f64) -> Vec<String> {
        let mut story = Story::new(bank);
        story.run(0.0, until, step, |t, bus| set(bus, celsius, amps(t)));
        story.found_of("over-current")
    }

    fn rated(change: impl Fn(&mut crate::model::bank::Ratings)) -> Bank {
        let mut bank = four_cells();
        change(&mut bank.packs[0].rated);
        bank
    }

    #[test]
    fn a_minute_above_1_c_is_a_warning_and_a_windlass_is_nothing() {
        assert_eq!(
            found(four_cells(), 20.0, 1.0, 120.0, |_| -105.0),
            ["over-current warning pack 1 from 56 s to 120 s, active"]
        );
        assert!(found(four_cells(), 20.0, 1.0, 3600.0, |_| -101.5).is_empty(), "a sensor may be wrong by 2 %");
        // 180 A for fifteen seconds a minute is 90 A over the minute.
        assert!(found(four_cells(), 20.0, 1.0, 600.0, |t| if t % 60.0 < 15.0 { -180.0 } else { 0.0 }).is_empty());
        assert_eq!(
            found(four_cells(), 20.0, 1.0, 600.0, |t| if t % 60.0 < 24.0 { -180.0 } else { 0.0 }).len(),
            1,
            "24 s are 114 A"
        );
    }

    #[test]
    fn it_is_the_same_at_five_sets_a_second_and_at_one_a_minute() {
        assert_eq!(found(four_cells(), 20.0, 0.2, 120.0, |_| -105.0).len(), 1);
        assert_eq!(
            found(four_cells(), 20.0, 60.0, 301.0, |_| -105.0),
            ["over-current warning pack 1 from 181 s to 301 s, active"]
        );
        assert!(found(four_cells(), 20.0, 60.0, 3600.0, |t| if t == 600.0 { -250.0 } else { -5.0 }).is_empty());
    }

    #[test]
    fn twice_the_limit_for_ten_seconds_is_urgent_and_one_wrong_reading_is_nothing() {
        assert_eq!(
            found(four_cells(), 20.0, 1.0, 75.0, |t| if t < 60.0 { -10.0 } else { -210.0 }),
            ["over-current urgent pack 1 from 61 s to 75 s, active"]
        );
        assert_eq!(found(four_cells(), 20.0, 1.0, 15.0, |_| -210.0).len(), 1, "also before a minute has passed");
        assert!(found(four_cells(), 20.0, 1.0, 600.0, |t| if t == 300.0 { -1999.0 } else { -10.0 }).is_empty());
    }

    #[test]
    fn charging_is_bounded_by_the_sheet_at_its_temperature_and_below_15_the_cold_rule_speaks() {
        assert_eq!(found(four_cells(), 25.0, 1.0, 120.0, |_| 52.0).len(), 1);
        assert!(found(four_cells(), 25.0, 1.0, 120.0, |_| 48.0).is_empty());
        assert_eq!(found(four_cells(), 15.0, 1.0, 120.0, |_| 35.0).len(), 1, "33 A at 15 °C");
        assert!(found(four_cells(), 14.0, 1.0, 120.0, |_| 48.0).is_empty());
    }

    #[test]
    fn it_ends_also_where_only_drawing_has_a_limit() {
        let amps = |t: f64| if t < 120.0 { -110.0 } else { 20.0 };
        let found = found(four_cells(), 10.0, 1.0, 300.0, amps);
        assert!(found.len() == 1 && !found[0].ends_with("active"), "{found:?}");
    }

    #[test]
    fn ratings_win_over_what_is_assumed_and_the_weakest_part_over_all() {
        let wide = rated(|r| (r.charge, r.discharge) = (Some(Amps::of(100.0)), Some(Amps::of(200.0))));
        assert!(found(wide.clone(), 25.0, 1.0, 120.0, |_| -150.0).is_empty());
        assert!(found(wide, 25.0, 1.0, 120.0, |_| 95.0).is_empty());
        let fused = rated(|r| (r.discharge, r.weakest) = (Some(Amps::of(200.0)), Some(Amps::of(60.0))));
        let mut story = Story::new(fused);
        story.run(0.0, 120.0, 1.0, |_, bus| set(bus, 25.0, -65.0));
        let finding = story.snapshot().findings.remove(0);
        assert_eq!(
            finding.text,
            "Pack 1 gives 65 A over a minute, more than the 60 A that the weakest part of the path is rated for. It \
             lasted 64 s."
        );
        assert_eq!(finding.what_to_do, "Switch large loads off until it gives 60 A or less.");
    }

    #[test]
    fn current_that_does_not_reach_the_cells_is_no_charge() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 120.0, 1.0, |_, bus| {
            set(bus, 25.0, 120.0);
            bus.one(Quantity::ChargePath, 0.0);
        });
        assert!(story.found_of("over-current").is_empty(), "{:?}", story.found_of("over-current"));
    }

    #[test]
    fn without_current_or_capacity_it_is_not_judged() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 90.0, 1.0, |_, bus| bus.cells(&[3.3; 4]));
        assert_eq!(story.why_not("over-current").as_deref(), Some("no valid current"));
        let mut story = Story::new(rated(|r| r.capacity = None));
        story.run(0.0, 90.0, 1.0, |_, bus| set(bus, 25.0, -10.0));
        assert_eq!(story.why_not("over-current").as_deref(), Some("the rated capacity is not described"));
    }
}

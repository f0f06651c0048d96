//! `prolonged-high-float`: a charger holds the cells near full for days on end.

use super::{Bench, Court, Judge, Rule, Story, Told, Why};
use crate::engine::case::Sign;
use crate::engine::estimate::hours::Window;
use crate::engine::view::View;
use crate::model::Change;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::{LimitId, Limits};

/// Held between the middle and the high mark.
const MIDDLE: u8 = 1;
/// An active finding lasts while the sum is above this share of its limit.
const KEEPS: f64 = 0.9;
/// And while the voltage was held within this time, h: who has lowered it need not wait until the window is past.
const STILL_HELD_HOURS: f64 = 24.0;
/// Float voltages that do no harm, V per cell: 13.4 to 13.8 V on four; common practice, no source.
const SUGGESTED: (f64, f64) = (3.35, 3.45);

pub(super) const RULE: Rule = Rule {
    code: "prolonged-high-float",
    page: include_str!("../../../docs/conditions/prolonged-high-float.md"),
    title: "the bank is held near full for days",
    safety: false,
    remembered: true,
    ends_with: &[Change::CellsReplaced],
    caution: "Published storage models see only 2 to 20 % more loss at full than at nine tenths; heat and months count for \
              more. This is a comparison, not a forecast.",
    source: "judgement of this project; weighing by heat from the spread of published storage models (Naumann 2018, \
             10.1016/j.est.2018.01.019; Gasper 2023, 10.1016/j.est.2023.109042); float voltages: common practice, no source",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (view, limits, hours) = (bench.view, bench.limits, &bench.pack.estimates.hours);
    match obstacle(bench) {
        Some(why) => court.not_judged(why),
        None => court.judged(),
    }
    let most = hours.held_hours(Window::HighLong).max(hours.held_hours(Window::MiddleLong));
    let least = limits
        .get(LimitId::FloatHours)
        .min(limits.get(LimitId::FloatDays).min(limits.get(LimitId::FloatLongDays)) * 24.0);
    if !court.has_cases() && most < least * KEEPS {
        return;
    }
    let [short, hourly, long, middle] = sums(bench);
    let still = hours.held_at().is_some_and(|at| view.now.since(at) <= STILL_HELD_HOURS * 3600.0);
    let sign = |severity, part: f64| Sign::new(severity, still && part > 1.0, still && part > KEEPS);
    let notice = [short, hourly, middle].into_iter().max_by(|a, b| a.part().total_cmp(&b.part())).unwrap_or(short);
    let told = if long.part() > 1.0 { long } else { notice };
    let subject = bench.pack.subject();
    let facts =
        [(Fact::HeldHours, told.hours), (Fact::HeldDays, told.hours / 24.0), (Fact::WindowDays, told.window_days)];
    court.say(subject, &[sign(Severity::Notice, notice.part()), sign(Severity::Warning, long.part())], &facts);
    court.kind(subject, told.kind);
}

/// Hours held within a window, against their limit.
#[derive(Clone, Copy)]
struct Sum {
    hours: f64,
    limit_hours: f64,
    window_days: f64,
    kind: u8,
}

impl Sum {
    fn part(self) -> f64 {
        self.hours / self.limit_hours
    }
}

/// High over the short window, over the window of hours and over the long one; and in the middle over the long one.
fn sums(bench: &Bench) -> [Sum; 4] {
    let (limits, hours) = (bench.limits, &bench.pack.estimates.hours);
    let sum = |window, limit_hours, length, kind| Sum {
        hours: hours.held_hours(window),
        limit_hours,
        window_days: limits.get(length),
        kind,
    };
    let long = limits.get(LimitId::FloatLongDays) * 24.0;
    [
        sum(Window::HighShort, limits.get(LimitId::FloatDays) * 24.0, LimitId::FloatWindow, 0),
        sum(Window::HighHours, limits.get(LimitId::FloatHours), LimitId::FloatHoursWindow, 0),
        sum(Window::HighLong, long, LimitId::FloatLongWindow, 0),
        sum(Window::MiddleLong, long, LimitId::FloatLongWindow, MIDDLE),
    ]
}

/// What keeps a tick from being looked at.
fn obstacle(bench: &Bench) -> Option<Why> {
    let View { mean, current, capacity, mean_from_pack, .. } = bench.view;
    let up = mean.is_some_and(|mean| mean >= bench.limits.get(LimitId::FloatMid));
    match (mean, current, capacity) {
        (None, ..) => Some(Why::NoVoltage),
        (_, None, _) => Some(Why::NoCurrent),
        (.., None) => Some(Why::NoCapacity),
        _ if *mean_from_pack && up && !bench.pack.estimates.hours.is_held() && is_small(bench.view, bench.limits) => {
            Some(Why::PackVoltageOnly)
        }
        _ => None,
    }
}

fn is_small(view: &View, limits: &Limits) -> bool {
    view.rate().is_some_and(|rate| rate.abs() < limits.get(LimitId::FloatRate))
}

fn tell(told: &Told) -> Story {
    let figure = |fact| told.evidence.get(fact).unwrap_or_default();
    let cells = f64::from(told.spec.cells.unwrap_or(4));
    let volts = |per_cell: f64| format!("{:.1} V", per_cell * cells);
    let mark = told.limits.get(if told.kind == MIDDLE { LimitId::FloatMid } else { LimitId::FloatHigh });
    let text = format!(
        "The charger holds pack {} at {} or more: {:.1} days within {:.1}, hot hours counted for more.",
        told.subject.pack.unwrap_or(0) + 1,
        volts(mark),
        figure(Fact::HeldDays),
        figure(Fact::WindowDays),
    );
    let float = format!("{:.1} to {}", SUGGESTED.0 * cells, volts(SUGGESTED.1));
    Story {
        text,
        what_to_do: format!(
            "Set the charger's float to {float}, within what the bank's maker allows, or switch the charger off while \
             the bank is not used: a float is needed only while loads run on shore power."
        ),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Bus, Story, four_cells};
    use crate::model::Quantity;

    const HOUR: f64 = 3600.0;
    const DAY: f64 = 24.0 * HOUR;

    fn told(days: f64, mut set: impl FnMut(f64, &mut Bus)) -> Story {
        let mut story = Story::new(four_cells());
        story.run(0.0, days * DAY, 120.0, |t, bus| {
            bus.celsius(0, 20.0);
            set(t / DAY, bus);
        });
        story
    }

    fn hold(bus: &mut Bus, volts: f64, amps: f64) {
        bus.cells(&[volts; 4]);
        bus.current(amps);
    }

    fn found(story: &Story) -> Vec<String> {
        let found = story.findings().into_iter().filter(|line| line.starts_with("prolonged-high-float"));
        found.map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn a_week_at_a_high_float_is_a_notice_and_a_month_a_warning() {
        assert!(found(&told(6.9, |_, bus| hold(bus, 3.56, 0.2))).is_empty());
        let story = told(7.2, |_, bus| hold(bus, 3.56, 0.2));
        assert_eq!(found(&story), ["prolonged-high-float notice pack 1"]);
        let finding = &story.snapshot().findings[0];
        let days = finding.first.since(crate::engine::story::BEGIN) / DAY;
        assert!((days - 7.0).abs() < 0.01, "found when the seventh day is full: {days}");
        assert!(finding.text.contains("at 14.2 V or more: 7.2 days within 10.5"), "{}", finding.text);
        assert!(finding.what_to_do.contains("13.4 to 13.8 V"), "{}", finding.what_to_do);
        assert_eq!(found(&told(30.2, |_, bus| hold(bus, 3.56, 0.2))), ["prolonged-high-float warning pack 1"]);
    }

    #[test]
    fn heat_counts_for_more() {
        let at = |celsius: f64| {
            let mut story = Story::new(four_cells());
            story.run(0.0, 5.0 * DAY, 120.0, |_, bus| {
                bus.celsius(0, celsius);
                hold(bus, 3.56, 0.2);
            });
            found(&story).len()
        };
        assert_eq!((at(25.0), at(10.0), at(40.0)), (0, 0, 1));
    }

    #[test]
    fn a_low_float_is_fine_for_months_and_a_middling_one_is_a_notice_after_thirty_days() {
        assert!(found(&told(60.0, |_, bus| hold(bus, 3.47, 0.2))).is_empty());
        assert!(found(&told(29.5, |_, bus| hold(bus, 3.50, 0.2))).is_empty());
        let story = told(31.0, |_, bus| hold(bus, 3.50, 0.2));
        assert_eq!(found(&story), ["prolonged-high-float notice pack 1"]);
        let text = &story.snapshot().findings[0].text;
        assert!(text.contains("at 13.9 V or more: 31.0 days within 45.0"), "{text}");
    }

    #[test]
    fn solar_that_absorbs_four_hours_a_day_and_one_night_of_balancing_are_fine() {
        let solar = told(60.0, |day, bus| {
            let hour = day.fract() * 24.0;
            let held = (12.0..16.0).contains(&hour) || day < 0.5;
            hold(bus, if held { 3.56 } else { 3.31 }, if held { 1.0 } else { -4.0 });
        });
        assert!(found(&solar).is_empty());
        assert_eq!(solar.why_not("prolonged-high-float"), None);
    }

    #[test]
    fn eleven_hours_a_day_at_absorption_are_too_many() {
        let story = told(30.0, |day, bus| {
            let held = day.fract() < 11.0 / 24.0;
            hold(bus, if held { 3.56 } else { 3.31 }, if held { 1.0 } else { -4.0 });
        });
        assert_eq!(found(&story), ["prolonged-high-float notice pack 1"]);
        assert!(story.snapshot().findings[0].text.contains("within 30.0"));
    }

    #[test]
    fn who_lowers_the_float_has_it_off_the_screen_after_a_day() {
        let story = told(12.0, |day, bus| hold(bus, if day < 9.0 { 3.56 } else { 3.40 }, 0.2));
        assert!(!story.snapshot().findings.is_empty());
        assert!(story.snapshot().findings.iter().all(|finding| !finding.active));
    }

    #[test]
    fn days_without_data_are_not_counted_as_held() {
        let mut story = Story::new(four_cells());
        for day in [0.0, 9.0] {
            story.run(day * DAY, (day + 0.5) * DAY, 60.0, |_, bus| hold(bus, 3.56, 0.2));
        }
        assert!(found(&story).is_empty());
        let held = story.engine.packs[0].estimates.hours.held_hours(crate::engine::estimate::hours::Window::PlainHours);
        assert!((held - 24.0).abs() < 0.3, "{held}");
    }

    #[test]
    fn with_pack_voltage_alone_a_hold_needs_its_own_taper() {
        let pack = |taper: bool| {
            told(9.0, |day, bus| {
                let hours = day * 24.0;
                let decayed = if taper { 30.0 * (-hours * 2.0).exp() } else { 0.0 };
                bus.one(Quantity::PackVoltage, 14.3);
                bus.current(decayed + 0.1 * f64::from(taper));
            })
        };
        assert_eq!(found(&pack(true)), ["prolonged-high-float notice pack 1"]);
        assert!(found(&pack(false)).is_empty());
        assert!(pack(false).why_not("prolonged-high-float").unwrap().contains("cut off from the cells"));
    }
}

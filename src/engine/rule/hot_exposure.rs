//! `hot-exposure`: days of heat, which wear the cells faster though nothing is in danger.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::model::Change;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

/// An active finding lasts while its figure is above this share of its limit.
const KEEPS: f64 = 0.9;

pub(super) const RULE: Rule = Rule {
    code: "hot-exposure",
    page: include_str!("../../../docs/conditions/hot-exposure.md"),
    title: "the bank lives in the heat",
    safety: false,
    remembered: false,
    ends_with: &[Change::CellsReplaced],
    caution: "Ageing by heat is a comparison with 25 °C, not a forecast: published models differ by a factor of two and more.",
    source: "judgement of this project; weighing by heat from the spread of published storage models (Naumann 2018, \
             10.1016/j.est.2018.01.019; Gasper 2023, 10.1016/j.est.2023.109042)",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let Some(felt) = bench.pack.estimates.habits.heat.felt() else { return court.not_judged(Why::NoTemperature) };
    match bench.view.limiting.is_empty() || !bench.view.role_known {
        true => court.waits(Why::NoTemperature),
        false => court.judged(),
    }
    let limit = |limit| bench.limits.get(limit);
    let (hours, notice, warning) =
        (limit(LimitId::HotExposureHours), limit(LimitId::HotExposureNotice), limit(LimitId::HotExposureWarning));
    let part = (felt.hot_h / hours).max(felt.at_least / notice);
    let sign = |severity, part: f64| Sign::new(severity, part > 1.0, part > KEEPS);
    let signs = [sign(Severity::Notice, part), sign(Severity::Warning, felt.at_least / warning)];
    let facts = [(Fact::HotHours, felt.hot_h), (Fact::AgeingTimes, felt.ageing)];
    court.say(bench.pack.subject(), &signs, &facts);
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    Story {
        text: format!(
            "{} was above {:.0} °C for {:.0} hours within 30 days; at its temperatures published models see it age about {:.1} \
             times as fast as at 25 °C.",
            capital(told.subject),
            told.limits.get(LimitId::HotExposureCelsius),
            get(Fact::HotHours),
            get(Fact::AgeingTimes),
        ),
        what_to_do:
            "Let air through the locker, keep the bank away from engine and sun, and store it cool and about half \
                     full. Now and then a hot afternoon is fine."
                .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    const DAY: f64 = 86_400.0;

    fn told(days: f64, celsius: impl Fn(f64) -> f64) -> Vec<String> {
        let mut story = Story::new(four_cells());
        story.run(0.0, days * DAY, 600.0, |t, bus| {
            bus.cells(&[3.3; 4]);
            bus.celsius(0, celsius(t / DAY));
        });
        let found = story.found_of("hot-exposure");
        found.iter().map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn four_days_above_38_degrees_within_a_month_are_a_notice_and_two_are_fine() {
        assert!(told(20.0, |day| if day % 10.0 < 1.0 { 40.0 } else { 24.0 }).is_empty());
        assert_eq!(told(20.0, |day| if day % 5.0 < 1.0 { 40.0 } else { 24.0 }), ["hot-exposure notice pack 1"]);
    }

    #[test]
    fn hot_afternoons_now_and_then_are_fine() {
        let afternoon = |day: f64| if day.fract() < 0.08 && (day as u32).is_multiple_of(3) { 42.0 } else { 26.0 };
        assert!(told(60.0, afternoon).is_empty());
    }

    #[test]
    fn a_month_at_36_5_degrees_ages_twice_as_fast_and_one_at_43_three_times() {
        assert!(told(40.0, |_| 35.5).is_empty());
        assert_eq!(told(40.0, |_| 36.8), ["hot-exposure notice pack 1"]);
        assert_eq!(told(40.0, |_| 44.0), ["hot-exposure warning pack 1"]);
    }
}

//! `heater-weak`: a heater that is on and does not warm the bank.

use super::{Bench, Court, Judge, Rule, Story, Told, Why};
use crate::engine::case::Sign;
use crate::model::Change;
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

pub(super) const RULE: Rule = Rule {
    code: "heater-weak",
    page: include_str!("../../../docs/conditions/heater-weak.md"),
    title: "a heater does not warm the bank",
    safety: false,
    remembered: true,
    ends_with: &[Change::CapacityChanged, Change::SensorMoved],
    caution: "Do not open a sealed pack.",
    source: "judgement of this project: 100 Ah warm by 15 K/h with 60 W",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (view, limits) = (bench.view, bench.limits);
    match view.switches.heater_on {
        // A bank that never told of a heater has none to judge.
        None if bench.spec.heater.fitted != Some(true) => return court.judged(),
        None => return court.waits(Why::NoHeaterSignal),
        Some(true) if view.limiting.is_empty() || !view.role_known => return court.waits(Why::NoTemperature),
        Some(_) => court.judged(),
    }
    let warming = bench.pack.estimates.habits.thermal.warming();
    let weak = warming.filter(|warming| {
        warming.rise + warming.open < limits.get(LimitId::HeaterRise)
            && warming.coldest < limits.get(LimitId::HeaterBelow)
    });
    let facts = weak.map(|weak| [(Fact::WarmingRate, weak.rise), (Fact::LowestCelsius, weak.coldest)]);
    let sign = Sign::new(Severity::Notice, weak.is_some(), weak.is_some());
    court.say(bench.pack.subject(), &[sign], facts.as_ref().map_or(&[], |facts| facts.as_slice()));
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let rise = get(Fact::WarmingRate);
    let moved = if rise < 0.0 { format!("cooled by {:.1} K", -rise) } else { format!("warmed by {rise:.1} K only") };
    Story {
        text: format!(
            "The heater of {} was on for an hour and the bank {moved}, at {:.1} °C.",
            told.subject,
            get(Fact::LowestCelsius),
        ),
        what_to_do: format!(
            "Check the heater's fuse, its supply and whether it draws its current; then whether cold air blows on the bank. Until \
             {} is warmer do not count on charging it.",
            told.subject
        ),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::Quantity;

    fn told(rise: f64, from: f64, grain: f64, on: impl Fn(f64) -> bool) -> Vec<String> {
        let mut bank = four_cells();
        bank.packs[0].heater.fitted = Some(true);
        bank.packs[0].grain.temperature = Some(grain);
        let mut story = Story::new(bank);
        let mut celsius = from;
        story.run(0.0, 3.5 * 3600.0, 10.0, |t, bus| {
            let heats = on(t / 60.0);
            celsius += if heats { rise / 360.0 } else { 0.0 };
            bus.one(Quantity::HeaterOn, f64::from(u8::from(heats)));
            bus.celsius(0, (celsius / grain).round() * grain);
            bus.cells(&[3.3; 4]);
            bus.current(0.0);
        });
        let found = story.found_of("heater-weak");
        found.iter().map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn an_hour_of_heating_that_warms_by_less_than_two_kelvin_is_a_notice() {
        assert_eq!(told(0.5, -6.0, 0.1, |_| true), ["heater-weak notice pack 1"]);
        assert!(told(6.0, -6.0, 0.1, |_| true).is_empty());
        assert!(told(2.5, -20.0, 1.0, |_| true).is_empty(), "a coarse sensor leaves it open");
    }

    #[test]
    fn a_heater_that_holds_a_warm_bank_or_comes_and_goes_is_fine() {
        assert!(told(0.0, 8.0, 0.1, |_| true).is_empty());
        assert!(told(0.0, 2.0, 0.1, |minute| minute % 40.0 < 20.0).is_empty());
    }
}

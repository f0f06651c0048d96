//! `unequal-sharing`: packs in parallel that give and take unequally, or charge each other.

use super::{BankBench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::share::over_own_limit;
use crate::model::Change;
use crate::model::bank::PackSpec;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

/// An active finding lasts while a pack is further off than this share of the limit.
const KEEPS: f64 = 0.9;

pub(super) const RULE: Rule = Rule {
    code: "unequal-sharing",
    page: include_str!("../../../docs/conditions/unequal-sharing.md"),
    title: "packs in parallel share the current unequally",
    safety: false,
    remembered: false,
    ends_with: &[
        Change::PackReplaced,
        Change::CellsReplaced,
        Change::CapacityChanged,
        Change::ConnectionsChanged,
        Change::CurrentSensorChanged,
    ],
    caution: "Work at the links of a bank is for a qualified person: engine and charging sources off first, then loads, then the \
              switch; prove dead, insulated tools, the maker's torque. Join packs in parallel only at equal charge and within the \
              maker's instructions.",
    source: "judgement of this project; shares by Kirchhoff's laws",
    judge: Judge::Bank(judge),
    tell,
};

fn judge(bench: &BankBench, court: &mut Court) {
    if bench.packs.len() < 2 {
        return court.judged();
    }
    match bench.state.sharing.flows {
        Some(_) => court.judged(),
        None => court.waits(why(bench)),
    }
    let limit = |limit| bench.limits.get(limit);
    let none = PackSpec::default();
    for (index, pack) in bench.packs.iter().enumerate() {
        let Some((share, beyond)) = bench.state.sharing.of(index) else { continue };
        let spec = bench.bank.packs.get(index).unwrap_or(&none);
        let (notice, warning) =
            (beyond.abs() / limit(LimitId::SharingNotice), beyond.abs() / limit(LimitId::SharingWarning));
        let over = notice > 1.0 && beyond > 0.0 && over_own_limit(pack, spec, bench.limits);
        let signs = [
            Sign::new(Severity::Notice, notice > 1.0, notice > KEEPS),
            Sign::new(Severity::Warning, warning > 1.0 || over, warning > KEEPS),
        ];
        court.say(pack.subject(), &signs, &[(Fact::SharePercent, share), (Fact::ShareBeyond, beyond)]);
    }
    let fights = bench.state.sharing.flows.is_some_and(|flows| {
        let least = limit(LimitId::FightRate);
        flows.rates.0 < -least && flows.rates.1 > least && flows.bank.abs() < limit(LimitId::FightBank)
    });
    let sign = Sign::new(Severity::Warning, fights, fights).held(limit(LimitId::FightMinutes) * 60.0);
    let rates = bench.state.sharing.flows.map_or((0.0, 0.0), |flows| flows.rates);
    court.say(Subject::BANK, &[sign], &[(Fact::PeakRate, rates.1.max(-rates.0))]);
}

fn why(bench: &BankBench) -> Why {
    let capacity = bench.packs.iter().all(|pack| pack.view.capacity.is_some());
    if capacity { Why::NoCurrent } else { Why::NoCapacity }
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    if told.subject.pack.is_none() {
        return Story {
            text: format!(
                "Packs of the bank charged each other at up to {:.2} of their capacity an hour, while the bank gave next to nothing.",
                get(Fact::PeakRate)
            ),
            what_to_do: "Leave the bank as it is and charge it full on all packs together. If they go on fighting, one pack has \
                         another number of cells, a bad cell or another state of charge: have a qualified person look."
                .into(),
        };
    }
    let beyond = get(Fact::ShareBeyond);
    let than = if beyond > 0.0 { "more" } else { "less" };
    Story {
        text: format!(
            "{} carries {:.0} % of the bank's current, {:.0} points {than} than its share of the capacity.",
            capital(told.subject),
            get(Fact::SharePercent),
            beyond.abs(),
        ),
        what_to_do: "Look first at the pack that carries less: measure the voltage across each of its lugs and links under load; the \
                     one that drops most is the place. Then compare cables: the same length and size to each pack, plus taken off \
                     at one end and minus at the other."
            .into(),
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::estimate::share::tests::{ladder, told};
    use crate::engine::story::Story;

    fn found(story: &Story) -> Vec<String> {
        let found = story.found_of("unequal-sharing");
        found.iter().map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn links_of_ordinary_length_are_fine_and_one_pack_that_gives_half_is_not() {
        for diagonal in [false, true] {
            assert!(found(&told(ladder(diagonal).map(|amps| -amps), 2.0, 10.0)).is_empty());
        }
        assert_eq!(
            found(&told([-42.0, -20.0, -19.0, -19.0], 1.0, 10.0)),
            ["unequal-sharing notice pack 1"],
            "17 points more than a quarter"
        );
        let story = told([-58.0, -30.0, -8.0, -4.0], 1.0, 10.0);
        assert_eq!(
            found(&story),
            ["unequal-sharing warning pack 1", "unequal-sharing notice pack 3", "unequal-sharing notice pack 4"]
        );
        let text = &story.snapshot().findings[0].text;
        assert!(text.contains("Pack 1 carries 58 % of the bank's current, 33 points more"), "{text}");
    }

    #[test]
    fn packs_that_charge_each_other_for_half_an_hour_are_a_warning() {
        let fight = [12.0, -12.0, 1.0, -1.0];
        assert!(found(&told(fight, 0.45, 10.0)).is_empty());
        assert_eq!(found(&told(fight, 0.7, 10.0)), ["unequal-sharing warning the bank"]);
        assert!(found(&told([12.0, -12.0, -10.0, -10.0], 2.0, 10.0)).is_empty(), "a load shared out after a charge");
    }

    #[test]
    fn one_pack_has_nobody_to_share_with() {
        use crate::engine::story::four_cells;
        let mut story = Story::new(four_cells());
        story.run(0.0, 7200.0, 10.0, |_, bus| bus.current(-30.0));
        assert!(found(&story).is_empty() && story.why_not("unequal-sharing").is_none());
    }
}

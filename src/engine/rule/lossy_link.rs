//! `lossy-link`: more frames are lost on the way than is ordinary.

use super::{BankBench, Court, Judge, Rule, Story, Told, Why};
use crate::engine::case::Sign;
use crate::model::finding::{Fact, Severity, Subject};
use crate::model::limits::LimitId;

pub(super) const RULE: Rule = Rule {
    code: "lossy-link",
    page: include_str!("../../../docs/conditions/lossy-link.md"),
    title: "frames are lost on the way",
    safety: false,
    remembered: false,
    ends_with: &[],
    caution: "",
    source: "judgement of this project",
    judge: Judge::Bank(judge),
    tell,
};

fn judge(bench: &BankBench, court: &mut Court) {
    let Some((sent, lost, number)) = bench.quality.judged() else {
        let why = if bench.quality.has_counter() { Why::TooLittleData } else { Why::NoCounter };
        return court.not_judged(why);
    };
    if !bench.quality.has_counter() && lost == 0 {
        return court.not_judged(Why::NoCounter);
    }
    court.judged();
    let percent = 100.0 * lost as f64 / sent as f64;
    let over = is_beyond_chance(sent, lost, bench.limits.get(LimitId::LossyPercent));
    let sign = Sign::new(Severity::Notice, over, over).read(1, number, 1);
    court.say(Subject::BANK, &[sign], &[(Fact::LostPercent, percent), (Fact::LostFrames, lost as f64)]);
}

/// Whether more is lost than so many percent, by twice the scatter of a count (its root).
fn is_beyond_chance(sent: u64, lost: u64, percent: f64) -> bool {
    lost as f64 - 2.0 * (lost as f64).sqrt() > percent / 100.0 * sent as f64
}

fn tell(told: &Told) -> Story {
    let percent = told.evidence.get(Fact::LostPercent).unwrap_or_default();
    Story {
        text: format!("{percent:.1} % of the frames were lost on the way."),
        what_to_do: "Check terminating resistors, plugs and cable; on a busy computer, record with less else running."
            .into(),
    }
}

#[cfg(test)]
mod tests {
    use super::is_beyond_chance;

    #[test]
    fn eleven_of_nine_hundred_may_be_chance_and_a_hundred_and_thirty_of_ten_thousand_are_not() {
        assert!(!is_beyond_chance(928, 11, 1.0));
        assert!(is_beyond_chance(928, 18, 1.0));
        assert!(!is_beyond_chance(10_000, 110, 1.0));
        assert!(is_beyond_chance(10_000, 130, 1.0));
        assert!(!is_beyond_chance(1000, 0, 0.01));
    }
}

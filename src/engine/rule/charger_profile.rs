//! `charger-profile`: a charger that does not keep to what the bank allows: too high, too high a float, or a voltage
//! that follows the temperature as for lead-acid batteries.

use super::{Bench, Court, Judge, Rule, Story, Told, Why, capital};
use crate::engine::case::Sign;
use crate::engine::estimate::session::Sessions;
use crate::model::Change;
use crate::model::bank::{PackSpec, SourceKind, SourceState};
use crate::model::finding::{Fact, Severity};
use crate::model::limits::LimitId;

/// Kinds, in the low bits of the kind of the case; the code of the source in the high ones.
/// A lower one is the cause of a higher one, and stays said.
const COMPENSATED: u8 = 1;
const EQUALISE: u8 = 2;
const TOO_HIGH: u8 = 3;
const ABOVE_FILE: u8 = 4;
const FLOAT: u8 = 5;
const KIND: u8 = 0x0F;
/// Place of the state among a source's gauges.
const STATE: usize = 1;

pub(super) const RULE: Rule = Rule {
    code: "charger-profile",
    page: include_str!("../../../docs/conditions/charger-profile.md"),
    title: "a charger does not keep to what the bank allows",
    safety: false,
    remembered: true,
    ends_with: &[Change::CurrentSensorChanged],
    caution: "Settings of an alternator's regulator and of shore AC belong to a qualified person. Stop the engine before \
              anything in the charging path is opened.",
    source: "judgement of this project; compensation of lead-acid chargers, about -18 mV/K on four cells: common practice, \
             no source",
    judge: Judge::Pack(judge),
    tell,
};

fn judge(bench: &Bench, court: &mut Court) {
    let (view, limits) = (bench.view, bench.limits);
    match (view.mean, view.current, view.capacity) {
        (None, ..) => return court.waits(Why::NoVoltage),
        (_, None, _) => return court.waits(Why::NoCurrent),
        (.., None) => return court.not_judged(Why::NoCapacity),
        _ => court.judged(),
    }
    let sessions = &bench.pack.estimates.habits.sessions;
    if sessions.latest().is_none() {
        return;
    }
    let found = look(bench, sessions);
    let limit = |limit| limits.get(limit);
    let sign = |severity, kind: u8, secs: f64| {
        let on = found[usize::from(kind)];
        Sign::new(severity, on, on).held(secs)
    };
    let minutes = limit(LimitId::ProfileMinutes) * 60.0;
    let settled = found[usize::from(FLOAT)] || found[usize::from(COMPENSATED)] || found[usize::from(EQUALISE)];
    // One timer a severity: what needs ten minutes and what stands by itself are not both waiting.
    let notice = match settled {
        true => Sign::new(Severity::Notice, true, true),
        false => sign(Severity::Notice, ABOVE_FILE, minutes),
    };
    let signs = [notice, sign(Severity::Warning, TOO_HIGH, limit(LimitId::ProfileSeconds))];
    let subject = bench.pack.subject();
    let mut facts = [(Fact::MeanVolts, 0.0); 4];
    let count = fill(&mut facts, bench, sessions);
    court.say(subject, &signs, &facts[..count]);
    let worst = (COMPENSATED..=FLOAT).find(|kind| found[usize::from(*kind)]);
    if let (Some(kind), Some(case)) = (worst, court.case(subject)) {
        let before = case.kind & KIND;
        let source =
            bench.bank.only_source(view.now, limit(LimitId::StalePeriods)).map_or(case.kind >> 4, SourceKind::code);
        let kind = if before == 0 { kind } else { before.min(kind) };
        court.kind(subject, kind | source << 4);
    }
}

/// Which kinds are met now, by their number.
fn look(bench: &Bench, sessions: &Sessions) -> [bool; 6] {
    let (view, limits, spec) = (bench.view, bench.limits, bench.spec);
    let limit = |limit| limits.get(limit);
    let margin = limit(LimitId::ProfileMargin) * 1e-3;
    let mean = view.mean.unwrap_or_default();
    let charges = view.current.is_some_and(|current| current.amps > 0.0) && view.switches.charge_path != Some(false);
    let (absorption, float) = allowed(spec, view.cells_in_series);
    let floated = sessions.under_way().and_then(|session| session.float);
    let slope = sessions.slope().is_some_and(|slope| {
        slope.volts * 4e3 < -limit(LimitId::ProfileSlope) && slope.correlation < -limit(LimitId::ProfileCorrelation)
    });
    let equalises = bench.bank.sources.iter().any(|source| {
        source[STATE].now(view.now, limit(LimitId::StalePeriods)) == Some(f64::from(SourceState::Equalise.code()))
    });
    let mut found = [false; 6];
    found[usize::from(TOO_HIGH)] = charges && mean > limit(LimitId::ProfileMean);
    found[usize::from(ABOVE_FILE)] = charges && absorption.is_some_and(|allowed| mean > allowed + margin);
    found[usize::from(FLOAT)] = float.zip(floated).is_some_and(|(allowed, held)| {
        held.volts > allowed + margin && held.secs >= limit(LimitId::ProfileFloatHours) * 3600.0
    });
    found[usize::from(COMPENSATED)] = slope;
    found[usize::from(EQUALISE)] = equalises && charges;
    found
}

/// Absorption and float that the description allows, V per cell.
fn allowed(spec: &PackSpec, cells: u8) -> (Option<f64>, Option<f64>) {
    let each = |volts: Option<crate::unit::Volts>| volts.map(|v| v.get() / f64::from(cells)).filter(|_| cells > 0);
    (each(spec.absorption), each(spec.float))
}

fn fill(facts: &mut [(Fact, f64); 4], bench: &Bench, sessions: &Sessions) -> usize {
    let (view, cells) = (bench.view, f64::from(bench.view.cells_in_series));
    let session = sessions.latest();
    let all = [
        view.mean.map(|mean| (Fact::ChargeVolts, mean * cells)),
        session.and_then(|session| session.held).map(|held| (Fact::HeldVolts, held.volts * cells)),
        session.and_then(|session| session.float).map(|held| (Fact::FloatVolts, held.volts * cells)),
        sessions.slope().map(|slope| (Fact::Compensation, slope.volts * cells * 1e3)),
    ];
    let mut count = 0;
    for fact in all.into_iter().flatten() {
        facts[count] = fact;
        count += 1;
    }
    count
}

fn tell(told: &Told) -> Story {
    let get = |fact| told.evidence.get(fact).unwrap_or_default();
    let what = capital(told.subject);
    let who = match SourceKind::from_code(told.kind >> 4).unwrap_or_default() {
        SourceKind::Unknown => "a charger".to_owned(),
        kind => format!("the {}", kind.word()),
    };
    let volts =
        |allowed: Option<crate::unit::Volts>| allowed.map_or_else(|| "its".into(), |v| format!("{:.1} V", v.get()));
    let (text, what_to_do) = match told.kind & KIND {
        ABOVE_FILE => (
            format!(
                "{what} was held at up to {:.2} V by {who}: more than {} of absorption allowed.",
                get(Fact::ChargeVolts),
                volts(told.spec.absorption)
            ),
            "Set the charger's absorption voltage to what the bank's maker allows.",
        ),
        FLOAT => (
            format!(
                "{what} is floated at {:.2} V by {who}: more than {} of float allowed.",
                get(Fact::FloatVolts),
                volts(told.spec.float)
            ),
            "Set the charger's float to what the bank's maker allows, or switch the charger off while the bank is not used.",
        ),
        COMPENSATED => (
            format!(
                "The voltage at which {} is charged falls with the temperature by {:.0} mV/K, as for lead-acid batteries: too high \
                 in the cold, too low in the heat.",
                told.subject,
                -get(Fact::Compensation)
            ),
            "Switch the charger's temperature compensation off, or choose its setting for lithium iron phosphate.",
        ),
        EQUALISE => (
            format!("{what} is being equalised by {who}: that is for lead-acid batteries."),
            "Switch the charger's equalising off: it drives cells over their limit.",
        ),
        _ => (
            format!("{what} was charged to {:.2} V by {who}: too high for its cells.", get(Fact::ChargeVolts)),
            "Stop this charge and lower the charger's voltage to what the bank's maker allows; switch equalising and temperature \
             compensation off.",
        ),
    };
    Story { text, what_to_do: what_to_do.into() }
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::Bank;
    use crate::unit::Volts;

    const HOUR: f64 = 3600.0;

    /// Four cells of which the maker allows 14.4 V and 13.8 V.
    fn filed() -> Bank {
        let mut bank = four_cells();
        bank.packs[0].absorption = Some(Volts::of(14.4));
        bank.packs[0].float = Some(Volts::of(13.8));
        bank
    }

    fn charge(story: &mut Story, from: f64, step: f64, (volts, float): (f64, f64), celsius: f64) {
        story.run(from, from + 12.0 * HOUR, step, |t, bus| {
            let h = (t - from) / HOUR;
            let (volts, amps) = match h {
                h if h < 1.0 => (13.3, 30.0),
                h if h < 3.0 => (volts, (30.0 * (-(h - 1.0) / 0.4).exp()).max(0.4)),
                h if h < 9.0 => (float, 0.6),
                _ => (13.2, -5.0),
            };
            bus.celsius(0, celsius);
            bus.cells(&[volts / 4.0; 4]);
            bus.current(amps);
        });
    }

    fn told(step: f64, volts: (f64, f64)) -> Story {
        let mut story = Story::new(filed());
        charge(&mut story, 0.0, step, volts, 20.0);
        story
    }

    fn found(story: &Story) -> Vec<String> {
        let found = story.found_of("charger-profile");
        found.iter().map(|line| line.split(" from ").next().unwrap_or_default().to_owned()).collect()
    }

    #[test]
    fn a_charger_that_keeps_to_the_file_is_fine_at_any_spacing() {
        for step in [1.0, 10.0, 60.0] {
            let story = told(step, (14.4, 13.8));
            assert!(found(&story).is_empty(), "{:?}", story.findings());
            assert!(found(&told(step, (14.5, 13.9))).is_empty(), "a charger's error");
        }
    }

    #[test]
    fn ten_minutes_above_the_file_are_a_notice_and_above_3_66_volts_a_cell_a_warning() {
        let story = told(10.0, (14.6, 13.5));
        assert_eq!(found(&story), ["charger-profile notice pack 1"]);
        let text = &story.snapshot().findings[0].text;
        assert!(text.contains("14.60 V by a charger: more than 14.4 V"), "{text}");
        assert_eq!(found(&told(10.0, (14.9, 13.5))), ["charger-profile warning pack 1"]);
    }

    #[test]
    fn a_float_above_the_file_is_a_notice() {
        let story = told(10.0, (14.4, 14.1));
        assert_eq!(found(&story), ["charger-profile notice pack 1"]);
        assert!(story.snapshot().findings[0].text.contains("floated at 14.10 V"));
    }

    #[test]
    fn compensation_left_on_is_told_after_three_sessions_over_ten_kelvin() {
        let mut story = Story::new(four_cells());
        for (day, celsius) in [22.0, 14.0, 8.0].into_iter().enumerate() {
            let volts = 14.4 - 0.018 * (celsius - 25.0);
            charge(&mut story, day as f64 * 12.0 * HOUR, 10.0, (volts, 13.4), celsius);
            assert_eq!(found(&story).len(), usize::from(day == 2), "after day {day}: {:?}", story.findings());
        }
        let text = &story.snapshot().findings.iter().find(|f| f.code == "charger-profile").unwrap().text.clone();
        assert!(text.contains("by 18 mV/K, as for lead-acid batteries"), "{text}");
    }

    #[test]
    fn a_cold_winter_on_one_voltage_is_no_compensation() {
        let mut story = Story::new(four_cells());
        for day in 0..12 {
            charge(&mut story, f64::from(day) * 12.0 * HOUR, 60.0, (14.3, 13.5), 20.0 - 2.0 * f64::from(day));
        }
        assert!(found(&story).is_empty(), "{:?}", story.findings());
    }
}

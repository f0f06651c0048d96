//! Answers about what goes out of a bank, when it was full, and its heater.

use super::look::{Draft, Look, bounded, capital, moment, row};
use crate::model::Estimate;
use crate::model::limits::LimitId;
use crate::model::span;

/// A winter without a charge, days: judgement.
const WINTER: f64 = 120.0;

/// How long it lasts without a charge.
pub(super) fn winter(look: &Look) -> Option<Draft> {
    let name = "until_a_tenth_days";
    let Some((first, days)) = look.known(name).into_iter().min_by(|a, b| a.1.total_cmp(&b.1)) else {
        let why = look.missing(name).unwrap_or("the draw is not known");
        let tells = match why.contains("state of charge") {
            true => "a full charge, and four hours without charge after it",
            false => "a night without charge",
        };
        return Some(Draft::not_known(why, tells));
    };
    if let Some(draft) = never_quiet(look) {
        return Some(draft);
    }
    let (low, high) = (first.low.unwrap_or(days), first.high.unwrap_or(f64::INFINITY));
    let bounds = match first.high {
        Some(high) if format!("{low:.0}") == format!("{high:.0}") => "to within a day".into(),
        Some(high) => format!("between {low:.0} and {high:.0}"),
        None => format!("at least {low:.0}; the far end is not known, the sensor may read a draw where there is none"),
    };
    let verdict = match (low >= WINTER, high < WINTER) {
        (true, _) => "Four months without a charge are within that, as long as the draw stays as it is.",
        (false, true) => {
            "Four months without a charge are longer than that: switch off what draws at the main switch, or have it charged in between."
        }
        (false, false) => {
            "Whether it is four months without a charge nobody can tell from this: look again after a month."
        }
    };
    let text = format!(
        "{} comes down to a tenth in {} if nothing charges it.",
        capital(first.subject),
        if days < 1.5 { "about a day or less".into() } else { format!("{days:.0} days ({bounds})") }
    );
    let draft = Draft::say(text).and(verdict).on(name).on("standby_draw_a");
    Some(
        look.found("low-in-storage")
            .iter()
            .fold(draft, |draft, (at, found)| draft.and(found.text.clone()).on_finding(*at)),
    )
}

/// A pack whose quietest hours draw more than what is no use of it: a load was on, or packs pass current to each other.
fn never_quiet(look: &Look) -> Option<Draft> {
    let rate = look.limits.get(LimitId::StorageLoadRate);
    let loud = |(row, amps): &(&Estimate, f64)| {
        let spec = row.subject.pack.and_then(|pack| look.snapshot.bank.packs.get(usize::from(pack)));
        let capacity = spec.and_then(|spec| spec.rated.capacity).map(|capacity| capacity.get());
        capacity.is_some_and(|capacity| *amps > rate * capacity)
    };
    let (row, amps) = look.known("standby_draw_a").into_iter().find(loud)?;
    let why = format!("{} never was quiet: its quietest hours without charge drew {amps:.0} A", row.subject);
    Some(Draft::not_known(&why, "four hours without charge and with the large loads off").on("standby_draw_a"))
}

/// What is drawn in the quietest hours.
pub(super) fn night(look: &Look) -> Option<Draft> {
    let name = "standby_draw_a";
    let Some(draw) = sum(look, name) else {
        let why = look.missing(name).unwrap_or("the draw is not known");
        return Some(Draft::not_known(why, "a night with nothing charging"));
    };
    if let Some(draft) = never_quiet(look) {
        return Some(draft);
    }
    let text = match draw {
        (amps, _, Some(high)) if amps < 0.005 => {
            format!("In the quietest hours nothing that the current sensor shows; it may miss up to {high:.2} A.")
        }
        draw => format!("In the quietest hours {}, {:.1} Ah a day.", bounded(draw, "A", 2), draw.0 * 24.0),
    };
    let usual = sum(look, "quiet_hours_draw_a")
        .map_or_else(String::new, |(amps, ..)| format!("Half of the hours without charge draw up to {amps:.1} A."));
    let which =
        "The bus does not tell which load it is: switch them off one by one and see by how much the current falls.";
    Some(Draft::say(text).and(usual).and(which).on(name).on("quiet_hours_draw_a"))
}

/// All packs together; none unless every pack has a value.
fn sum(look: &Look, name: &str) -> Option<(f64, Option<f64>, Option<f64>)> {
    let rows: Vec<_> = look.rows(name).collect();
    if rows.is_empty() {
        return None;
    }
    let add = |of: fn(&&Estimate) -> Option<f64>| rows.iter().map(of).try_fold(0.0, |sum, value| Some(sum + value?));
    Some((add(|row| row.value)?, add(|row| row.low), add(|row| row.high)))
}

/// When it was last full.
pub(super) fn full(look: &Look) -> Option<Draft> {
    let name = "since_full_h";
    let known = look.known(name);
    let longest = known.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let lacking = look.rows(name).find(|row| row.value.is_none());
    let found = look.found("not-fully-charged");
    let draft = match (longest, lacking) {
        (Some((row, hours)), lacking) => {
            let at = row.as_of.map_or_else(String::new, |at| format!(" on {}", moment(at.plus_secs(-hours * 3600.0))));
            let text = format!("{} was last full{at}, {}.", capital(row.subject), before_the_end(hours * 3600.0));
            let draft = Draft::say(text).on(name);
            match lacking {
                Some(row) => draft.open(&format!("{}: {}", row.subject, row.why.as_deref().unwrap_or("not known")), ""),
                None => draft,
            }
        }
        (None, Some(row)) => {
            let why = row.why.as_deref().unwrap_or("no full charge was seen yet");
            Draft::not_known(why, "a charge that is held until its current has become small")
        }
        (None, None) => Draft::not_known("no full charge was seen yet", "a charge held until its current is small"),
    };
    Some(found.iter().fold(draft, |draft, (at, found)| draft.and(found.text.clone()).on_finding(*at)))
}

fn before_the_end(secs: f64) -> String {
    match secs < 60.0 {
        true => "at the end of the data".into(),
        false => format!("{} before the end of the data", span(secs)),
    }
}

/// Whether the heater warms the bank.
pub(super) fn heater(look: &Look) -> Option<Draft> {
    if let Some(draft) = Draft::told(&look.found("heater-weak")) {
        return Some(draft.on("heater_rise_k_per_h"));
    }
    let specs = &look.snapshot.bank.packs;
    if !specs.is_empty() && specs.iter().all(|spec| spec.heater.fitted == Some(false)) {
        return None;
    }
    let name = "heater_rise_k_per_h";
    if let Some((slowest, rise)) = look.known(name).into_iter().min_by(|a, b| a.1.total_cmp(&b.1)) {
        let figure = row(slowest, rise, "K", 1);
        let text =
            format!("{} warmed by {figure} in the last whole hour with the heater on.", capital(slowest.subject));
        return Some(Draft::say(text).on(name));
    }
    Some(match look.not_judged("heater-weak") {
        Some(why) => Draft::not_known(why, "a signal of the heater, if one is fitted"),
        None => {
            Draft::not_known("it was not on for a whole hour", "an hour of heating with a cell or case temperature")
        }
    })
}

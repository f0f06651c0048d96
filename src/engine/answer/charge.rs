//! Answers about charging, and about the BMS that ended it.

use super::look::{Draft, Look};
use crate::model::Estimate;
use crate::model::limits::LimitId;
use crate::model::{Fact, Finding, Subject};

/// Above this no cell is too cold for any charge that its sheet allows: where `cold-charge` ends, °C.
const NEVER_COLD: f64 = 15.0;
/// A smaller tail is that of a float, not of a charge that ended, A.
const LEAST_TAIL: f64 = 0.2;

/// Why the BMS cut off.
pub(super) fn cut_out(look: &Look) -> Option<Draft> {
    let found = look.ever_found("bms-cutoff");
    let Some(mut draft) = Draft::told(&found) else {
        return Some(match look.not_judged("bms-cutoff") {
            Some(why) => {
                Draft::not_known(why, "the state of the paths, or the voltage on both sides of the BMS once a second")
            }
            None => Draft::say(format!("No cut-off was seen {}.", look.span())),
        });
    };
    if let Some((at, cause)) = found.first().and_then(|(at, _)| look.behind(*at)) {
        draft = draft.and(format!("Behind it, most likely: {}", cause.text)).on_finding(at);
    }
    let margins = ["cut_margin_v", "cut_margin_k"];
    Some(margins.into_iter().filter(|name| look.rows(name).next().is_some()).fold(draft, Draft::on))
}

/// Whether the charger keeps to the voltages that the bank allows.
pub(super) fn charger(look: &Look) -> Option<Draft> {
    if let Some(draft) = ended_by_the_bms(look) {
        return Some(draft);
    }
    let mut found = look.found("charger-profile");
    found.extend(look.found("prolonged-high-float"));
    if let Some((at, worst)) = found.first() {
        let draft = Draft::say(format!("No: {}", lowered(&worst.text))).on_finding(*at);
        let rest = found.iter().skip(1).fold(draft, |draft, (at, next)| draft.and(next.text.clone()).on_finding(*at));
        return Some(rest.on("session_held_v").on("session_float_v"));
    }
    if let Some(why) = look.not_judged("charger-profile") {
        return Some(Draft::not_known(why, "a charge up to its end with voltage and current"));
    }
    let Some((row, held)) = look.known("session_held_v").into_iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        let why = look.missing("session_held_v").or(look.missing("session_bulk_a")).unwrap_or("no charge was seen yet");
        return Some(Draft::not_known(why, "a charge up to its end"));
    };
    Some(session(look, row.subject, held).on("session_held_v").on("session_float_v").on("session_tail_a"))
}

/// A charge that the BMS ended, when nothing else is found of the charger.
fn ended_by_the_bms(look: &Look) -> Option<Draft> {
    if ["charger-profile", "prolonged-high-float"].iter().any(|code| !look.found(code).is_empty()) {
        return None;
    }
    let cuts = look.found("bms-cutoff");
    let charging = |cut: &Finding| cut.evidence.get(Fact::CutAmps).is_some_and(|amps| amps > 0.0);
    let (at, cut) = cuts.iter().find(|(_, cut)| charging(cut))?;
    let text = format!("Not to what its cells take: the BMS of {} ended a charge before the charger did.", cut.subject);
    Some(Draft::say(text).on_finding(*at))
}

/// The last charge beside what the description allows.
fn session(look: &Look, subject: Subject, held: f64) -> Draft {
    let spec = subject.pack.and_then(|pack| look.snapshot.bank.packs.get(usize::from(pack)));
    let allowed = |volts: Option<f64>| volts.map_or_else(String::new, |v| format!(" ({v:.1} V is allowed)"));
    let absorption = spec.and_then(|spec| spec.absorption).map(|volts| volts.get());
    let float = spec.and_then(|spec| spec.float).map(|volts| volts.get());
    let floated = absorption.zip(float).is_some_and(|(high, low)| (held - low).abs() < (held - high).abs());
    let mut text = match floated {
        true => format!("the last charge of {subject} held its float for long alone, {held:.2} V{}", allowed(float)),
        false => format!("the last charge of {subject} held {held:.2} V{}", allowed(absorption)),
    };
    if let Some(volts) = look.value("session_float_v", subject).filter(|_| !floated) {
        text.push_str(&format!(", then {volts:.2} V{}", allowed(float)));
    }
    if let Some(amps) = look.value("session_tail_a", subject).filter(|amps| *amps >= LEAST_TAIL) {
        text.push_str(&format!(", and ended at {amps:.1} A"));
    }
    match absorption {
        Some(_) => Draft::say(format!("Yes, as far as it was seen: {text}.")),
        None => Draft::say(format!("Nothing speaks against it: {text}."))
            .open("what the maker allows is not described", "absorption and float voltage in the bank file"),
    }
}

/// Whether the voltage held follows the temperature as for lead-acid batteries.
pub(super) fn compensation(look: &Look) -> Option<Draft> {
    let name = "charger_compensation_mv_per_k";
    let steepest = look.known(name).into_iter().min_by(|a, b| per_four(look, a).total_cmp(&per_four(look, b)));
    let Some((row, slope)) = steepest else {
        let why = look.missing(name).or(look.missing("session_bulk_a")).unwrap_or("no charge was seen yet");
        return Some(Draft::not_known(why, "three charges to their end at temperatures ten kelvin apart"));
    };
    let follows = per_four(look, &(row, slope)) < -look.limits.get(LimitId::ProfileSlope);
    let found = look.found("charger-profile").into_iter().find(|(_, finding)| finding.subject == row.subject);
    let text = format!("the voltage held by {} moves by {slope:.1} mV/K with the temperature", row.subject);
    let draft = match (follows, found) {
        (true, Some((at, _))) => Draft::say(format!("Yes: {text}.")).on_finding(at),
        (true, None) => Draft::say(format!("It may be: {text}, but not steadily."))
            .open("the charges differ for another reason too", "more charges to their end, warm and cold"),
        (false, _) => Draft::say(format!("No: {text}; compensation for lead-acid is about -18 mV/K on four cells.")),
    };
    Some(draft.on(name))
}

/// A slope as on four cells.
fn per_four(look: &Look, (row, slope): &(&Estimate, f64)) -> f64 {
    let pack = row.subject.pack.map(usize::from);
    let cells = pack.and_then(|pack| {
        let told = look.snapshot.bank.packs.get(pack).and_then(|spec| spec.cells).map(usize::from);
        told.or(look.snapshot.packs.get(pack).map(|view| view.cells.len()))
    });
    slope * 4.0 / cells.filter(|cells| *cells > 0).unwrap_or(4) as f64
}

/// Which source charges above the limit for the cold.
pub(super) fn cold(look: &Look) -> Option<Draft> {
    let found = look.ever_found("cold-charge");
    if let Some(draft) = Draft::told(&found) {
        return Some(match look.snapshot.sources.is_empty() {
            true => {
                draft.open("no source reports itself", "what ran at that time, or a source that reports its current")
            }
            false => draft,
        });
    }
    if let Some(why) = look.not_judged("cold-charge") {
        return Some(Draft::not_known(why, "a valid cell or case temperature with the current"));
    }
    let coldest = coldest(look)?;
    let text = match coldest < NEVER_COLD {
        true => format!(
            "None was seen: no charge above the limit for its temperature {}, down to {coldest:.1} °C.",
            look.span()
        ),
        false => format!("It was never cold enough to tell: {coldest:.1} °C at the coldest {}.", look.span()),
    };
    Some(Draft::say(text))
}

/// The lowest reading of a cell or case sensor since the start.
fn coldest(look: &Look) -> Option<f64> {
    let of_pack = look.snapshot.packs.iter().zip(&look.snapshot.bank.packs);
    let readings = of_pack.flat_map(|(view, spec)| {
        let valid = view.sensors.iter().zip(&spec.sensors).filter(|(_, spec)| spec.role.sets_limits());
        valid.filter_map(|(shown, _)| shown.lowest)
    });
    readings.min_by(f64::total_cmp)
}

/// A sentence that goes on behind a colon: only a name of a pack or cell loses its capital.
fn lowered(text: &str) -> String {
    let names = ["Pack ", "Cell ", "Sensor ", "The "];
    match names.iter().any(|name| text.starts_with(name)) {
        true => text.char_indices().map(|(at, c)| if at == 0 { c.to_ascii_lowercase() } else { c }).collect(),
        false => text.to_owned(),
    }
}

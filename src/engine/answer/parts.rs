//! Answers about connections, capacity, and packs beside one another.

use super::look::{Draft, Look, capital, row};
use crate::model::Estimate;

/// Less at a stretch than this part of the rated capacity tells nothing: judgement.
const TELLS: f64 = 0.2;

/// Which connection is bad.
pub(super) fn connection(look: &Look) -> Option<Draft> {
    let name = "connection_mohm";
    if let Some(draft) = Draft::told(&look.found("high-resistance-connection")) {
        return Some(draft.on(name).on("outside_cells_mohm"));
    }
    let Some((worst, ohms)) = look.known(name).into_iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        let why =
            look.missing(name).or(look.not_judged("high-resistance-connection")).unwrap_or("no cell voltages arrive");
        return Some(Draft::not_known(why, "a few loads switched on and off with readings at most a minute apart"));
    };
    let mut draft = Draft::say(format!(
        "None stands out: {} has the most beyond the others, {}.",
        worst.subject,
        row(worst, ohms, "mΩ", 2)
    ));
    draft = outside(look, draft);
    if !look.found("unequal-sharing").is_empty() {
        draft =
            draft.and("The packs share the current unequally: see the leads of the one that carries less.".to_owned());
    }
    if let Some(why) = look.not_judged("high-resistance-connection") {
        draft = draft.open(why, "more steps of the current");
    }
    Some(draft.on(name))
}

/// What lies between the cells and the bus, of each pack, with the packs of which it is not known.
fn outside(look: &Look, draft: Draft) -> Draft {
    let name = "outside_cells_mohm";
    if look.known(name).is_empty() {
        return draft;
    }
    let of_each = look.rows(name).map(|of| match of.value {
        Some(ohms) => format!("{} has {}", of.subject, row(of, ohms, "mΩ", 2)),
        None => format!("{}: not known", of.subject),
    });
    draft.and(format!("Between cells and bus {}.", of_each.collect::<Vec<_>>().join("; "))).on(name)
}

/// Whether the capacity is still what it was.
pub(super) fn capacity(look: &Look) -> Option<Draft> {
    let name = "capacity_ah";
    let rows: Vec<&Estimate> = look.rows(name).collect();
    let measured = look.known(name).into_iter().min_by(|a, b| share(look, a).total_cmp(&share(look, b)));
    let tells = |(row, ah): &(&Estimate, f64)| rated(look, row).is_none_or(|rated| *ah >= TELLS * rated);
    let least = rows.iter().filter_map(|row| Some((*row, row.low?)));
    let least = least.filter(tells).min_by(|a, b| a.1.total_cmp(&b.1));
    let between = rows.iter().find_map(|row| Some((*row, row.low?, row.high?)).filter(|_| row.value.is_none()));
    let draft = match (between, measured, least) {
        (Some((found, low, high)), None, _) => {
            let why = found.why.as_deref().unwrap_or("what was measured is open");
            Draft::say(format!("{} holds between {low:.0} and {high:.0} Ah.", capital(found.subject)))
                .open(why, "a steady current, compared with a clamp meter")
        }
        (_, Some((found, ah)), _) => Draft::say(format!(
            "{} holds {}{}.",
            capital(found.subject),
            row(found, ah, "Ah", 0),
            rated(look, found)
                .map_or_else(String::new, |rated| format!(", {:.0} % of the {rated:.0} Ah rated", 100.0 * ah / rated)),
        )),
        (None, None, Some((found, ah))) => Draft::say(format!(
            "{} gave at least {ah:.0} Ah at a stretch{}.",
            capital(found.subject),
            rated(look, found).map_or_else(String::new, |rated| format!("; {rated:.0} Ah are rated")),
        ))
        .open("the bottom was not reached from full", "an ordinary use that goes from full to the low knee"),
        (None, None, None) => {
            Draft::not_known("not enough data yet", "an ordinary use that goes from full to the low knee")
        }
    };
    let short = look.found("low-capacity-cell");
    Some(short.iter().fold(draft.on(name), |draft, (at, found)| draft.and(found.text.clone()).on_finding(*at)))
}

fn rated(look: &Look, row: &Estimate) -> Option<f64> {
    let spec = look.snapshot.bank.packs.get(usize::from(row.subject.pack?))?;
    spec.rated.capacity.map(|capacity| capacity.get()).filter(|rated| *rated > 0.0)
}

fn share(look: &Look, (row, ah): &(&Estimate, f64)) -> f64 {
    ah / rated(look, row).unwrap_or(1.0)
}

/// Whether packs charge each other; does not arise for one pack.
pub(super) fn fighting(look: &Look) -> Option<Draft> {
    if look.snapshot.packs.len() < 2 {
        return None;
    }
    let fights: Vec<_> =
        look.ever_found("unequal-sharing").into_iter().filter(|(_, f)| f.subject.pack.is_none()).collect();
    let shares: Vec<_> = look.found("unequal-sharing").into_iter().filter(|(_, f)| f.subject.pack.is_some()).collect();
    let draft = match (Draft::told(&fights), look.not_judged("unequal-sharing")) {
        (Some(draft), _) => draft,
        (None, Some(why)) if shares.is_empty() => {
            return Some(Draft::not_known(why, "the current and the capacity of every pack"));
        }
        (None, _) => Draft::say(format!("No: none was seen to charge another for half an hour {}.", look.span())),
    };
    let draft = shares.iter().fold(draft, |draft, (at, found)| draft.and(found.text.clone()).on_finding(*at));
    Some(draft.on("share_charge_percent").on("share_discharge_percent"))
}

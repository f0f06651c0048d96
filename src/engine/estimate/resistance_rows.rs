//! Resistances as rows: of each cell, of what its connection adds, and of what lies between cells and bus.

use super::resistance::Known;
use crate::engine::pack::Pack;
use crate::model::Estimate;
use crate::model::finding::Subject;
use crate::model::limits::Limits;

/// Every resistance of a pack, `as_of` by engine time.
#[must_use]
pub(super) fn rows(pack: &Pack, limits: &Limits) -> Vec<Estimate> {
    let learnt = &pack.estimates.resistance;
    let mut rows = Vec::with_capacity(2 * pack.cells.len() + 1);
    for cell in 0..pack.cells.len() {
        let subject = Subject::cell(pack.number, cell as u8);
        let why = why(pack, limits, true);
        rows.push(row(pack, ("cell_resistance_mohm", subject), learnt.whole(cell, limits), why));
        let why = self::why(pack, limits, false);
        rows.push(row(pack, ("connection_mohm", subject), learnt.excess(cell, limits), why));
    }
    let subject = pack.subject();
    let why = match learnt.has_outside() {
        false => "the voltage beyond the cells was not heard at a step of the current",
        true => "not enough steps of the current yet, or too coarse ones",
    };
    rows.push(row(pack, ("outside_cells_mohm", subject), learnt.outside(limits), why));
    rows
}

fn row(pack: &Pack, (name, subject): (&'static str, Subject), known: Option<Known>, why: &str) -> Estimate {
    match known {
        None => Estimate::unknown(name, subject, why),
        Some(Known { ohms, half, .. }) => Estimate {
            as_of: pack.estimates.resistance.as_of(),
            ..Estimate::known(name, subject, ohms * 1e3).within((ohms - half) * 1e3, (ohms + half) * 1e3)
        },
    }
}

fn why(pack: &Pack, limits: &Limits, absolute: bool) -> &'static str {
    let learnt = &pack.estimates.resistance;
    let view = &pack.view;
    match (view.current, view.capacity) {
        (None, _) => "no valid current",
        (_, None) => "the rated capacity is not described",
        _ if learnt.is_uneven() => "temperatures lie far apart and some cells have no sensor",
        _ if absolute && learnt.median(limits).is_some() => "readings come too far apart, or no temperature is known",
        _ => "not enough steps of the current yet, or too coarse ones",
    }
}

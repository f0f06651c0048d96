//! Estimates in the report for people: what is known with its bounds, then what is not, one reason once.

use super::words::{moment, name_and_unit, value};
use super::wrap::wrap_under;
use crate::model::Estimate;
use crate::model::{Stamp, Subject};

/// Columns by which the second line of an entry stands in.
const INDENT: usize = 6;

/// Writes the estimates; `now` is the end of the data.
pub(super) fn estimates(out: &mut String, list: &[Estimate], now: Option<Stamp>) {
    if !list.is_empty() {
        out.push_str("\nEstimates, at the end of the data unless another time is told\n");
    }
    let (unknown, known): (Vec<&Estimate>, Vec<&Estimate>) = list.iter().partition(|estimate| estimate.says_nothing());
    for same in alike(&known) {
        let Some(first) = same.first() else { continue };
        let (name, _) = name_and_unit(first.name);
        let (subject, text) = match same.len() {
            1 => (first.subject, bounded(first)),
            _ => (Subject { cell: None, ..first.subject }, by_cell(&same)),
        };
        wrap_under(out, &format!("  {name}, {subject}: "), INDENT, &format!("{text}{}", remarks(first, now)));
    }
    not_estimated(out, &unknown);
}

/// Estimates that only differ in the cell of a pack and its figures stand together, where the first of them stands.
fn alike<'a>(known: &[&'a Estimate]) -> Vec<Vec<&'a Estimate>> {
    let mut groups: Vec<Vec<&Estimate>> = Vec::new();
    for estimate in known {
        let is_like = |other: &Estimate| {
            let of_cells = other.subject.cell.is_some() && estimate.subject.cell.is_some();
            let said = (other.name, other.subject.pack, other.as_of, &other.why);
            of_cells && said == (estimate.name, estimate.subject.pack, estimate.as_of, &estimate.why)
        };
        match groups.iter_mut().find(|group| group.first().is_some_and(|first| is_like(first))) {
            Some(group) => group.push(estimate),
            None => groups.push(vec![estimate]),
        }
    }
    groups
}

/// 'cell 1: 1.13 mΩ (between 0.88 and 1.39); cell 2: …'.
fn by_cell(same: &[&Estimate]) -> String {
    let one = |estimate: &&Estimate| {
        let cell = estimate.subject.cell.map_or(0, |cell| u16::from(cell) + 1);
        format!("cell {cell}: {}", bounded(estimate))
    };
    same.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// What lacks for one reason: figures in words, and of what.
type Lacking<'a> = Vec<(&'a str, Vec<Subject>)>;

/// What is not known stands behind what is, one reason once: many estimates wait for the same thing.
fn not_estimated(out: &mut String, unknown: &[&Estimate]) {
    let mut reasons: Vec<(&str, Lacking)> = Vec::new();
    for estimate in unknown {
        let why = estimate.why.as_deref().unwrap_or("no reason is told");
        let at = reasons.iter().position(|(reason, _)| *reason == why).unwrap_or_else(|| {
            reasons.push((why, Vec::new()));
            reasons.len() - 1
        });
        let words = name_and_unit(estimate.name).0;
        let Some((_, lacking)) = reasons.get_mut(at) else { continue };
        match lacking.iter_mut().find(|(other, _)| *other == words) {
            Some((_, subjects)) if subjects.contains(&estimate.subject) => {}
            Some((_, subjects)) => subjects.push(estimate.subject),
            None => lacking.push((words, vec![estimate.subject])),
        }
    }
    if !reasons.is_empty() {
        out.push_str("  Not known\n");
    }
    for (why, lacking) in reasons {
        let what: Vec<String> =
            lacking.iter().map(|(words, subjects)| format!("{words}, {}", together(subjects))).collect();
        wrap_under(out, "    ", INDENT, &format!("{}: {why}", what.join("; ")));
    }
}

/// 'cells 1, 2 and 4 of pack 1', 'pack 1, pack 2'.
fn together(subjects: &[Subject]) -> String {
    let mut parts: Vec<String> = Vec::new();
    for same in subjects.chunk_by(|a, b| a.pack == b.pack && a.cell.is_some() && b.cell.is_some()) {
        let cells: Vec<String> =
            same.iter().filter_map(|s| s.cell).map(|cell| (u16::from(cell) + 1).to_string()).collect();
        match (cells.split_last(), same.first()) {
            (Some((last, before)), Some(first)) if !before.is_empty() => {
                let pack = Subject { cell: None, ..*first };
                parts.push(format!("cells {} and {last} of {pack}", before.join(", ")));
            }
            _ => parts.extend(same.iter().map(ToString::to_string)),
        }
    }
    parts.join(", ")
}

fn bounded(estimate: &Estimate) -> String {
    estimate.figure(|number| value(estimate.name, number))
}

/// Of which moment it is, where not of the end, and what goes with it.
fn remarks(estimate: &Estimate, now: Option<Stamp>) -> String {
    let why = estimate.why.as_deref().map(|why| format!("; {why}")).unwrap_or_default();
    let as_of = estimate.earlier_than(now).map(|at| format!(", as of {}", moment(at))).unwrap_or_default();
    format!("{as_of}{why}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(name: &'static str, cell: u8, value: Option<f64>, why: Option<&str>) -> Estimate {
        let subject = Subject::cell(0, cell);
        Estimate { name, subject, value, low: None, high: None, as_of: None, why: why.map(Into::into) }
    }

    #[test]
    fn a_reason_that_many_estimates_share_stands_once_and_behind_what_is_known() {
        let list = [
            estimate("cell_resistance_mohm", 0, None, Some("too few steps")),
            estimate("cell_resistance_mohm", 1, None, Some("too few steps")),
            estimate("cell_resistance_mohm", 3, None, Some("too few steps")),
            estimate("connection_mohm", 0, Some(0.2), None),
        ];
        let mut out = String::new();
        estimates(&mut out, &list, None);
        let expected = "
Estimates, at the end of the data unless another time is told
  resistance beyond the median of the cells, cell 1 of pack 1: 0.2 mΩ
  Not known
    resistance at 25 °C with its connection, cells 1, 2 and 4 of pack 1: too few
      steps
";
        assert_eq!(out, expected);
    }

    #[test]
    fn only_what_rests_on_an_earlier_moment_tells_it() {
        let at = |secs| Estimate {
            as_of: Some(Stamp::from_secs(secs)),
            low: Some(0.1),
            ..estimate("connection_mohm", 2, Some(0.2), None)
        };
        let now = Some(Stamp::from_secs(1_769_835_600));
        let told = |secs| bounded(&at(secs)) + &remarks(&at(secs), now);
        assert_eq!(told(1_769_835_599), "0.2 mΩ (at least 0.1 mΩ)");
        assert_eq!(told(1_769_832_000), "0.2 mΩ (at least 0.1 mΩ), as of 2026-01-31 04:00:00");
    }

    #[test]
    fn cells_of_which_the_same_is_said_stand_together_and_none_is_left_out() {
        let ohms = |cell, value| Estimate { low: Some(0.1), ..estimate("connection_mohm", cell, Some(value), None) };
        let own = |cell| estimate("cell_resistance_mohm", cell, Some(1.1), Some("warm"));
        let other = Estimate { subject: Subject::cell(1, 0), ..ohms(0, 0.3) };
        let mut out = String::new();
        estimates(&mut out, &[ohms(0, 0.2), own(0), ohms(1, 0.25), own(1), other], None);
        let expected = "
Estimates, at the end of the data unless another time is told
  resistance beyond the median of the cells, pack 1: cell 1: 0.2 mΩ (at least
      0.1 mΩ); cell 2: 0.25 mΩ (at least 0.1 mΩ)
  resistance at 25 °C with its connection, pack 1: cell 1: 1.1 mΩ; cell 2: 1.1
      mΩ; warm
  resistance beyond the median of the cells, cell 1 of pack 2: 0.3 mΩ (at least
      0.1 mΩ)
";
        assert_eq!(out, expected);
    }
}

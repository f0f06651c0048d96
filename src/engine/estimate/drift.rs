//! What a cell loses against its siblings, from visit to visit of the same end of the charge.

use super::visit::{Span, Visit};
use crate::engine::median::median_of;
use crate::model::limits::{LimitId, Limits};
use crate::model::{MAX_CELLS, Stamp};
use serde::{Deserialize, Serialize};

/// Visits that are kept for comparison over time.
const KEPT: usize = 8;
/// Days between two that are kept.
pub(super) const EVERY: f64 = 2.5;
/// Older ones say nothing of the present, days.
const OLDEST: f64 = 45.0;

/// What a cell lost against its siblings between two visits.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// The later visit.
    pub at: Stamp,
    /// Days between the two.
    pub days: f64,
    /// What it fell behind in that time, Ah.
    pub lost: Span,
    /// How far behind the median it stands now, Ah.
    pub behind: Span,
}

/// The visits of one end that are kept.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Kept(Vec<Visit>);

impl Kept {
    /// The earliest that saw every cell.
    pub(super) fn complete(&self) -> Option<&Visit> {
        self.0.iter().find(|visit| visit.is_complete())
    }

    /// Drops what is too old to stand beside a visit, or of another number of cells.
    pub(super) fn age(&mut self, visit: &Visit) {
        self.0.retain(|old| days(old.at, visit.at) <= OLDEST && old.ahead.len() == visit.ahead.len());
    }

    /// Keeps a visit, unless the one before it is too near.
    pub(super) fn keep(&mut self, visit: &Visit) {
        if self.0.last().is_none_or(|last| days(last.at, visit.at) >= EVERY) {
            if self.0.len() >= KEPT {
                self.0.remove(1);
            }
            self.0.push(visit.clone());
        }
    }

    /// Those far enough back to show a drift.
    fn before<'a>(&'a self, visit: &'a Visit, limits: &'a Limits) -> impl Iterator<Item = &'a Visit> {
        self.0.iter().filter(|old| days(old.at, visit.at) >= limits.get(LimitId::DriftDays))
    }

    /// How far a cell stood behind at the visit nearest to a moment, if one of those days saw it.
    fn behind(&self, cell: usize, at: Stamp, limits: &Limits) -> Option<Span> {
        let near = |visit: &&Visit| apart(visit.at, at) <= limits.get(LimitId::DriftDays);
        let visit = self.0.iter().filter(near).min_by(|a, b| apart(a.at, at).total_cmp(&apart(b.at, at)))?;
        Some(visit.ahead.get(cell)?.negative())
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    pub(super) fn is_within_bounds(&self) -> bool {
        self.0.len() <= KEPT && self.0.iter().all(Visit::is_within_bounds)
    }
}

/// What a visit is held against.
pub(super) struct Against<'a> {
    /// Tops that are kept.
    pub(super) tops: &'a Kept,
    /// Bottoms that are kept.
    pub(super) bottoms: &'a Kept,
    /// What balancing draws from a cell, A.
    pub(super) bleed: f64,
    /// Limits.
    pub(super) limits: &'a Limits,
}

impl Against<'_> {
    /// By the tops: a cell that loses charge comes later and later. Against the earlier one that shows most for certain.
    pub(super) fn at_top(&self, cell: usize, now: &Visit) -> Option<Drift> {
        let behind = now.ahead.get(cell)?.negative();
        let drift = |top: &Visit| {
            let lost = self.by_itself(cell, top, now, &moved(cell, top, now)?.negative())?;
            lost.low.map(|_| Drift { at: now.at, days: days(top.at, now.at), lost, behind })
        };
        surest(self.tops.before(now, self.limits).filter_map(drift))
    }

    /// By the bottoms: it comes earlier and earlier there. How far behind it is comes from a top of the days in which
    /// that began: at the bottom a cell that holds less looks the same.
    pub(super) fn at_bottom(&self, cell: usize, now: &Visit) -> Option<Drift> {
        let drift = |bottom: &Visit| {
            let fell = now.ahead.get(cell)?.less(bottom.ahead.get(cell)?);
            let behind = self.tops.behind(cell, bottom.at, self.limits)?.plus(&fell);
            let lost = self.by_itself(cell, bottom, now, &moved(cell, bottom, now)?)?;
            lost.low.map(|_| Drift { at: now.at, days: days(bottom.at, now.at), lost, behind })
        };
        surest(self.bottoms.before(now, self.limits).filter_map(drift))
    }

    /// What it lost by itself: balancing took from its siblings what would have shown more of it. All of what balancing
    /// was due to do is left open. What was bled from the cell itself stays in: that may be the bleeder that is stuck.
    fn by_itself(&self, cell: usize, old: &Visit, now: &Visit, fell: &Span) -> Option<Span> {
        let mut hours: Vec<f64> = now.bled.iter().zip(&old.bled).map(|(now, old)| now - old).collect();
        let own = *hours.get(cell)?;
        hours.sort_by(f64::total_cmp);
        let bled = (hours.get(hours.len() / 2)? - own).max(0.0) * self.bleed;
        Some(fell.plus(&Span::around(bled, bled)))
    }
}

/// How much earlier a cell came than at a visit before, against what the others of the row moved: where a cell passes
/// others on its way, the median of all passes from one of them to the next, and is no fixed point.
fn moved(cell: usize, before: &Visit, now: &Visit) -> Option<Span> {
    let of_each = now.ahead.iter().zip(&before.ahead).map(|(now, before)| Some(now.best? - before.best?));
    let others = of_each.enumerate().filter(|(other, _)| *other != cell).filter_map(|(_, moved)| moved);
    let most_are_known = 2 * others.clone().count() + 1 >= now.ahead.len();
    let rest = median_of::<MAX_CELLS>(others).filter(|_| most_are_known).unwrap_or(0.0);
    Some(now.ahead.get(cell)?.less(before.ahead.get(cell)?).less(&Span::around(rest, 0.0)))
}

/// The one that shows more for certain; what is known on both sides before a bound.
pub(super) fn surest(drifts: impl IntoIterator<Item = Drift>) -> Option<Drift> {
    let low = |drift: &Drift| drift.lost.low.unwrap_or(0.0);
    let known = |drift: &Drift| drift.lost.best.is_some() && low(drift) > 0.0;
    drifts.into_iter().max_by(|a, b| known(a).cmp(&known(b)).then(low(a).total_cmp(&low(b))))
}

/// Days from one moment to a later one.
pub(super) fn days(from: Stamp, to: Stamp) -> f64 {
    to.since(from) / 86_400.0
}

fn apart(one: Stamp, other: Stamp) -> f64 {
    days(one, other).abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A visit of the bottom; by cell, how much charge is left in it, Ah.
    fn visit(day: i64, left: [f64; 4]) -> Visit {
        let mut sorted = left;
        sorted.sort_by(f64::total_cmp);
        let median = (sorted[1] + sorted[2]) / 2.0;
        let mut visit = Visit::new(Stamp::from_secs(day * 86_400), &[], &[]);
        visit.ahead = left.iter().map(|left| Span::around(median - left, 0.1)).collect();
        visit
    }

    /// Figures of a simulated row of 90 Ah: the third cell loses 1.8 Ah in thirteen days and comes from the last to the
    /// first; the median, between the two in the middle, moves by half an ampere-hour on the way.
    #[test]
    fn a_cell_that_passes_the_others_lost_what_it_moved_against_them() {
        let then = visit(1, [6.87, 7.13, 7.38, 6.14]);
        let now = visit(14, [7.64, 7.94, 6.34, 6.92]);
        let lost = moved(2, &then, &now).and_then(|span| span.best).expect("known");
        assert!((lost - 1.82).abs() < 0.01, "{lost}");
        for sibling in [0, 1, 3] {
            let lost = moved(sibling, &then, &now).and_then(|span| span.best).expect("known");
            assert!(lost.abs() < 0.05, "{sibling}: {lost}");
        }
    }
}

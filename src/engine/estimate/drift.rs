//! What a cell loses against its siblings, from visit to visit of the same end of the charge.

use super::visit::{Span, Visit};
use crate::model::Stamp;
use crate::model::limits::{L, Limits};
use serde::{Deserialize, Serialize};

/// Visits that are kept for comparison over time.
const KEPT: usize = 8;
/// Days between two that are kept.
pub(super) const EVERY: f64 = 2.5;
/// What was lost is told so much too small or too large at the bottom, as a share of it: cells do not come to the mark with
/// the same charge left in them; judgement.
const LOW_OFF: f64 = 0.25;
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
        self.0.iter().filter(|old| days(old.at, visit.at) >= limits.get(L::DriftDays))
    }

    /// How far a cell stood behind at the visit nearest to a moment, if one of those days saw it.
    fn behind(&self, cell: usize, at: Stamp, limits: &Limits) -> Option<Span> {
        let near = |visit: &&Visit| apart(visit.at, at) <= limits.get(L::DriftDays);
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
            let lost = self.by_itself(cell, top, now, &top.ahead.get(cell)?.less(now.ahead.get(cell)?))?;
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
            let off = LOW_OFF * fell.best.unwrap_or(0.0).abs();
            let lost = self.by_itself(cell, bottom, now, &fell)?.plus(&Span::around(0.0, off));
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

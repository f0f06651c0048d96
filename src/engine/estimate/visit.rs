//! What one visit of a knee says of every cell: how far it stands ahead of the median, in ampere-hours.

use super::knee::Arrival;
use crate::model::Stamp;
use serde::{Deserialize, Serialize};

/// A figure with what bounds it, in Ah. Either end may be open.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Span {
    /// Best value; none when only a bound is known.
    pub best: Option<f64>,
    /// At least.
    pub low: Option<f64>,
    /// At most.
    pub high: Option<f64>,
}

impl Span {
    /// A figure with its half width.
    #[must_use]
    pub fn around(best: f64, off: f64) -> Self {
        Self { best: Some(best), low: Some(best - off), high: Some(best + off) }
    }

    /// Half width of what is bounded on both sides.
    #[must_use]
    pub fn half(&self) -> Option<f64> {
        Some((self.high? - self.low?) / 2.0)
    }

    /// This less another, with the errors of both.
    #[must_use]
    pub fn less(&self, other: &Self) -> Self {
        match (self.best, self.half(), other.best, other.half()) {
            (Some(a), Some(off), Some(b), Some(other_off)) => Self::around(a - b, off.hypot(other_off)),
            _ => {
                let low = self.low.zip(other.high).map(|(a, b)| a - b);
                let high = self.high.zip(other.low).map(|(a, b)| a - b);
                Self { best: None, low, high }
            }
        }
    }

    /// The sum of two figures, with the errors of both.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        self.less(&other.negative())
    }

    /// The same the other way round.
    #[must_use]
    pub fn negative(&self) -> Self {
        Self { best: self.best.map(|n| -n), low: self.high.map(|n| -n), high: self.low.map(|n| -n) }
    }
}

/// One visit of a knee.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Visit {
    /// Engine time.
    pub at: Stamp,
    /// By cell: how far it arrives before the median of the cells.
    pub ahead: Vec<Span>,
    /// By cell: how far it arrives before the last.
    pub before_last: Vec<Span>,
    /// From the first cell's arrival to the last's; a bound when some had not come.
    pub spread: Span,
    /// The cell that stands furthest from the median.
    pub odd: Option<u8>,
    /// By cell: hours of balancing so far in which it was bled and the lowest was not.
    pub bled: Vec<f64>,
}

impl Visit {
    /// Every cell came to the mark.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.spread.best.is_some()
    }

    /// The cell that comes last.
    #[must_use]
    pub fn last(&self) -> Option<usize> {
        self.before_last.iter().position(|span| span.best == Some(0.0) && span.half() == Some(0.0))
    }

    /// What the arrivals of a sweep say.
    #[must_use]
    pub fn new(at: Stamp, arrivals: &[Arrival], bled: &[f64]) -> Self {
        let mut order: Vec<&Arrival> = arrivals.iter().collect();
        order.sort_by(|a, b| a.after.total_cmp(&b.after));
        let came = |arrival: &&Arrival| arrival.came;
        let all = arrivals.iter().all(|arrival| arrival.came);
        let median = median(&order);
        let span = |from: &Arrival, to: &Arrival| pair(from, to);
        let last = order.iter().rev().find(|a| !a.came).or(order.last());
        let before_last = |cell: &Arrival| match last {
            Some(last) if !std::ptr::eq(*last, cell) => span(cell, last),
            _ => Span::around(0.0, 0.0),
        };
        let first = order.iter().copied().find(came);
        let spread = match (first, last) {
            (Some(first), Some(last)) => {
                let span = span(first, last);
                Span { low: span.low.map(|low| low.max(0.0)), best: span.best.map(|best| best.max(0.0)), ..span }
            }
            _ => Span::default(),
        };
        let spread = if all { spread } else { Span { best: None, high: None, ..spread } };
        let ahead: Vec<Span> =
            arrivals.iter().map(|cell| median.map_or(Span::default(), |mid| mid.less_cell(cell))).collect();
        let odd = odd(&ahead);
        Self {
            at,
            before_last: arrivals.iter().map(before_last).collect(),
            ahead,
            spread,
            odd,
            bled: bled.iter().copied().chain(std::iter::repeat(0.0)).take(arrivals.len()).collect(),
        }
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        let most = crate::model::MAX_CELLS;
        self.ahead.len() <= most && self.before_last.len() <= most && self.bled.len() <= most
    }
}

/// Charge between two arrivals.
fn pair(from: &Arrival, to: &Arrival) -> Span {
    let (apart, off) = (to.after - from.after, from.off.hypot(to.off));
    match (from.came, to.came) {
        (true, true) => Span::around(apart, off),
        (true, false) => Span { low: Some(apart - off), ..Span::default() },
        (false, true) => Span { high: Some(apart + off), ..Span::default() },
        (false, false) => Span::default(),
    }
}

/// When the median cell arrives: exactly, or at least so late.
#[derive(Debug, Clone, Copy)]
struct Median {
    after: f64,
    off: f64,
    came: bool,
}

fn median(order: &[&Arrival]) -> Option<Median> {
    let count = order.len();
    let (low, high) = (order.get(count.checked_sub(1)? / 2)?, order.get(count / 2)?);
    Some(Median {
        after: (low.after + high.after) / 2.0,
        off: (low.off + high.off) / 2.0, // what the current did to one it did to the other: no chance makes it less
        came: low.came && high.came,
    })
}

impl Median {
    /// How far a cell arrives before the median.
    fn less_cell(&self, cell: &Arrival) -> Span {
        pair(cell, &Arrival { after: self.after, off: self.off, came: self.came })
    }
}

/// The cell furthest from the median, by what is certain of it.
fn odd(ahead: &[Span]) -> Option<u8> {
    let far = |span: &Span| match (span.best, span.low, span.high) {
        (Some(best), ..) => best.abs(),
        (None, Some(low), _) => low.max(0.0),
        (None, None, Some(high)) => (-high).max(0.0),
        _ => 0.0,
    };
    let (cell, most) = ahead.iter().map(far).enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    (most > 0.0).then_some(cell as u8)
}

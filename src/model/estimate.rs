//! An estimate, and how it is told.

use super::figure::{figure, one_of};
use super::{Stamp, Subject};

/// An estimate that is no older than this is one of now, s.
const LATELY: f64 = 90.0;

/// An estimate: a value with bounds, or why it is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// Name with its unit, as in JSON.
    pub name: &'static str,
    /// About what.
    pub subject: Subject,
    /// Best value.
    pub value: Option<f64>,
    /// Lower bound.
    pub low: Option<f64>,
    /// Upper bound.
    pub high: Option<f64>,
    /// The moment for which it holds.
    pub as_of: Option<Stamp>,
    /// Why it is missing.
    pub why: Option<String>,
}

impl Estimate {
    /// One that is known.
    #[must_use]
    pub const fn known(name: &'static str, subject: Subject, value: f64) -> Self {
        Self { name, subject, value: Some(value), low: None, high: None, as_of: None, why: None }
    }

    /// One that is not known, and why.
    #[must_use]
    pub fn unknown(name: &'static str, subject: Subject, why: impl Into<String>) -> Self {
        Self { name, subject, value: None, low: None, high: None, as_of: None, why: Some(why.into()) }
    }

    /// The same with its bounds.
    #[must_use]
    pub fn within(self, low: f64, high: f64) -> Self {
        Self { low: Some(low), high: Some(high), ..self }
    }

    /// The same, for this moment.
    #[must_use]
    pub fn at(self, moment: Stamp) -> Self {
        Self { as_of: Some(moment), ..self }
    }

    /// The same with what goes with it.
    #[must_use]
    pub fn because(self, why: impl Into<String>) -> Self {
        Self { why: Some(why.into()), ..self }
    }

    /// Neither a value nor a bound.
    #[must_use]
    pub const fn says_nothing(&self) -> bool {
        self.value.is_none() && self.low.is_none() && self.high.is_none()
    }

    /// The moment for which it holds, when that is not `now`.
    #[must_use]
    pub fn earlier_than(&self, now: Option<Stamp>) -> Option<Stamp> {
        self.as_of.filter(|at| now.is_none_or(|now| now.since(*at) > LATELY))
    }

    /// The figure with its bounds and unit; numbers as `shown` writes them.
    #[must_use]
    pub fn figure(&self, shown: impl Fn(f64) -> String) -> String {
        let unit = figure(self.name).map_or("", |figure| figure.unit);
        let whole = |value: f64| {
            let text = shown(value);
            let unit = one_of(&text, unit);
            if unit.is_empty() { text } else { format!("{text} {unit}") }
        };
        let bounds = match (self.low, self.high) {
            (Some(low), Some(high)) if shown(low) == shown(high) => String::new(),
            (Some(low), Some(high)) => format!(" (between {} and {})", shown(low), shown(high)),
            (Some(low), None) => format!(" (at least {})", whole(low)),
            (None, Some(high)) => format!(" (at most {})", whole(high)),
            (None, None) => String::new(),
        };
        self.value.map_or_else(|| format!("not known{bounds}"), |best| format!("{}{bounds}", whole(best)))
    }
}

//! What was seen and could not be told: it stays open until something settles it, so that it is never silently 'well'.

use super::{Answer, Bench, Court, Why};
use crate::engine::case::Moment;
use crate::model::Stamp;
use crate::model::finding::Subject;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// Charge into the pack that hides what a rest would have shown, as a share of the capacity.
const HIDES: f64 = 0.002;
/// Seconds in a day.
const DAY: f64 = 86_400.0;

/// A sign that may be one or nothing, for want of some data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sighting {
    /// About what.
    pub subject: Subject,
    /// What is missing to tell.
    pub why: Why,
    /// Voltage as read, V.
    pub volts: f64,
    /// Readings of it since the start.
    pub count: u32,
}

/// A sighting over time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    subject: Subject,
    why: Why,
    /// Lowest voltage as read, V.
    volts: f64,
    /// Readings when it began.
    count: u32,
    /// Since when it goes on, engine time; none when it is over.
    since: Option<Stamp>,
    /// When it was last seen, once it went on for long enough.
    last: Option<Moment>,
    /// What had been charged when it was last seen, Ah.
    charged: f64,
}

impl Doubt {
    /// Charge is counted from nought again: what was counted since it was seen does not show any more.
    pub fn count_from_nought(&mut self) {
        self.charged = 0.0;
    }

    /// In words, while it is open: for as long as a past finding counts.
    #[must_use]
    pub fn words(&self, now: Stamp, limits: &Limits) -> Option<String> {
        let last = self.last.filter(|last| now.since(last.engine) <= limits.get(LimitId::VerdictRemembers) * DAY)?;
        let (subject, volts, why) = (self.subject, self.volts, self.why.words());
        let moment = format!("{:.0}", last.wall).replace('T', " ").replace('Z', " UTC");
        let when = if self.since.is_some() { String::new() } else { format!(", last at {moment}") };
        Some(format!("{why} to tell how much of it the load took, when {subject} fell to {volts:.2} V{when}"))
    }
}

impl Court<'_> {
    /// Whether anything is open.
    #[must_use]
    pub fn has_doubt(&self) -> bool {
        self.answer.doubt.is_some()
    }

    /// Takes down what may be a sign and cannot be told, or that there is none now. It counts once two readings and the
    /// hold have passed; a rest settles it, as long as nothing was charged between.
    pub fn doubts(&mut self, bench: &Bench, seen: Option<Sighting>, hold_secs: f64) {
        let (now, charged) = (self.now, bench.pack.estimates.charge.charged);
        let Some(seen) = seen else {
            let rests = bench
                .pack
                .estimates
                .rest
                .quiet_since()
                .is_some_and(|since| now.engine.since(since) >= bench.limits.get(LimitId::UndervoltageRestSeconds));
            let hides = HIDES * bench.view.capacity.unwrap_or(0.0);
            let over = |doubt: &mut Doubt| doubt.last.is_none() || (rests && charged - doubt.charged <= hides);
            if let Some(doubt) = &mut self.answer.doubt {
                doubt.since = None;
            }
            self.answer.doubt.take_if(over);
            return;
        };
        let Sighting { subject, why, volts, count } = seen;
        let new = Doubt { subject, why, volts, count, since: None, last: None, charged };
        let doubt = self.answer.doubt.get_or_insert(new);
        if doubt.since.is_none() {
            (doubt.count, doubt.since) = (count, Some(now.engine));
        }
        if volts < doubt.volts {
            (doubt.subject, doubt.volts) = (subject, volts);
        }
        let held = doubt.since.is_some_and(|since| now.engine.since(since) >= hold_secs) && count > doubt.count;
        if held {
            (doubt.why, doubt.last, doubt.charged) = (why, Some(now), charged);
        }
    }
}

impl Answer {
    /// Why it is not judged now, or what it left open.
    #[must_use]
    pub fn words(&self, now: Stamp, limits: &Limits) -> Option<String> {
        let open = || self.doubt.and_then(|doubt| doubt.words(now, limits));
        self.why.map(|why| why.words().to_owned()).or_else(open)
    }
}

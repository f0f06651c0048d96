//! Where in the log we are, how fast, and what is known of the whole of it.

use crate::model::finding::{Episode, Severity};
use crate::model::snapshot::Verdict;
use crate::model::{Stamp, Subject};

/// Where the inputs come from, to be said on the screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// Recorded logs, by name.
    Log(String),
    /// What comes now.
    Live(Live),
    /// A bank that is not real: the scenario's name and what happens in it.
    Invented {
        /// Name of the scenario.
        name: String,
        /// One line about it.
        about: String,
    },
}

/// How a live run is doing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Live {
    /// Each source: whether it delivers, and a sentence about it.
    pub links: Vec<(bool, String)>,
    /// Where it is recorded.
    pub recording: Option<String>,
}

impl Default for Origin {
    fn default() -> Self {
        Self::Log(String::new())
    }
}

/// An alert as a mark on the time line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// The moment at which it became an alert.
    pub raised: Stamp,
    /// The alert.
    pub episode: Episode,
}

impl Mark {
    /// Whether this is the alert of that rule about that subject.
    #[must_use]
    pub fn is_about(&self, rule: u16, subject: Subject) -> bool {
        self.episode.rule == rule && self.episode.subject == subject
    }

    /// How bad it was.
    #[must_use]
    pub const fn severity(&self) -> Severity {
        self.episode.severity
    }
}

/// How far the reading of the whole log has come.
#[derive(Debug, Clone, PartialEq)]
pub enum Scan {
    /// So much of it, 0 to 1.
    Reading(f64),
    /// All of it: the verdict at its end and over everything in it.
    Done(Verdict),
    /// It stopped, and why.
    Failed(String),
}

impl Default for Scan {
    fn default() -> Self {
        Self::Reading(0.0)
    }
}

/// State of the replay.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Transport {
    /// Where the inputs come from.
    pub origin: Origin,
    /// First stamp of the log.
    pub first: Option<Stamp>,
    /// Last stamp of the log; while the scan runs, as far as can be told.
    pub last: Option<Stamp>,
    /// The moment that is shown.
    pub at: Option<Stamp>,
    /// Seconds of the log in a second.
    pub speed: f64,
    /// Held.
    pub paused: bool,
    /// The end is reached.
    pub ended: bool,
    /// On the way to another place.
    pub seeking: bool,
    /// The scan of the whole log.
    pub scan: Scan,
    /// Alerts of the whole log as far as scanned, in the order in which they were raised.
    pub marks: Vec<Mark>,
    /// Reading stopped here, and why.
    pub trouble: Option<String>,
}

impl Transport {
    /// Speeds that the keys step through, seconds of the log in a second.
    pub const SPEEDS: [f64; 8] = [1.0, 5.0, 20.0, 60.0, 300.0, 1800.0, 7200.0, 43_200.0];

    /// The speed in words.
    #[must_use]
    pub fn pace(&self) -> String {
        match self.speed {
            1.0 => "as it was".to_owned(),
            s if s < 60.0 => format!("{s:.0} s in a second"),
            s if s < 3600.0 => format!("{:.0} min in a second", s / 60.0),
            s => format!("{:.0} h in a second", s / 3600.0),
        }
    }

    /// The next faster or slower speed.
    #[must_use]
    pub fn next_speed(&self, faster: bool) -> f64 {
        let found = if faster {
            Self::SPEEDS.iter().find(|s| **s > self.speed)
        } else {
            Self::SPEEDS.iter().rev().find(|s| **s < self.speed)
        };
        found.copied().unwrap_or(self.speed)
    }

    /// The live run, if it is one.
    #[must_use]
    pub fn live(&self) -> Option<&Live> {
        if let Origin::Live(live) = &self.origin { Some(live) } else { None }
    }

    /// Place of a moment in the log, 0 to 1; none while the log's ends are not known.
    #[must_use]
    pub fn fraction(&self, at: Stamp) -> Option<f64> {
        let (first, last) = (self.first?, self.last?);
        let whole = last.since(first);
        if whole <= 0.0 {
            return Some(0.0);
        }
        Some((at.since(first) / whole).clamp(0.0, 1.0))
    }

    /// The moment at a place in the log.
    #[must_use]
    pub fn moment(&self, fraction: f64) -> Option<Stamp> {
        let (first, last) = (self.first?, self.last?);
        Some(first.plus_secs(last.since(first) * fraction.clamp(0.0, 1.0)))
    }

    /// The next alert after the moment shown.
    #[must_use]
    pub fn next_mark(&self) -> Option<&Mark> {
        let at = self.at?;
        self.marks.iter().find(|mark| mark.raised > at)
    }

    /// The alert before the moment shown.
    #[must_use]
    pub fn mark_before(&self) -> Option<&Mark> {
        let at = self.at?;
        self.marks.iter().rev().find(|mark| mark.raised < at)
    }
}

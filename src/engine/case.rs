//! The life of an alert: pending, active, cleared. One case for each condition and what it is about.

use crate::model::finding::{Episode, Evidence, Fact, Severity, Subject};
use crate::model::{BankEvent, Stamp};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A condition that comes back within this time goes on as the same episode, s.
const SAME_EPISODE_SECS: f64 = 600.0;
/// Episodes that are kept for the time line.
const EPISODES_KEPT: usize = 256;
/// Cases that work on the bank ended, which are kept.
const ENDED_KEPT: usize = 256;

/// A moment on both clocks: the engine's for reckoning, the wall's for people.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// Engine time.
    pub engine: Stamp,
    /// Wall time of the inputs.
    pub wall: Stamp,
}

/// What a rule says of one severity at one tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sign {
    /// The severity.
    pub severity: Severity,
    /// Whether the condition is met now.
    pub met: bool,
    /// Whether it still holds for a finding that is active (the threshold less its hysteresis).
    pub keeps: bool,
    /// For how long it must be met, s.
    pub hold_secs: f64,
    /// How many readings must have met it.
    pub readings: u32,
    /// Readings of the value since the start.
    pub count: u32,
    /// How many of them came since the last tick and met it; 1 when only the standing value did.
    pub already: u32,
}

impl Sign {
    /// A sign without a hold, for which one reading is enough.
    #[must_use]
    pub const fn new(severity: Severity, met: bool, keeps: bool) -> Self {
        Self { severity, met, keeps, hold_secs: 0.0, readings: 1, count: 1, already: 1 }
    }

    /// It must be met for this long, s.
    #[must_use]
    pub const fn held(mut self, secs: f64) -> Self {
        self.hold_secs = secs;
        self
    }

    /// It must be met by `readings` readings; `count` have come since the start, `already` of them met it since the last tick.
    #[must_use]
    pub const fn read(mut self, readings: u32, count: u32, already: u32) -> Self {
        self.readings = readings;
        self.count = count;
        self.already = already;
        self
    }
}

/// Waiting for the hold to pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Timer {
    since: Moment,
    /// Readings when it began, less those that already met it.
    count: u32,
    hold_secs: f64,
}

/// A condition about one subject.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Case {
    timers: [Option<Timer>; 3],
    /// Severity at which it is active now.
    active: Option<Severity>,
    /// Worst severity that was ever found; none while only pending.
    pub worst: Option<Severity>,
    /// When it was first met.
    pub first: Moment,
    /// When it was last met.
    pub last: Moment,
    /// How often it came.
    pub episodes: u32,
    /// Seconds in which it was active.
    pub total_secs: f64,
    /// Figures.
    pub evidence: Evidence,
    /// Somebody has seen it.
    pub acknowledged: bool,
    /// A number of the rule's own choosing that tells kinds of the condition apart in words.
    pub kind: u8,
}

impl Case {
    fn new(now: Moment) -> Self {
        Self {
            timers: [None; 3],
            active: None,
            worst: None,
            first: now,
            last: now,
            episodes: 0,
            total_secs: 0.0,
            evidence: Evidence::default(),
            acknowledged: false,
            kind: 0,
        }
    }

    /// Whether it is active now.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.active.is_some()
    }

    /// Severity at which it is active now.
    #[must_use]
    pub fn active(&self) -> Option<Severity> {
        self.active
    }

    fn is_pending(&self) -> bool {
        self.timers.iter().any(Option::is_some)
    }

    /// Moves the life cycle on; returns whether an episode began.
    fn advance(&mut self, now: Moment, signs: &[Sign]) -> bool {
        let mut reached = None;
        let mut kept = None;
        for sign in signs {
            let slot = &mut self.timers[sign.severity as usize];
            if sign.met {
                let timer = slot.get_or_insert(Timer {
                    since: now,
                    count: sign.count.saturating_sub(sign.already.max(1)),
                    hold_secs: sign.hold_secs,
                });
                let long_enough = now.engine.since(timer.since.engine) >= sign.hold_secs;
                let often_enough = sign.count.saturating_sub(timer.count) >= sign.readings;
                if long_enough && often_enough {
                    reached = reached.max(Some((sign.severity, timer.since.engine, timer.since.wall)));
                }
            } else {
                *slot = None;
            }
            if sign.keeps && self.active >= Some(sign.severity) {
                kept = kept.max(Some(sign.severity));
            }
        }
        let was_active = self.active.is_some();
        let next = reached.map(|(severity, ..)| severity).max(kept);
        self.active = next;
        let Some(severity) = next else { return false };
        let escalated = self.worst < Some(severity);
        self.worst = self.worst.max(Some(severity));
        if escalated {
            self.acknowledged = false;
        }
        if was_active {
            self.total_secs += now.engine.since(self.last.engine).max(0.0);
            self.last = now;
            return false;
        }
        let (engine, wall) = reached.map_or((now.engine, now.wall), |(_, engine, wall)| (engine, wall));
        let begins = self.episodes == 0 || engine.since(self.last.engine) > SAME_EPISODE_SECS;
        if self.episodes == 0 {
            self.first = Moment { engine, wall };
        }
        self.total_secs += now.engine.since(engine).max(0.0);
        self.last = now;
        self.episodes += u32::from(begins);
        if begins {
            self.acknowledged = false;
        }
        begins
    }

    /// When the next hold passes; none when nothing waits for time alone.
    fn due(&self, now: Stamp) -> Option<Stamp> {
        self.timers.iter().flatten().map(|t| t.since.engine.plus_secs(t.hold_secs)).filter(|due| *due > now).min()
    }
}

/// A case that an event in the bank's history ended: what it was about is no longer so, or no longer there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ended {
    /// Its rule.
    pub rule: u16,
    /// What it was about.
    pub subject: Subject,
    /// The case.
    pub case: Case,
    /// What ended it.
    pub by: BankEvent,
}

/// All cases, by rule and subject.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Cases {
    cases: BTreeMap<(u16, Subject), Case>,
    /// Those that work on the bank ended, oldest first.
    ended: Vec<Ended>,
    episodes: Vec<Episode>,
    /// Counts changes that a screen or a script wants to hear of.
    changes: u64,
}

impl Cases {
    /// Whether this rule has any case, pending or found.
    #[must_use]
    pub fn any(&self, rule: u16) -> bool {
        !self.cases.is_empty()
            && self.cases.range((rule, Subject::default())..).next().is_some_and(|((r, _), _)| *r == rule)
    }

    /// The case of a rule about a subject.
    #[must_use]
    pub fn get(&self, rule: u16, subject: Subject) -> Option<&Case> {
        self.cases.get(&(rule, subject))
    }

    /// Every case that was found, in the order of rules and subjects.
    pub fn found(&self) -> impl Iterator<Item = (u16, Subject, &Case)> {
        self.cases
            .iter()
            .filter(|(_, case)| case.worst.is_some())
            .map(|((rule, subject), case)| (*rule, *subject, case))
    }

    /// Cases that work on the bank ended, oldest first.
    #[must_use]
    pub fn ended(&self) -> &[Ended] {
        &self.ended
    }

    /// Ends what an event takes the ground of: it stays as found before, and what comes of it later is another case.
    pub fn end_with(&mut self, event: &BankEvent, ends: impl Fn(u16, Subject) -> bool) {
        let gone: Vec<(u16, Subject)> =
            self.cases.keys().copied().filter(|(rule, subject)| ends(*rule, *subject)).collect();
        for (rule, subject) in gone {
            let Some(mut case) = self.cases.remove(&(rule, subject)) else { continue };
            self.changes += u64::from(case.is_active());
            for episode in self.episodes.iter_mut().filter(|e| e.rule == rule && e.subject == subject) {
                episode.active = false;
            }
            (case.active, case.timers) = (None, [None; 3]);
            if case.worst.is_some() {
                self.ended.push(Ended { rule, subject, case, by: event.clone() });
            }
        }
        let over = self.ended.len().saturating_sub(ENDED_KEPT);
        self.ended.drain(..over);
    }

    /// Whether a state from elsewhere keeps no more than it may.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.ended.len() <= ENDED_KEPT
    }

    /// The latest episodes, oldest first.
    #[must_use]
    pub fn episodes(&self) -> &[Episode] {
        &self.episodes
    }

    /// Rises with every beginning, end, change of severity and acknowledgement.
    #[must_use]
    pub fn changes(&self) -> u64 {
        self.changes
    }

    /// Takes what a rule says about a subject, with its figures while it is met.
    pub fn sign(&mut self, key: (u16, Subject), now: Moment, signs: &[Sign], facts: &[(Fact, f64)]) {
        let (rule, subject) = key;
        let met = signs.iter().any(|sign| sign.met);
        if !met && !self.cases.contains_key(&(rule, subject)) {
            return;
        }
        let case = self.cases.entry((rule, subject)).or_insert_with(|| Case::new(now));
        let (before, was_worst) = (case.active, case.worst);
        let begins = case.advance(now, signs);
        if met || case.is_active() {
            if case.worst.is_none() && !case.is_pending() {
                case.evidence = Evidence::default();
            }
            for (fact, value) in facts {
                case.evidence.note(*fact, *value);
            }
        }
        if begins {
            let first = if case.episodes == 1 { case.first.wall } else { now.wall };
            let severity = case.active.unwrap_or(Severity::Notice);
            self.episodes.push(Episode { rule, subject, severity, first, last: now.wall, active: true });
        }
        if (case.is_active() || before.is_some())
            && let Some(episode) = self.episodes.iter_mut().rev().find(|e| e.rule == rule && e.subject == subject)
        {
            episode.last = now.wall;
            episode.active = case.is_active();
            episode.severity = episode.severity.max(case.active.unwrap_or(Severity::Notice));
        }
        self.changes += u64::from(case.active != before || case.worst != was_worst);
        if case.worst.is_none() && !case.is_pending() {
            self.cases.remove(&(rule, subject));
        }
        if self.episodes.len() > EPISODES_KEPT {
            self.episodes.remove(0);
        }
    }

    /// Ends every active case of a rule about subjects that `gone` names: the data it stood on is no longer there.
    pub fn close(&mut self, rule: u16, gone: impl Fn(Subject) -> bool, now: Moment) {
        let open: Vec<Subject> = self
            .cases
            .range((rule, Subject::default())..)
            .take_while(|((r, _), _)| *r == rule)
            .map(|((_, s), _)| *s)
            .filter(|s| gone(*s))
            .collect();
        for subject in open {
            self.sign((rule, subject), now, &no_signs(), &[]);
        }
    }

    /// Takes back a finding that later data explained otherwise.
    pub fn retract(&mut self, rule: u16, since: Stamp) {
        let taken: Vec<Stamp> = self
            .cases
            .iter()
            .filter(|((r, _), case)| *r == rule && case.first.engine >= since)
            .map(|(_, c)| c.first.wall)
            .collect();
        self.cases.retain(|(r, _), case| *r != rule || case.first.engine < since);
        if let Some(from) = taken.into_iter().min() {
            self.episodes.retain(|episode| episode.rule != rule || episode.first < from);
        }
        self.changes += 1;
    }

    /// Marks a case as seen.
    pub fn acknowledge(&mut self, rule: u16, subject: Subject) {
        if let Some(case) = self.cases.get_mut(&(rule, subject)) {
            case.acknowledged = true;
            self.changes += 1;
        }
    }

    /// Forgets the figures of a case.
    pub fn forget_figures(&mut self, key: (u16, Subject)) {
        if let Some(case) = self.cases.get_mut(&key) {
            case.evidence = Evidence::default();
        }
    }

    /// Sets the number by which the rule tells kinds of its condition apart.
    pub fn set_kind(&mut self, rule: u16, subject: Subject, kind: u8) {
        if let Some(case) = self.cases.get_mut(&(rule, subject)) {
            case.kind = kind;
        }
    }

    /// When the next hold passes.
    #[must_use]
    pub fn due(&self, now: Stamp) -> Option<Stamp> {
        self.cases.values().filter_map(|case| case.due(now)).min()
    }
}

fn no_signs() -> [Sign; 3] {
    Severity::ALL.map(|severity| Sign::new(severity, false, false))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(secs: i64) -> Moment {
        Moment { engine: Stamp::from_secs(secs), wall: Stamp::from_secs(secs + 100) }
    }

    fn warning(met: bool, count: u32) -> [Sign; 1] {
        [Sign::new(Severity::Warning, met, met).held(5.0).read(2, count, 1)]
    }

    #[test]
    fn a_condition_is_pending_then_active_then_cleared() {
        let mut cases = Cases::default();
        let cell = Subject::cell(0, 2);
        for second in 0..5 {
            cases.sign((3, cell), at(second), &warning(true, second as u32 + 1), &[(Fact::PeakVolts, 3.8)]);
            assert_eq!(cases.found().count(), 0, "pending at second {second}");
        }
        assert_eq!(cases.due(Stamp::from_secs(4)), Some(Stamp::from_secs(5)));
        cases.sign((3, cell), at(5), &warning(true, 6), &[(Fact::PeakVolts, 3.9)]);
        let case = cases.get(3, cell).unwrap();
        assert_eq!((case.active(), case.first, case.episodes), (Some(Severity::Warning), at(0), 1));
        assert_eq!(case.evidence.get(Fact::PeakVolts), Some(3.9));
        cases.sign((3, cell), at(9), &warning(false, 9), &[]);
        let case = cases.get(3, cell).unwrap();
        assert_eq!((case.active(), case.worst, case.last), (None, Some(Severity::Warning), at(5)));
    }

    #[test]
    fn what_never_lasted_leaves_no_trace() {
        let mut cases = Cases::default();
        cases.sign((0, Subject::BANK), at(0), &warning(true, 1), &[]);
        cases.sign((0, Subject::BANK), at(1), &warning(false, 2), &[]);
        assert_eq!(cases, Cases { changes: cases.changes, ..Cases::default() });
    }

    #[test]
    fn one_reading_is_not_two_however_long_it_stands() {
        let mut cases = Cases::default();
        cases.sign((0, Subject::BANK), at(0), &warning(true, 1), &[]);
        cases.sign((0, Subject::BANK), at(60), &warning(true, 1), &[]);
        assert_eq!(cases.found().count(), 0);
    }
}

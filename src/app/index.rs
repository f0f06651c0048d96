//! The whole log read once beside the screen: saved states to seek from, alerts as marks, the verdict at its end.

use super::tape::{Steady, Tape};
use crate::model::{Body, Input, Snapshot, Stamp};
use crate::pipeline::{Pipeline, SavedState};
use crate::tui::Mark;
use crate::tui::transport::Scan;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Inputs between two saved states, while there are few.
const STATE_EVERY: u64 = 500_000;
/// Most saved states; when they are more, every second one goes and their distance doubles.
const MOST_STATES: usize = 64;
/// Most marks that are kept.
const MOST_MARKS: usize = 4096;
/// Inputs between two looks at the outside.
const LOOK_EVERY: u64 = 1 << 14;

/// A state to seek from.
pub(super) struct Keyframe<P> {
    /// Steady time of the last input before it.
    pub at: Stamp,
    /// The clock's steps so far.
    pub steady: Steady,
    /// Place in the log.
    pub place: P,
    /// The pipeline's state.
    pub state: SavedState,
}

/// What is known of the whole log.
pub(super) struct Index<P> {
    /// States to seek from, in order.
    pub states: Vec<Arc<Keyframe<P>>>,
    /// Alerts, in the order in which they were raised.
    pub marks: Vec<Mark>,
    /// Steady time of the first input.
    pub first: Option<Stamp>,
    /// Steady time of the last input; estimated from what was read while the scan runs.
    pub last: Option<Stamp>,
    /// How far it is.
    pub scan: Scan,
    /// Inputs between two saved states.
    pub every: u64,
}

impl<P> Default for Index<P> {
    fn default() -> Self {
        Self {
            states: Vec::new(),
            marks: Vec::new(),
            first: None,
            last: None,
            scan: Scan::default(),
            every: STATE_EVERY,
        }
    }
}

/// The index, shared between the scan and the screen.
pub(super) struct Shared<P>(Arc<Mutex<Index<P>>>, Arc<AtomicBool>);

impl<P> Clone for Shared<P> {
    fn clone(&self) -> Self {
        Self(Arc::clone(&self.0), Arc::clone(&self.1))
    }
}

impl<P> Default for Shared<P> {
    fn default() -> Self {
        Self(Arc::default(), Arc::default())
    }
}

impl<P: Clone + Send + Sync + 'static> Shared<P> {
    /// The index as it is now.
    pub(super) fn look(&self) -> MutexGuard<'_, Index<P>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The last saved state at or before a moment.
    pub(super) fn before(&self, moment: Stamp) -> Option<Arc<Keyframe<P>>> {
        let index = self.look();
        index.states.iter().rev().find(|state| state.at <= moment).cloned()
    }

    /// Asks the scan to stop.
    pub(super) fn stop(&self) {
        self.1.store(true, Ordering::Relaxed);
    }

    fn is_stopped(&self) -> bool {
        self.1.load(Ordering::Relaxed)
    }

    /// Reads the whole tape on a thread of its own.
    pub(super) fn scan<T>(&self, open: impl FnOnce() -> Result<T, String> + Send + 'static, fresh: Pipeline)
    where
        T: Tape<Place = P>,
    {
        let shared = self.clone();
        let work = move || {
            let run = || open().and_then(|tape| Reading::new(tape, fresh, &shared).run());
            let ended = catch_unwind(AssertUnwindSafe(run)).unwrap_or_else(|_| Err("a defect of this program".into()));
            if let Err(why) = ended {
                shared.look().scan = Scan::Failed(why);
            }
        };
        if let Err(error) = std::thread::Builder::new().name("scan".into()).spawn(work) {
            self.look().scan = Scan::Failed(error.to_string());
        }
    }
}

/// The scan under way.
struct Reading<'a, T: Tape> {
    tape: T,
    pipeline: Pipeline,
    shared: &'a Shared<T::Place>,
    steady: Steady,
    now: Option<Stamp>,
    count: u64,
    since_state: u64,
    every: u64,
    changes: u64,
}

impl<'a, T: Tape> Reading<'a, T> {
    fn new(tape: T, pipeline: Pipeline, shared: &'a Shared<T::Place>) -> Self {
        let changes = pipeline.changes();
        let every = shared.look().every;
        Self { tape, pipeline, shared, steady: Steady::default(), now: None, count: 0, since_state: 0, every, changes }
    }

    fn run(mut self) -> Result<(), String> {
        let mut open_end = None;
        while let Some(input) = self.tape.next()? {
            self.take(&input);
            if self.count.is_multiple_of(LOOK_EVERY) {
                if self.shared.is_stopped() {
                    return Ok(());
                }
                self.publish(false);
            }
            open_end = (!matches!(input.body, Body::Closing)).then_some(input.stamp);
        }
        if let Some(stamp) = open_end {
            self.pipeline.push(&Input { stamp, body: Body::Closing });
        }
        self.mark();
        self.publish(true);
        Ok(())
    }

    fn take(&mut self, input: &Input) {
        let steady = self.steady.of(input);
        if self.now.is_none() {
            self.shared.look().first = Some(steady);
        }
        self.now = Some(steady);
        self.pipeline.push(input);
        if self.pipeline.changes() != self.changes {
            self.mark();
        }
        self.count += 1;
        self.since_state += 1;
        if self.since_state >= self.every {
            self.save(steady);
        }
    }

    /// Keeps a saved state when one is due.
    fn save(&mut self, at: Stamp) {
        self.since_state = 0;
        let Ok(state) = self.pipeline.save() else { return };
        let mut index = self.shared.look();
        index.states.push(Arc::new(Keyframe { at, steady: self.steady, place: self.tape.place(), state }));
        if index.states.len() > MOST_STATES {
            let mut at = 0;
            index.states.retain(|_| {
                at += 1;
                at % 2 == 0
            });
            self.every = self.every.saturating_mul(2);
        }
    }

    fn mark(&mut self) {
        self.changes = self.pipeline.changes();
        let Some(now) = self.now else { return };
        let snapshot = self.pipeline.snapshot();
        merge(&mut self.shared.look().marks, &snapshot, now);
    }

    fn publish(&self, done: bool) {
        let share = self.tape.share();
        let verdict = done.then(|| self.pipeline.snapshot().verdict);
        let mut index = self.shared.look();
        index.last = match (index.first, self.now, share) {
            (Some(first), Some(now), Some(share)) if !done && share > 0.001 => {
                Some(first.plus_secs(now.since(first) / share))
            }
            _ => self.now,
        };
        index.scan = verdict.map_or(Scan::Reading(share.unwrap_or(0.0)), Scan::Done);
    }
}

/// Takes the latest episodes into the marks. A mark stands where its alert became as bad as it got.
fn merge(marks: &mut Vec<Mark>, snapshot: &Snapshot, now: Stamp) {
    for episode in &snapshot.episodes {
        let same =
            |mark: &&mut Mark| mark.is_about(episode.rule, episode.subject) && mark.episode.first == episode.first;
        match marks.iter_mut().rev().find(same) {
            Some(mark) => {
                if episode.severity > mark.episode.severity {
                    mark.raised = now;
                }
                mark.episode = *episode;
            }
            None => marks.push(Mark { raised: now, episode: *episode }),
        }
    }
    marks.truncate(MOST_MARKS);
    // A finding that was withdrawn has no episode any more.
    if let Some(oldest) = snapshot.episodes.first() {
        marks.retain(|mark| mark.episode.first < oldest.first || snapshot.episodes.contains(&mark.episode));
    }
    marks.sort_by_key(|mark| mark.raised);
}

#[cfg(test)]
mod tests {
    use super::super::tape::Invented;
    use super::*;
    use crate::pipeline::Setup;
    use crate::sim::{Options, Simulation};

    type Place = <Invented as Tape>::Place;

    fn morning() -> Invented {
        let options = Options { seed: 1, days: Some(0.4), sample: Some(10.0) };
        Invented::new(Simulation::new("cold-morning", options).unwrap(), 0.4)
    }

    fn scanned(every: u64) -> Shared<Place> {
        let shared = Shared::default();
        shared.look().every = every;
        let fresh = Pipeline::new(Setup::default());
        Reading::new(morning(), fresh, &shared).run().unwrap();
        shared
    }

    #[test]
    fn the_scan_ends_with_the_verdict_the_marks_and_both_ends_of_the_log() {
        let shared = scanned(STATE_EVERY);
        let mut pipeline = Pipeline::new(Setup::default());
        let mut tape = morning();
        while let Some(input) = tape.next().unwrap() {
            pipeline.push(&input);
        }
        let whole = pipeline.snapshot();
        let index = shared.look();
        assert_eq!(index.scan, Scan::Done(whole.verdict));
        assert_eq!(index.last, whole.now);
        assert!(!whole.episodes.is_empty());
        let episodes: Vec<_> = index.marks.iter().map(|mark| mark.episode).collect();
        assert_eq!(episodes, whole.episodes);
    }

    #[test]
    fn states_are_thinned_to_a_fixed_number_and_stay_spread_over_the_log() {
        let shared = scanned(50);
        let index = shared.look();
        let count = index.states.len();
        assert!((MOST_STATES / 2..=MOST_STATES).contains(&count), "{count}");
        let gaps: Vec<f64> = index.states.windows(2).map(|pair| pair[1].at.since(pair[0].at)).collect();
        let (widest, narrowest) = (gaps.iter().copied().fold(0.0, f64::max), gaps.iter().copied().fold(1e9, f64::min));
        assert!(narrowest > 0.0 && widest < 3.0 * narrowest, "{narrowest} to {widest}");
    }

    #[test]
    fn a_tape_that_cannot_be_opened_is_told_and_a_defect_is_no_silence() {
        let shared: Shared<Place> = Shared::default();
        shared.scan(|| Err::<Invented, _>("the file is gone".to_owned()), Pipeline::new(Setup::default()));
        while shared.look().scan == Scan::Reading(0.0) {
            std::thread::yield_now();
        }
        assert_eq!(shared.look().scan, Scan::Failed("the file is gone".into()));
    }
}

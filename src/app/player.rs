//! Plays a tape into a pipeline: as fast as asked, held, a step at a time, or on the way to another moment.

use super::index::Shared;
use super::tape::{Steady, Tape};
use crate::engine::rule::key;
use crate::model::{Body, Input, Snapshot, Stamp, Subject};
use crate::pipeline::Pipeline;
use crate::tui::Transport;
use crate::tui::transport::Origin;
use std::time::{Duration, Instant};

/// Inputs between two looks at the clock.
const LOOK_EVERY: u32 = 1 << 10;
/// A stretch without inputs longer than this is crossed at once, s.
const LONG_GAP_SECS: f64 = 600.0;
/// And also when it would take longer than this on the screen, s.
const PATIENCE_SECS: f64 = 3.0;
/// The first picture shows this much of the log, s: a tick has passed, so that there is a verdict.
const FIRST_SECS: f64 = 2.0;

/// A tape being played.
pub(super) struct Player<T: Tape> {
    tape: T,
    beginning: T::Place,
    fresh: Pipeline,
    pipeline: Pipeline,
    index: Shared<T::Place>,
    steady: Steady,
    /// Read and not yet played, with its steady time.
    ahead: Option<(Stamp, Input)>,
    /// The moment that is shown, steady.
    at: Option<Stamp>,
    /// The first moment at which there is something to see.
    earliest: Stamp,
    aim: Option<(Stamp, bool)>,
    closed: bool,
    ended: bool,
    paused: bool,
    speed: f64,
    seen: Vec<(u16, Subject)>,
    trouble: Option<String>,
    origin: Origin,
}

impl<T: Tape> Player<T> {
    /// A tape at its beginning.
    pub(super) fn new(tape: T, fresh: Pipeline, index: Shared<T::Place>, origin: Origin, speed: f64) -> Self {
        Self {
            beginning: tape.place(),
            tape,
            pipeline: fresh.clone(),
            fresh,
            index,
            steady: Steady::default(),
            ahead: None,
            at: None,
            earliest: Stamp::MIN,
            aim: None,
            closed: false,
            ended: false,
            paused: false,
            speed,
            seen: Vec::new(),
            trouble: None,
            origin,
        }
    }

    /// Plays the first moments, for the first picture.
    pub(super) fn prime(&mut self, budget: Duration) {
        self.look_ahead();
        if let Some((first, _)) = self.ahead {
            self.earliest = first.plus_secs(FIRST_SECS);
            self.play_to(self.earliest, until(budget));
        }
    }

    /// Holds or goes on.
    pub(super) fn pause(&mut self, paused: bool) {
        self.paused = paused;
    }

    /// Sets the speed, seconds of the log in a second.
    pub(super) fn set_speed(&mut self, speed: f64) {
        self.speed = speed;
    }

    /// Whether something is left to do at once.
    pub(super) fn is_busy(&self) -> bool {
        self.aim.is_some()
    }

    /// Whether time passes.
    pub(super) fn is_moving(&self) -> bool {
        self.aim.is_some() || !(self.paused || self.ended)
    }

    /// Sets out for a moment (steady): from the nearest saved state before it, unless here is nearer.
    pub(super) fn seek(&mut self, to: Stamp, hold: bool) {
        let to = to.max(self.earliest);
        let state = self.index.before(to);
        let here = self.at.filter(|at| *at <= to && !self.ended && self.trouble.is_none());
        let nearer_here = here.is_some_and(|at| state.as_ref().is_none_or(|state| state.at <= at));
        if !nearer_here {
            let restored = match &state {
                Some(state) => match self.fresh.restore(&state.state) {
                    Ok(pipeline) => {
                        self.rewind(pipeline, &state.place, state.steady);
                        self.at = Some(state.at);
                        true
                    }
                    Err(_) => false,
                },
                None => false,
            };
            if !restored {
                let (fresh, beginning) = (self.fresh.clone(), self.beginning.clone());
                self.rewind(fresh, &beginning, Steady::default());
            }
        }
        self.aim = Some((to, hold));
    }

    fn rewind(&mut self, pipeline: Pipeline, place: &T::Place, steady: Steady) {
        self.pipeline = pipeline;
        self.steady = steady;
        self.ahead = None;
        self.at = None;
        self.closed = false;
        self.ended = false;
        self.trouble = self.tape.go_to(place).err();
    }

    /// Holds, and plays on to the end of the next second in which something came.
    pub(super) fn step(&mut self) {
        self.paused = true;
        self.look_ahead();
        if let Some((next, _)) = self.ahead {
            self.play_to(Stamp::from_secs(next.secs().saturating_add(1)), None);
        }
    }

    /// Somebody has seen a finding: told to the pipeline now, and again after every seek.
    pub(super) fn acknowledge(&mut self, rule: u16, subject: Subject) {
        if !self.seen.contains(&(rule, subject)) {
            self.seen.push((rule, subject));
        }
        self.tell_seen();
    }

    fn tell_seen(&mut self) {
        let Some(at) = self.at else { return };
        let stamp = self.steady.wall(at);
        for (rule, subject) in &self.seen {
            self.pipeline.push(&Input { stamp, body: Body::Acknowledge { rule: key(*rule), subject: *subject } });
        }
    }

    /// Plays on for at most `budget`, `passed` after the last time.
    pub(super) fn play(&mut self, passed: Duration, budget: Duration) {
        if let Some((to, hold)) = self.aim {
            if self.play_to(to, until(budget)) {
                self.aim = None;
                self.paused |= hold;
                self.tell_seen();
            }
        } else if !self.paused && !self.ended {
            self.look_ahead();
            let (at, next) = match (self.at, &self.ahead) {
                (Some(at), Some((next, _))) => (at, *next),
                (None, Some((next, _))) => (*next, *next),
                (Some(at), None) => (at, at),
                (None, None) => return self.end(),
            };
            let mut to = at.plus_secs(passed.as_secs_f64() * self.speed);
            let wait = next.since(to);
            if wait > LONG_GAP_SECS && wait / self.speed > PATIENCE_SECS {
                to = next;
            }
            self.play_to(to, until(budget));
        }
    }

    /// Plays every input up to `to`; false when the time was up before.
    fn play_to(&mut self, to: Stamp, until: Option<Instant>) -> bool {
        let mut look = LOOK_EVERY;
        loop {
            self.look_ahead();
            match self.ahead.take() {
                None => {
                    self.end();
                    return true;
                }
                Some((next, input)) if next > to => {
                    self.ahead = Some((next, input));
                    self.pipeline.advance(self.wall_before(next, to));
                    self.at = Some(self.at.map_or(to, |at| at.max(to)));
                    return true;
                }
                Some((next, input)) => {
                    self.pipeline.push(&input);
                    self.closed = input.body == Body::Closing;
                    self.at = Some(next);
                }
            }
            look -= 1;
            if look == 0 {
                look = LOOK_EVERY;
                if until.is_some_and(|until| now() >= until) {
                    return false;
                }
            }
        }
    }

    /// The wall clock at `to`. A clock step that was read ahead already moved the steady clock; then nothing is told.
    fn wall_before(&self, next: Stamp, to: Stamp) -> Stamp {
        match &self.ahead {
            Some((_, Input { stamp, body: Body::ClockStep { old } })) => {
                old.plus_nanos(to.nanos().saturating_sub(next.nanos())).min((*old).max(*stamp))
            }
            _ => self.steady.wall(to),
        }
    }

    fn look_ahead(&mut self) {
        if self.ahead.is_some() || self.trouble.is_some() {
            return;
        }
        match self.tape.next() {
            Ok(Some(input)) => self.ahead = Some((self.steady.of(&input), input)),
            Ok(None) => {}
            Err(why) => self.trouble = Some(why),
        }
    }

    /// Ends the run in good order: a log without a closing stamp is closed at its last.
    fn end(&mut self) {
        if let (false, false, Some(at)) = (self.ended, self.closed, self.at) {
            let stamp = self.steady.wall(at);
            self.pipeline.push(&Input { stamp, body: Body::Closing });
        }
        self.ended = true;
    }

    /// The bank now.
    pub(super) fn snapshot(&self) -> Snapshot {
        self.pipeline.snapshot()
    }

    /// Where in the log we are.
    pub(super) fn transport(&self) -> Transport {
        let index = self.index.look();
        let last = index.last.map(|last| self.at.map_or(last, |at| last.max(at)));
        Transport {
            origin: self.origin.clone(),
            first: index.first.or(self.at),
            last: last.or(self.at),
            at: self.at,
            speed: self.speed,
            paused: self.paused,
            ended: self.ended,
            seeking: self.aim.is_some(),
            scan: index.scan.clone(),
            marks: index.marks.clone(),
            trouble: self.trouble.clone(),
        }
    }
}

fn until(budget: Duration) -> Option<Instant> {
    now().checked_add(budget)
}

/// The clock is read to leave time for the keys; nothing of the data depends on it.
#[allow(clippy::disallowed_methods)]
pub(super) fn now() -> Instant {
    Instant::now()
}

#[cfg(test)]
mod tests {
    use super::super::tape::Invented;
    use super::*;
    use crate::pipeline::Setup;
    use crate::sim::{Options, Simulation};
    use crate::tui::transport::Scan;
    use std::sync::Arc;

    const LONG: Duration = Duration::from_secs(600);

    fn morning() -> Invented {
        let options = Options { seed: 1, days: Some(0.4), sample: Some(10.0) };
        Invented::new(Simulation::new("cold-morning", options).unwrap(), 0.4)
    }

    /// The same morning by a clock that stood in 1970 until it was set, a third on the way.
    #[derive(Clone)]
    struct SetOnTheWay {
        inputs: Arc<[Input]>,
        next: usize,
    }

    impl SetOnTheWay {
        fn new() -> Self {
            let mut whole = morning();
            let mut inputs: Vec<Input> = std::iter::from_fn(|| whole.next().unwrap()).collect();
            let (set, behind) = (inputs.len() / 3, inputs[0].stamp.nanos());
            for input in &mut inputs[..set] {
                input.stamp = input.stamp.plus_nanos(-behind);
            }
            let stamp = inputs[set].stamp;
            inputs.insert(set, Input { stamp, body: Body::ClockStep { old: stamp.plus_nanos(-behind) } });
            Self { inputs: inputs.into(), next: 0 }
        }
    }

    impl Tape for SetOnTheWay {
        type Place = usize;

        fn next(&mut self) -> Result<Option<Input>, String> {
            let input = self.inputs.get(self.next).cloned();
            self.next += 1;
            Ok(input)
        }

        fn place(&self) -> usize {
            self.next
        }

        fn go_to(&mut self, place: &usize) -> Result<(), String> {
            self.next = *place;
            Ok(())
        }

        fn share(&self) -> Option<f64> {
            None
        }
    }

    fn player(index: &Shared<<Invented as Tape>::Place>) -> Player<Invented> {
        let fresh = Pipeline::new(Setup::default());
        let mut player = Player::new(morning(), fresh, index.clone(), Origin::default(), 60.0);
        player.prime(LONG);
        player
    }

    fn indexed() -> Shared<<Invented as Tape>::Place> {
        let index = Shared::default();
        index.look().every = 3000;
        index.scan(|| Ok(morning()), Pipeline::new(Setup::default()));
        while matches!(index.look().scan, Scan::Reading(_)) {
            std::thread::yield_now();
        }
        index
    }

    fn go(player: &mut Player<Invented>, to: Stamp) {
        player.seek(to, true);
        player.play(Duration::ZERO, LONG);
        assert!(!player.is_busy());
    }

    #[test]
    fn the_first_picture_has_values_and_a_verdict() {
        let player = player(&Shared::default());
        let snapshot = player.snapshot();
        assert_eq!(snapshot.packs[0].cells.len(), 4);
        assert!(snapshot.packs[0].cells.iter().all(|cell| cell.voltage.now().is_some()));
        assert_ne!(snapshot.verdict.text, "Nothing has been heard yet.");
    }

    #[test]
    fn a_place_looks_alike_whichever_way_one_came_to_it() {
        let index = indexed();
        let first = index.look().first.unwrap();
        assert!(index.look().states.len() > 5);
        let mut wanderer = player(&index);
        for hours in [9.5, 7.7, 0.5, 7.6, 7.6, 3.0] {
            let to = first.plus_secs(hours * 3600.0);
            let mut straight = player(&Shared::default());
            go(&mut straight, to);
            go(&mut wanderer, to);
            assert_eq!(wanderer.snapshot(), straight.snapshot(), "after {hours} hours");
            assert_eq!(wanderer.transport().at, Some(to));
        }
    }

    #[test]
    fn the_end_is_the_verdict_over_the_whole_log_and_one_can_go_back_from_it() {
        let index = indexed();
        let mut player = player(&index);
        let last = index.look().last.unwrap();
        go(&mut player, last.plus_secs(60.0));
        let transport = player.transport();
        assert!(transport.ended);
        assert_eq!(transport.scan, Scan::Done(player.snapshot().verdict));
        go(&mut player, last.plus_secs(-3600.0));
        assert!(!player.transport().ended);
    }

    #[test]
    fn held_it_stands_still_and_a_step_goes_on_to_the_next_set() {
        let mut player = player(&Shared::default());
        player.pause(true);
        let at = player.transport().at;
        player.play(Duration::from_secs(5), LONG);
        assert_eq!(player.transport().at, at);
        player.step();
        let after = player.transport().at.unwrap().since(at.unwrap());
        assert!((8.0..=11.0).contains(&after), "a set every ten seconds, a step of {after} s");
    }

    #[test]
    fn what_was_seen_stays_seen_after_a_seek() {
        let index = indexed();
        let mut player = player(&index);
        let mark = index.look().marks[0];
        go(&mut player, mark.raised);
        let seen = |player: &Player<Invented>| player.snapshot().findings.first().map(|f| f.acknowledged);
        assert_eq!(seen(&player), Some(false));
        player.acknowledge(mark.episode.rule, mark.episode.subject);
        assert_eq!(seen(&player), Some(true));
        go(&mut player, mark.raised.plus_secs(-60.0));
        go(&mut player, mark.raised.plus_secs(5.0));
        assert_eq!(seen(&player), Some(true));
    }

    #[test]
    fn a_clock_set_on_the_way_changes_no_verdict_and_takes_no_time() {
        let tape = SetOnTheWay::new();
        let mut straight = Pipeline::new(Setup::default());
        tape.inputs.iter().for_each(|input| straight.push(input));
        straight.close();
        let told = straight.snapshot();
        assert!(!told.findings.is_empty());

        let index = Shared::default();
        let scanned = tape.clone();
        index.scan(|| Ok(scanned), Pipeline::new(Setup::default()));
        while matches!(index.look().scan, Scan::Reading(_)) {
            std::thread::yield_now();
        }
        assert_eq!(index.look().scan, Scan::Done(told.verdict.clone()));
        let first = index.look().first.unwrap();
        let last = index.look().last.unwrap();
        assert!((9.0..=10.0).contains(&(last.since(first) / 3600.0)));

        let mut player = Player::new(tape, Pipeline::new(Setup::default()), index, Origin::default(), 60.0);
        player.prime(LONG);
        player.seek(last.plus_secs(60.0), true);
        player.play(Duration::ZERO, LONG);
        assert_eq!(player.snapshot().findings, told.findings);
    }
}

//! Runs the screen: keys in, intents done, the tape played in between, a picture when something changed.

use super::index::Shared;
use super::player::{Player, now};
use super::tape::Tape;
use super::terminal::Outside;
use crate::model::{Limits, Stamp};
use crate::tui::transport::Scan;
use crate::tui::{App, Guard, Intent, Msg, Theme};
use anyhow::Context;
use ratatui::crossterm::event::{self, Event};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// Between two pictures.
const FRAME: Duration = Duration::from_millis(60);
/// Longest that the tape is played before the keys are asked.
const SLICE: Duration = Duration::from_millis(15);
/// Longest wait for a key.
const WAIT: Duration = Duration::from_millis(100);
/// Longest real time that counts as passed: after a stop the log does not jump.
const MOST_PASSED: Duration = Duration::from_millis(250);
/// How long a remark stands.
const REMARK: Duration = Duration::from_secs(6);
/// A demonstration starts this long before the first alert, s.
const BEFORE_ALERT_SECS: f64 = 300.0;

/// How the screen opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Opening {
    /// At the start of the log.
    AtTheStart,
    /// Shortly before the first alert, once it is known where that is.
    BeforeTheFirstAlert,
}

/// Refuses the screen where there is no terminal; `instead` is the command to use.
pub(super) fn needs_terminal(instead: &str) -> anyhow::Result<()> {
    anyhow::ensure!(std::io::stdout().is_terminal(), "the screen needs a terminal; without one use '{instead}'");
    Ok(())
}

/// Shows a tape until somebody ends it. `scan` starts the reading of the whole; it is called after the first picture.
pub(super) fn show<T: Tape>(
    mut player: Player<T>,
    index: &Shared<T::Place>,
    limits: Limits,
    opening: Opening,
    scan: impl FnOnce(),
) -> anyhow::Result<()> {
    player.prime(SLICE);
    let outside = Outside::listen().context("signals cannot be heard")?;
    let mut app = App::new(limits, theme(), player.transport());
    let mut guard = Guard::enter(fallback_size()).context("the terminal cannot be used")?;
    app.update(Msg::Picture(Box::new(player.snapshot()), Box::new(player.transport())));
    guard.draw(&app).context("the terminal cannot be written")?;
    scan();
    let mut run = Run { player, app, guard, outside, opening: Some(opening), dirty: false, shown: 0.0, said: now() };
    let ended = run.go();
    index.stop();
    drop(run);
    ended
}

struct Run<T: Tape> {
    player: Player<T>,
    app: App,
    guard: Guard,
    outside: Outside,
    /// What is still to be done for the opening.
    opening: Option<Opening>,
    dirty: bool,
    /// How much of the whole was read at the last picture.
    shown: f64,
    /// When the last remark can have been made.
    said: Instant,
}

impl<T: Tape> Run<T> {
    fn go(&mut self) -> anyhow::Result<()> {
        let mut drawn = now();
        let mut played = now();
        loop {
            if self.outside.wants_end() {
                return Ok(());
            }
            if self.outside.wants_aside() {
                self.put_aside()?;
            }
            if self.outside.came_back() {
                self.guard.take_again()?;
                self.dirty = true;
            }
            if self.keys(drawn)? {
                return Ok(());
            }
            let passed = now().saturating_duration_since(played).min(MOST_PASSED);
            played = now();
            self.dirty |= self.player.is_moving();
            let was_under_way = self.player.is_busy();
            self.player.play(passed, SLICE);
            let arrived = was_under_way && !self.player.is_busy();
            self.open();
            self.dirty |= self.scan_moved();
            if self.app.has_remark() && now().saturating_duration_since(self.said) > REMARK {
                self.app.update(Msg::RemarkOver);
                self.dirty = true;
            }
            if arrived || self.dirty && now().saturating_duration_since(drawn) >= FRAME {
                drawn = now();
                self.dirty = false;
                self.picture();
                if self.guard.draw(&self.app).is_err() {
                    return Ok(()); // the terminal is gone
                }
            }
        }
    }

    /// Everything that came from the keyboard; true when the program is to end.
    fn keys(&mut self, drawn: Instant) -> anyhow::Result<bool> {
        let mut wait = if self.player.is_busy() {
            Duration::ZERO
        } else if self.dirty || self.player.is_moving() {
            FRAME.saturating_sub(now().saturating_duration_since(drawn))
        } else {
            WAIT
        };
        while event::poll(wait).unwrap_or(false) {
            wait = Duration::ZERO;
            let Ok(event) = event::read() else { return Ok(true) };
            self.dirty = true;
            self.said = now();
            if let Event::Key(key) = event {
                for intent in self.app.update(Msg::Key(key)) {
                    if self.run(intent)? {
                        return Ok(true);
                    }
                }
                // A pane or a speed is seen before the next key is read.
                self.picture();
            }
        }
        Ok(false)
    }

    fn run(&mut self, intent: Intent) -> anyhow::Result<bool> {
        self.opening = match intent {
            Intent::Redraw | Intent::Suspend | Intent::Acknowledge { .. } => self.opening,
            _ => None,
        };
        match intent {
            Intent::Quit => return Ok(true),
            Intent::Suspend => self.put_aside()?,
            Intent::Redraw => self.guard.clear()?,
            Intent::Pause => self.player.pause(true),
            Intent::Resume => self.player.pause(false),
            Intent::Speed(speed) => self.player.set_speed(speed),
            Intent::Step => self.player.step(),
            Intent::Seek { to, hold } => self.player.seek(to, hold),
            Intent::Acknowledge { rule, subject } => self.player.acknowledge(rule, subject),
            Intent::Record | Intent::Note(_) => {} // of a live run only
        }
        Ok(false)
    }

    fn put_aside(&mut self) -> anyhow::Result<()> {
        self.guard.put_aside();
        let stopped = self.outside.stop_here();
        self.guard.take_again()?;
        if !stopped {
            self.remark("There is no shell that could bring the program back.");
        }
        self.dirty = true;
        Ok(())
    }

    fn remark(&mut self, text: &str) {
        self.app.update(Msg::Remark(text.to_owned()));
        self.said = now();
    }

    fn picture(&mut self) {
        self.app.update(Msg::Picture(Box::new(self.player.snapshot()), Box::new(self.player.transport())));
    }

    fn scan_moved(&mut self) -> bool {
        let share = match self.player.transport().scan {
            Scan::Reading(share) => share,
            Scan::Done(_) => 2.0,
            Scan::Failed(_) => 3.0,
        };
        let moved = share - self.shown >= 0.01;
        if moved {
            self.shown = share;
        }
        moved
    }

    /// Goes to shortly before the first alert as soon as it is known, unless somebody has taken the keys before.
    fn open(&mut self) {
        if self.opening != Some(Opening::BeforeTheFirstAlert) {
            return;
        }
        let transport = self.player.transport();
        let first_alert: Option<Stamp> = transport.marks.first().map(|mark| mark.raised);
        if let Some(alert) = first_alert {
            self.opening = None;
            let to = alert.plus_secs(-BEFORE_ALERT_SECS);
            if transport.at.is_some_and(|at| at < to) {
                self.player.seek(to, false);
                self.remark("Went on to five minutes before the first alert; home goes to the start.");
            }
        }
    }
}

pub(super) fn theme() -> Theme {
    let variable = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let locale = variable("LC_ALL").or_else(|| variable("LC_CTYPE")).or_else(|| variable("LANG"));
    Theme::of_environment(variable("NO_COLOR").as_deref(), variable("TERM").as_deref(), locale.as_deref())
}

/// For a terminal that does not tell its size, such as a serial console.
pub(super) fn fallback_size() -> (u16, u16) {
    let number = |name: &str, otherwise: u16| {
        std::env::var(name).ok().and_then(|v| v.parse().ok()).filter(|n| *n > 0).unwrap_or(otherwise)
    };
    (number("COLUMNS", 80).min(500), number("LINES", 24).min(200))
}

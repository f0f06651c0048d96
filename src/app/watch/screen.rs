//! The live screen: a thread drives the run and keeps the newest picture; the screen draws it when it has changed.

use super::{Run, Said, tell};
use crate::app::player::now;
use crate::app::screen::{fallback_size, theme};
use crate::app::terminal::Outside;
use crate::engine::rule::key;
use crate::model::{Body, Limits, Snapshot, Subject, clean};
use crate::store::Recorder;
use crate::tui::{App, Guard, Intent, Live as LiveState, Msg, Origin, Transport};
use anyhow::Context;
use ratatui::crossterm::event::{self, Event};
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Between two pictures that only data has changed.
const PICTURE: Duration = Duration::from_millis(250);
/// Turns of the driver between two pictures when nothing but time has passed.
const TIME_TURNS: u32 = 4;

/// What a key wants of the run.
enum Order {
    Acknowledge { rule: u16, subject: Subject },
    Note(String),
    Record,
}

/// The newest picture, and what is to be said under it.
#[derive(Default)]
struct Newest {
    picture: Option<(Box<Snapshot>, Box<Transport>)>,
    remark: Option<String>,
}

type Shared = Arc<Mutex<Newest>>;

/// Shows the run until somebody ends it or it ends itself; gives it back.
pub(super) fn show(run: Run, recording: Option<&Path>, limits: Limits) -> anyhow::Result<Run> {
    let (orders, taken) = channel();
    let newest = Shared::default();
    let stop = Arc::clone(&run.stop);
    let outside = Outside::listen().context("signals cannot be heard")?;
    let names = recording.map(|path| clean(&path.to_string_lossy(), 200));
    let kept = Arc::clone(&newest);
    let guard = Guard::enter(fallback_size()).context("the terminal cannot be used")?;
    let driver = std::thread::Builder::new().name("live".into()).spawn(move || drive(run, names, &taken, &kept))?;
    let origin = Origin::Live(LiveState::default());
    let app = App::new(limits, theme(), Transport { origin, ..Transport::default() });
    let shown = Screen { app, guard, outside, newest, orders }.go(&driver);
    stop.store(true, std::sync::atomic::Ordering::Relaxed);
    let run =
        driver.join().map_err(|_| anyhow::anyhow!("the run broke off; what was recorded is good to its last line"))?;
    shown.map(|()| run)
}

/// Drives the run; ends when it is over.
fn drive(mut run: Run, mut recording: Option<String>, orders: &Receiver<Order>, newest: &Shared) -> Run {
    let (mut turns, mut frames) = (0, u64::MAX);
    while !run.is_over() {
        for said in run.turn(super::TURN) {
            if let Said::Run(status) = said {
                locked(newest).remark = Some(clean(&status.to_string(), 500));
            }
        }
        for order in orders.try_iter() {
            if let Some(remark) = obey(&mut run, order, &mut recording) {
                locked(newest).remark = Some(remark);
            }
            turns = TIME_TURNS;
        }
        turns += 1;
        let heard = run.live.inputs();
        if heard != frames || turns >= TIME_TURNS {
            (turns, frames) = (0, heard);
            if locked(newest).picture.is_none() {
                let picture = picture(&run, recording.clone());
                locked(newest).picture = Some(picture);
            }
        }
    }
    run
}

fn picture(run: &Run, recording: Option<String>) -> (Box<Snapshot>, Box<Transport>) {
    let snapshot = run.live.snapshot();
    let links = run.live.statuses().iter().map(|status| (status.up, clean(&status.to_string(), 500))).collect();
    let origin = Origin::Live(LiveState { links, recording });
    let transport = Transport { origin, at: snapshot.now, speed: 1.0, ..Transport::default() };
    (Box::new(snapshot), Box::new(transport))
}

fn obey(run: &mut Run, order: Order, recording: &mut Option<String>) -> Option<String> {
    let now = run.now();
    match order {
        Order::Acknowledge { rule, subject } => run.live.put(Body::Acknowledge { rule: key(rule), subject }, now),
        Order::Note(text) => run.live.put(Body::Note(text), now),
        Order::Record if run.live.is_recording() => return Some("It is recorded already.".into()),
        Order::Record => {
            let moment = format!("{:.0}", now.wall).replace([':', '-'], "").replace('T', "-");
            let name = format!("cellwright-{}.log", moment.get(..15).unwrap_or("now"));
            match Recorder::create(Path::new(&name)) {
                Ok(recorder) => {
                    run.live.record(recorder, now);
                    *recording = Some(name);
                }
                Err(error) => return Some(clean(&error.to_string(), 500)),
            }
        }
    }
    None
}

fn locked(newest: &Shared) -> MutexGuard<'_, Newest> {
    newest.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Screen {
    app: App,
    guard: Guard,
    outside: Outside,
    newest: Shared,
    orders: Sender<Order>,
}

impl Screen {
    fn go(mut self, driver: &std::thread::JoinHandle<Run>) -> anyhow::Result<()> {
        let mut drawn = now();
        let mut dirty = true;
        while !self.outside.wants_end() && !driver.is_finished() {
            if self.outside.wants_aside() {
                self.put_aside()?;
                dirty = true;
            }
            if self.outside.came_back() {
                self.guard.take_again()?;
                dirty = true;
            }
            if dirty {
                (drawn, dirty) = (now(), false);
                if self.guard.draw(&self.app).is_err() {
                    return Ok(()); // the terminal is gone
                }
            }
            let wait = PICTURE.saturating_sub(now().saturating_duration_since(drawn)).max(Duration::from_millis(20));
            if event::poll(wait).unwrap_or(false) {
                let Ok(event) = event::read() else { return Ok(()) };
                dirty = true;
                if self.key(&event)? {
                    return Ok(());
                }
            }
            let Newest { picture, remark } = std::mem::take(&mut *locked(&self.newest));
            for msg in remark.map(Msg::Remark).into_iter().chain(picture.map(|(bank, place)| Msg::Picture(bank, place)))
            {
                self.app.update(msg);
                dirty = true;
            }
        }
        Ok(())
    }

    /// True when the program is to end.
    fn key(&mut self, event: &Event) -> anyhow::Result<bool> {
        let Event::Key(key) = event else { return Ok(false) };
        for intent in self.app.update(Msg::Key(*key)) {
            let order = match intent {
                Intent::Quit => return Ok(true),
                Intent::Suspend => {
                    self.put_aside()?;
                    continue;
                }
                Intent::Redraw => {
                    self.guard.clear()?;
                    continue;
                }
                Intent::Acknowledge { rule, subject } => Order::Acknowledge { rule, subject },
                Intent::Note(text) => Order::Note(text),
                Intent::Record => Order::Record,
                _ => continue, // there is nothing to play
            };
            if self.orders.send(order).is_err() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn put_aside(&mut self) -> anyhow::Result<()> {
        self.guard.put_aside();
        self.outside.stop_here();
        self.guard.take_again()?;
        Ok(())
    }
}

/// What is said once the terminal is given back.
pub(super) fn last_words(run: &Run) {
    for status in run.live.statuses().iter().filter(|status| !status.up) {
        tell(&Said::Run(status.clone()));
    }
}

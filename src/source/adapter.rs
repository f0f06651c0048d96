//! A serial CAN adapter that the kernel has no driver for, spoken to over its serial port: opened to listen only, or
//! not at all.

mod port;
mod stamps;

pub use port::AdapterPort;

use super::link::Link;
use super::serial::{Identity, link_name, trouble};
use super::{Batch, Clock, Gone, Outlet, Status, error_frame};
use crate::model::input::Loss;
use crate::model::{Body, FrameKind, Stamp};
use crate::wire::Interfaces;
use crate::wire::serial_can::{Lines, Said, SetUp, Speed};
use stamps::Stamps;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio_util::bytes::BytesMut;

/// Rate of the serial port when none is given, bit/s. Adapters that are a USB device themselves take any.
const RATE: u32 = 115_200;
/// How long an adapter has for its answer.
const ANSWER: Duration = Duration::from_millis(500);
/// How long each speed is listened to when the speed is looked for.
const TRY: Duration = Duration::from_millis(1500);
/// Frames that prove a speed.
const PROOF: usize = 2;
/// Pause after everything ready was taken.
const PAUSE: Duration = Duration::from_millis(12);
/// Silence after which the port is asked whether it is still there.
const SILENCE: Duration = Duration::from_secs(2);
/// Silences after which the adapter is set up anew: it may have lost its power.
const SILENCES: u32 = 10;
/// Back-off of reopening: first and last.
const RETRY: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(5));

/// Where and how to listen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Path of the port.
    pub path: PathBuf,
    /// Rate of the serial port, bit/s.
    pub rate: Option<u32>,
    /// Speed of the bus; none to find it by listening.
    pub speed: Option<Speed>,
    /// Directory with the ports' stable names; `/dev/serial` but for tests.
    pub names: PathBuf,
}

impl Options {
    /// The adapter at `path`.
    #[must_use]
    pub fn new(path: PathBuf, rate: Option<u32>, speed: Option<Speed>) -> Self {
        Self { path, rate, speed, names: PathBuf::from("/dev/serial") }
    }
}

/// Why an adapter is not listened to.
enum Stop {
    /// The program ends.
    Gone,
    /// The port hung up.
    HungUp,
    /// It does not do what it should; this is said, and it is tried again.
    Useless(Status),
}

impl From<Gone> for Stop {
    fn from(_: Gone) -> Self {
        Self::Gone
    }
}

impl From<std::io::Error> for Stop {
    fn from(_: std::io::Error) -> Self {
        Self::HungUp
    }
}

/// Listens to the adapter until the program ends.
///
/// # Errors
/// [`Gone`] when the program ends.
pub async fn run(options: Options, outlet: Outlet, clock: Arc<dyn Clock>) -> Result<(), Gone> {
    let mut names = Interfaces::new();
    let _ = names.channel(link_name(&options.path).as_bytes()); // one clean name is never refused
    outlet.send(Batch { names: Some(names), ..Batch::default() }).await?;
    let identity = Identity::of(&options.path, &options.names);
    let mut link = Link::new(outlet, clock);
    let mut pause = RETRY.0;
    loop {
        let path = identity.path();
        let rate = options.rate.unwrap_or(RATE);
        let stop = match AdapterPort::open(&path, rate) {
            Ok(port) => {
                let name = path.display().to_string();
                let mut listener = Listener::new(port, name, &options, &mut link);
                let stop = listener.listen().await;
                if listener.was_open {
                    pause = RETRY.0;
                }
                stop
            }
            Err(error) => Err(Stop::Useless(trouble::opening(&path, &error))),
        };
        link.set(false).await?;
        match stop {
            Err(Stop::Gone) => return Err(Gone),
            Err(Stop::Useless(status)) => link.say(status).await?,
            Ok(()) | Err(Stop::HungUp) => link.say(trouble::hung_up(&path.display().to_string())).await?,
        }
        tokio::time::sleep(pause).await;
        pause = (pause * 2).min(RETRY.1);
    }
}

/// One time that the adapter is plugged in.
struct Listener<'a> {
    port: AdapterPort,
    name: String,
    given: Option<Speed>,
    link: &'a mut Link,
    buffer: BytesMut,
    lines: Lines,
    stamps: Stamps,
    /// It was opened to listen.
    was_open: bool,
    /// It has answered anything at all.
    answers: bool,
}

impl<'a> Listener<'a> {
    fn new(port: AdapterPort, name: String, options: &Options, link: &'a mut Link) -> Self {
        let (lines, stamps) = (Lines::default(), Stamps::default());
        let buffer = BytesMut::with_capacity(4096);
        Self { port, name, given: options.speed, link, buffer, lines, stamps, was_open: false, answers: false }
    }

    /// Sets the adapter up and listens, until it hangs up or does not do what it should.
    async fn listen(&mut self) -> Result<(), Stop> {
        loop {
            let speed = match self.given {
                Some(speed) => self.open(speed).await.map(|()| speed)?,
                None => self.find_speed().await?,
            };
            self.was_open = true;
            self.link.set(true).await?;
            let text = format!("{}: listening only, {} kbit/s", self.name, speed.kbit());
            self.link.say(Status::good(text.clone())).await?;
            self.take_until_silent(&text).await?;
        }
    }

    /// Opens the adapter to listen at a speed.
    async fn open(&mut self, speed: Speed) -> Result<(), Stop> {
        self.answer_to(SetUp::Stamp).await?; // ruins a half line that somebody left, whatever it was
        self.answer_to(SetUp::Close).await?;
        self.answer_to(SetUp::Stamp).await?; // an adapter without stamps refuses, and arrival counts
        match self.answer_to(SetUp::Speed(speed)).await? {
            Some(true) => {}
            Some(false) => {
                let text = format!("{}: the adapter refuses {} kbit/s", self.name, speed.kbit());
                return Err(Stop::Useless(Status::bad(text, "Leave out the speed to have it found by listening")));
            }
            None => return Err(Stop::Useless(self.no_answer())),
        }
        match self.answer_to(SetUp::Listen).await? {
            Some(true) => Ok(()),
            Some(false) => {
                let text = format!("{}: the adapter refuses to listen only; it is not opened", self.name);
                Err(Stop::Useless(Status::bad(text, "Use an adapter that can listen without taking part in the bus")))
            }
            None => Err(Stop::Useless(self.no_answer())),
        }
    }

    fn no_answer(&self) -> Status {
        let name = &self.name;
        if self.answers {
            let text = format!("{name}: something answers, but not as a serial-line CAN adapter does");
            return Status::bad(text, "Check that it is the right port; --baud N sets another rate of the serial port");
        }
        let text = format!("{name}: nothing answers; a serial-line CAN adapter would");
        Status::bad(text, "Check that it is the right port and has power; --baud N sets the rate of the serial port")
    }

    /// The adapter's answer to a command: taken, refused, or none in time. Frames that come meanwhile are dropped:
    /// they came at another speed, or before we began.
    async fn answer_to(&mut self, command: SetUp) -> Result<Option<bool>, Stop> {
        self.port.command(command).await?;
        let until = tokio::time::Instant::now() + ANSWER;
        loop {
            let mut answer = None;
            let Some(()) = self.read(until).await? else { return Ok(None) };
            let answers = &mut self.answers;
            self.lines.push(&self.buffer, |said| match said {
                Said::Done => answer = Some(true),
                Said::Refused => answer = Some(false),
                _ => *answers = true,
            });
            self.buffer.clear();
            if answer.is_some() {
                return Ok(answer);
            }
        }
    }

    /// Waits for bytes; none when the time is over.
    async fn read(&mut self, until: tokio::time::Instant) -> Result<Option<()>, Stop> {
        match tokio::time::timeout_at(until, self.port.read_buf(&mut self.buffer)).await {
            Ok(Ok(0) | Err(_)) => Err(Stop::HungUp),
            Ok(Ok(_)) => Ok(Some(())),
            Err(_) if self.port.is_gone() => Err(Stop::HungUp),
            Err(_) => Ok(None),
        }
    }

    /// Listens at each speed in turn, round and round, until frames come. Nothing is sent to find it.
    async fn find_speed(&mut self) -> Result<Speed, Stop> {
        let mut refused = 0;
        for speed in Speed::ALL.iter().copied().cycle() {
            match self.open(speed).await {
                Err(Stop::Useless(status)) => {
                    refused += 1;
                    if refused == Speed::ALL.len() || !status.text.contains("kbit/s") {
                        return Err(Stop::Useless(status));
                    }
                    continue;
                }
                other => other?,
            }
            refused = 0;
            if self.frames_within(TRY).await? >= PROOF {
                return Ok(speed);
            }
            let text = format!("{}: no frames at {} kbit/s, trying the next speed", self.name, speed.kbit());
            let advice = "If it goes on so: is the bus awake, and the adapter on its two wires? --can-speed N sets one";
            self.link.say(Status::doubtful(text, advice)).await?;
        }
        Err(Stop::HungUp)
    }

    async fn frames_within(&mut self, time: Duration) -> Result<usize, Stop> {
        let until = tokio::time::Instant::now() + time;
        let mut frames = 0;
        while frames < PROOF && self.read(until).await?.is_some() {
            self.lines.push(&self.buffer, |said| {
                frames += usize::from(matches!(said, Said::Frame(frame, _) if frame.kind != FrameKind::Error));
            });
            self.buffer.clear();
        }
        Ok(frames)
    }

    /// Hands on what comes, until nothing has come for so long that the adapter may have lost its power.
    async fn take_until_silent(&mut self, good: &str) -> Result<(), Stop> {
        let mut silent = 0;
        while silent < SILENCES {
            if self.read(tokio::time::Instant::now() + SILENCE).await?.is_none() {
                silent += 1;
                let text = format!("{good}, but nothing arrives");
                let advice = "Check that the bus is awake, the speed and the wiring";
                self.link.say(Status::doubtful(text, advice)).await?;
                continue;
            }
            silent = 0;
            let items = self.take();
            if items.iter().any(|(_, body)| matches!(body, Body::Frame(_))) {
                self.link.say(Status::good(good)).await?;
            }
            self.link.send(items).await?;
            tokio::time::sleep(PAUSE).await;
        }
        Ok(())
    }

    fn take(&mut self) -> Vec<(Stamp, Body)> {
        let arrival = self.link.now();
        let (mut items, stamps) = (Vec::new(), &mut self.stamps);
        self.lines.push(&self.buffer, |said| match said {
            Said::Frame(frame, millis) => {
                let stamp = stamps.stamp(millis, arrival);
                if frame.kind == FrameKind::Error && error_frame::read(&frame).overflow {
                    items.push((stamp, Body::Lost { by: Loss::Adapter, count: 1 }));
                }
                items.push((stamp, Body::Frame(frame)));
            }
            Said::State(state) => items.push((arrival, Body::Controller { channel: 0, state })),
            Said::Bad(reason) => items.push((arrival, Body::Rejected { reason, count: 1 })),
            Said::Done | Said::Refused => {}
        });
        self.buffer.clear();
        items
    }
}

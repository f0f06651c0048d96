//! A CAN interface of Linux, listened to: frames with the kernel's stamps, the controller's state, and how many
//! frames this computer lost. Works without privileges; what does not says the command to run.

mod controller;
mod parse;
mod socket;

pub use controller::{Controller, advice};
pub use socket::{ListenOnly, Received};

use super::error_frame;
use super::{Batch, Clock, Gone, Outlet, Status};
use crate::model::input::{ControllerState, Loss};
use crate::model::{Body, Frame, FrameKind, Stamp};
use crate::wire::Interfaces;
use std::io;
use std::sync::Arc;
use std::time::Duration;

/// Pause after everything ready was taken, when little came: fewer wakes, the kernel's stamps keep the time.
const PAUSE_QUIET: Duration = Duration::from_millis(40);
/// The same when much came: the kernel's buffer holds about 70 ms at 4 000 frames/s.
const PAUSE_BUSY: Duration = Duration::from_millis(8);
/// So many frames in one wake are much.
const BUSY: usize = 32;
/// Frames handed over at once.
const MOST_AT_ONCE: usize = 512;
/// How often the controller is asked how it is.
const ASK: Duration = Duration::from_secs(2);
/// So many looks at the controller without a frame are silence worth a word: 10 s.
const SILENT_ASKS: u32 = 5;
/// Back-off of reopening: first and last.
const RETRY: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(5));

/// `ENETDOWN`, `ENODEV`, `ENXIO` (Linux, asm-generic/errno.h).
const NETWORK_DOWN: i32 = 100;
const NO_DEVICE: i32 = 19;
const NO_SUCH_DEVICE: i32 = 6;

/// Listens to the interface until the program ends, through link down, unplugging and replugging.
///
/// # Errors
/// [`Gone`] when the program ends.
pub async fn run(name: String, outlet: Outlet, clock: Arc<dyn Clock>) -> Result<(), Gone> {
    let mut names = Interfaces::new();
    let _ = names.channel(name.as_bytes()); // one name, of an interface, is never refused
    outlet.send(Batch { names: Some(names), ..Batch::default() }).await?;
    let mut listener = Listener {
        name,
        outlet,
        clock,
        up: None,
        down_since: None,
        silent: 0,
        state: None,
        said: Status::default(),
        events: Vec::new(),
    };
    let mut pause = RETRY.0;
    loop {
        match ListenOnly::open(&listener.name) {
            Ok(mut socket) => {
                pause = RETRY.0;
                listener.listen(&mut socket).await?;
            }
            Err(error) => {
                listener.link(false);
                listener.say(missing(&listener.name, &error)).await?;
            }
        }
        tokio::time::sleep(pause).await;
        pause = (pause * 2).min(RETRY.1);
    }
}

fn missing(name: &str, error: &io::Error) -> Status {
    let advice = format!(
        "Plug the adapter in, or see with 'ip link' which interfaces there are; {name} is taken up when it appears"
    );
    match error.raw_os_error() {
        Some(NO_DEVICE) => Status::bad(format!("{name}: there is no such CAN interface"), advice),
        Some(97) => Status::bad(
            format!("{name}: this kernel knows no CAN"),
            "Load it with 'sudo modprobe can-raw', or use a kernel that has it",
        ),
        _ => Status::bad(format!("{name}: cannot be opened ({error})"), advice),
    }
}

/// With a full stop, when there is anything.
fn sentence(text: &str) -> String {
    if text.is_empty() { String::new() } else { format!("{text}. ") }
}

struct Listener {
    name: String,
    outlet: Outlet,
    clock: Arc<dyn Clock>,
    /// Link as last told.
    up: Option<bool>,
    down_since: Option<Stamp>,
    /// Asked so often since a frame came.
    silent: u32,
    /// Controller as last told.
    state: Option<ControllerState>,
    said: Status,
    events: Vec<(Stamp, Body)>,
}

impl Listener {
    /// Until the interface is gone.
    async fn listen(&mut self, socket: &mut ListenOnly) -> Result<(), Gone> {
        let mut lost = 0;
        if !self.ask(socket, &mut lost).await? {
            return Ok(());
        }
        let mut asked = tokio::time::Instant::now();
        loop {
            let (mut gone, mut look) = (false, false);
            let receive = socket.receive(MOST_AT_ONCE, |received| match received {
                Ok(received) => self.take(&received, &mut lost),
                Err(error) => match error.raw_os_error() {
                    Some(NETWORK_DOWN) => {
                        self.link(false);
                        look = true; // it may be up again by now
                    }
                    Some(NO_DEVICE | NO_SUCH_DEVICE) => gone = true, // what waits behind it is still read
                    _ => look = true,
                },
            });
            let count = match tokio::time::timeout(ASK, receive).await {
                Ok(received) => received.unwrap_or(0),
                Err(_) => 0,
            };
            if !self.events.is_empty() {
                let items = std::mem::take(&mut self.events);
                self.outlet.send(Batch { items, ..Batch::default() }).await?;
            }
            if gone {
                return self.gone().await;
            }
            if look || asked.elapsed() >= ASK {
                asked = tokio::time::Instant::now();
                if !self.ask(socket, &mut lost).await? {
                    return self.gone().await;
                }
            }
            tokio::time::sleep(if count > BUSY { PAUSE_BUSY } else { PAUSE_QUIET }).await;
        }
    }

    fn take(&mut self, received: &Received, lost: &mut u32) {
        let stamp = received.stamp.unwrap_or_else(|| self.clock.now().wall);
        self.lost(received.dropped, lost, stamp);
        let Some(frame) = received.frame else { return };
        self.silent = 0;
        if frame.kind == FrameKind::Error {
            self.error_frame(&frame, stamp);
        } else {
            self.up_again(stamp);
        }
        self.events.push((stamp, Body::Frame(frame)));
    }

    /// The kernel's count of frames that found its queue full.
    fn lost(&mut self, dropped: Option<u32>, lost: &mut u32, stamp: Stamp) {
        let Some(dropped) = dropped else { return };
        let count = dropped.wrapping_sub(*lost);
        if count > 0 && count < u32::MAX / 2 {
            *lost = dropped;
            self.events.push((stamp, Body::Lost { by: Loss::Computer, count }));
        }
    }

    fn error_frame(&mut self, frame: &Frame, stamp: Stamp) {
        let told = error_frame::read(frame);
        if let Some(state) = told.state.filter(|state| self.state != Some(*state)) {
            self.state = Some(state);
            self.events.push((stamp, Body::Controller { channel: 0, state }));
        }
        if told.overflow {
            self.events.push((stamp, Body::Lost { by: Loss::Adapter, count: 1 }));
        }
    }

    fn link(&mut self, up: bool) {
        if self.up != Some(up) {
            let now = self.clock.now().wall;
            self.up = Some(up);
            self.down_since = (!up).then_some(now);
            self.events.push((now, Body::Link { channel: 0, up }));
        }
    }

    /// A frame is proof of a link, unless it waited in the queue while the link went down.
    fn up_again(&mut self, stamp: Stamp) {
        if self.up != Some(true) && self.down_since.is_none_or(|since| stamp > since) {
            self.up = Some(true);
            self.events.push((stamp, Body::Link { channel: 0, up: true }));
        }
    }

    /// The adapter was pulled, or the interface removed.
    async fn gone(&mut self) -> Result<(), Gone> {
        self.link(false);
        self.state = None;
        let text = format!("{}: the adapter is gone", self.name);
        self.say(Status::bad(text, "Plug it in again; it is taken up by itself")).await
    }

    /// Asks the kernel for link, controller and losses; false when the interface is another or none.
    async fn ask(&mut self, socket: &ListenOnly, lost: &mut u32) -> Result<bool, Gone> {
        let now = self.clock.now().wall;
        self.lost(socket.dropped(), lost, now);
        let Some(controller) = Controller::ask(&self.name) else { return Ok(false) };
        if controller.index != socket.index() {
            return Ok(false);
        }
        self.link(controller.up);
        if let Some(state) = controller.state.filter(|state| controller.up && self.state != Some(*state)) {
            self.state = Some(state);
            self.events.push((now, Body::Controller { channel: 0, state }));
        }
        let state = if controller.up { self.state } else { None };
        let mut status = advice(&self.name, &controller, state);
        self.silent = self.silent.saturating_add(1);
        if self.silent > SILENT_ASKS && status.up {
            status = Status::doubtful(
                format!("{}, but nothing arrives", status.text),
                format!("{}Check the bit rate, the wiring and that the sender has power", sentence(&status.advice)),
            );
        }
        self.say(status).await?;
        Ok(true)
    }

    async fn say(&mut self, status: Status) -> Result<(), Gone> {
        let items = std::mem::take(&mut self.events);
        let status = Some(status).filter(|status| *status != self.said);
        if let Some(status) = &status {
            self.said = status.clone();
        }
        if items.is_empty() && status.is_none() {
            return Ok(());
        }
        self.outlet.send(Batch { items, status, ..Batch::default() }).await
    }
}

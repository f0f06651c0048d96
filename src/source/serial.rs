//! A serial line, listened to: records of the envelope, at a rate that is given or found by listening. Survives
//! garbage, unplugging, and replugging under another name; never writes a byte.

mod codec;
mod identity;
mod port;
pub(super) mod trouble;

pub use identity::Identity;
pub use port::ListenOnly;

use super::link::Link;
use super::{Batch, Clock, Gone, Outlet, Status};
use crate::model::{Body, Frame, Rejection, Stamp};
use crate::wire::Interfaces;
use codec::EnvelopeCodec;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio_util::codec::Decoder;
use trouble::Trouble;

/// Rates that are tried, bit/s, most likely first. Common practice, no source.
pub const RATES: [u32; 11] =
    [115_200, 9600, 19_200, 38_400, 57_600, 230_400, 250_000, 460_800, 500_000, 921_600, 1_000_000];
/// Pause after everything ready was taken, when little came: fewer wakes. The stamp is that of the wake.
const PAUSE_QUIET: Duration = Duration::from_millis(40);
/// The same when much came: the kernel holds 4 kB, 40 ms at 921 600 bit/s.
const PAUSE_BUSY: Duration = Duration::from_millis(12);
/// So many bytes in one wake are much.
const BUSY: usize = 512;
/// Silence after which the port is asked whether it is still there.
const SILENCE: Duration = Duration::from_secs(2);
/// Bytes without a record after which the next rate is tried, or the given one is said to be wrong.
const ENOUGH: usize = 256;
/// Back-off of reopening: first and last.
const RETRY: (Duration, Duration) = (Duration::from_millis(100), Duration::from_secs(5));

/// Where and how to listen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Options {
    /// Path of the port.
    pub path: PathBuf,
    /// Rate, bit/s; none to find it by listening.
    pub rate: Option<u32>,
    /// Directory with the ports' stable names; `/dev/serial` but for tests.
    pub names: PathBuf,
}

impl Options {
    /// The port at `path`, its rate found by listening when none is given.
    #[must_use]
    pub fn new(path: PathBuf, rate: Option<u32>) -> Self {
        Self { path, rate, names: PathBuf::from("/dev/serial") }
    }
}

/// Name of the link in the recording: the last part of the path.
#[must_use]
pub fn link_name(path: &std::path::Path) -> String {
    let last = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    let mut name = crate::model::clean(&last, 60).replace(char::is_whitespace, "_");
    while name.len() > 60 {
        name.pop();
    }
    name
}

/// Listens to the port until the program ends.
///
/// # Errors
/// [`Gone`] when the program ends.
pub async fn run(options: Options, outlet: Outlet, clock: Arc<dyn Clock>) -> Result<(), Gone> {
    let mut names = Interfaces::new();
    let _ = names.channel(link_name(&options.path).as_bytes()); // one clean name is never refused
    outlet.send(Batch { names: Some(names), ..Batch::default() }).await?;
    let identity = Identity::of(&options.path, &options.names);
    let rates = options.rate.map_or_else(|| RATES.to_vec(), |rate| vec![rate]);
    let mut listener =
        Listener { identity, fixed: options.rate, rates, rate: 0, link: Link::new(outlet, clock), unplugged: false };
    let mut pause = RETRY.0;
    loop {
        let path = listener.identity.path();
        let opened = ListenOnly::open(&path, listener.bits()).map_err(|error| trouble::opening(&path, &error));
        match opened {
            Ok(port) => {
                pause = RETRY.0;
                listener.listen(port).await?;
            }
            Err(status) => {
                listener.link.set(false).await?;
                // An unplugged adapter is said to be gone until it is back; that its name is gone too is no news.
                if !listener.unplugged || path.exists() {
                    listener.link.say(status).await?;
                }
                tokio::time::sleep(pause).await;
                pause = (pause * 2).min(RETRY.1);
            }
        }
    }
}

struct Listener {
    identity: Identity,
    /// The rate that was given.
    fixed: Option<u32>,
    rates: Vec<u32>,
    /// Which of the rates is tried, or was found.
    rate: usize,
    link: Link,
    /// It was there and has gone.
    unplugged: bool,
}

impl Listener {
    fn bits(&self) -> u32 {
        self.rates.get(self.rate).copied().unwrap_or(RATES[0])
    }

    /// Until the port hangs up.
    async fn listen(&mut self, mut port: ListenOnly) -> Result<(), Gone> {
        let mut codec = EnvelopeCodec::new();
        let mut buffer = bytes(4096);
        let mut trouble = Trouble::default();
        self.link.set(true).await?;
        let name = self.identity.path().display().to_string();
        self.link.say(Status::good(format!("{name}: open, waiting for the first record"))).await?;
        loop {
            let read = tokio::time::timeout(SILENCE, port.read_buf(&mut buffer)).await;
            let pause = if buffer.len() > BUSY { PAUSE_BUSY } else { PAUSE_QUIET };
            match read {
                // Hang-up: the descriptor would give 'nothing' for ever.
                Ok(Ok(0) | Err(_)) => break,
                Ok(Ok(count)) => trouble.bytes(buffer.get(buffer.len().saturating_sub(count)..).unwrap_or_default()),
                Err(_) if port.is_gone() => break,
                Err(_) => {
                    if let Some(status) = trouble.silence(&name) {
                        self.link.say(status).await?;
                    }
                    continue;
                }
            }
            let stamp = self.link.now();
            let found = codec.decode(&mut buffer).unwrap_or_default().unwrap_or_default();
            self.take(&mut port, &mut codec, &mut trouble, (stamp, found)).await?;
            tokio::time::sleep(pause).await;
        }
        self.link.set(false).await?;
        self.unplugged = true;
        self.link.say(trouble::hung_up(&name)).await
    }

    /// What one read gave: records and refusals, or a reason to try the next rate.
    async fn take(
        &mut self,
        port: &mut ListenOnly,
        codec: &mut EnvelopeCodec,
        trouble: &mut Trouble,
        (stamp, found): (Stamp, Vec<Result<Frame, Rejection>>),
    ) -> Result<(), Gone> {
        let good = found.iter().filter(|each| each.is_ok()).count();
        trouble.records(good, found.len() - good);
        let name = self.identity.path().display().to_string();
        if trouble.is_understood() {
            if let Some(status) = trouble.told(&name, self.bits(), || self.identity.others()) {
                self.link.say(status).await?;
            }
        } else if trouble.without_record() >= ENOUGH {
            let status = trouble.not_understood(&name, self.bits(), self.fixed.is_some());
            self.link.say(status).await?;
            if self.fixed.is_none() {
                self.rate = (self.rate + 1) % self.rates.len().max(1);
                let _ = port.set_rate(self.bits()); // a rate that the port does not have brings nothing, and the next is tried
                *codec = EnvelopeCodec::new();
                trouble.next_rate();
                return Ok(());
            }
        }
        if trouble.is_understood() || self.fixed.is_some() {
            self.send(stamp, found).await?;
        }
        Ok(())
    }

    async fn send(&mut self, stamp: Stamp, found: Vec<Result<Frame, Rejection>>) -> Result<(), Gone> {
        let mut items = Vec::with_capacity(found.len());
        for each in found {
            items.push((
                stamp,
                match each {
                    Ok(frame) => Body::Frame(frame),
                    Err(reason) => Body::Rejected { reason, count: 1 },
                },
            ));
        }
        self.link.send(items).await
    }
}

fn bytes(capacity: usize) -> tokio_util::bytes::BytesMut {
    tokio_util::bytes::BytesMut::with_capacity(capacity)
}

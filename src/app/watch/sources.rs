//! What was named on the command line, and the threads that listen to it.

use crate::config::PortArgs;
use crate::model::clean;
use crate::source::{Batch, Clock, Kind, Outlet, adapter, find, pipe, queue, serial};
use anyhow::{Context, bail};
use std::collections::BTreeSet;
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::Receiver;

/// The kernel's list of network interfaces.
const NET: &str = "/sys/class/net";

/// A source that was named.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::app) enum Source {
    /// A text log on the standard input.
    Pipe,
    /// A CAN interface.
    Can(String),
    /// A serial port.
    Serial(serial::Options),
    /// A serial-line CAN adapter.
    Adapter(adapter::Options),
    /// A log file.
    File(PathBuf),
}

impl Source {
    pub(in crate::app) fn kind(&self) -> Kind {
        match self {
            Self::Pipe | Self::File(_) => Kind::Stamped,
            Self::Can(_) | Self::Serial(_) | Self::Adapter(_) => Kind::Live,
        }
    }
}

/// The sources that were named.
pub(in crate::app) fn named(names: &[String], ports: PortArgs) -> anyhow::Result<Vec<Source>> {
    let mut seen = BTreeSet::new();
    let mut sources = Vec::new();
    for name in names {
        if !seen.insert(name) {
            bail!("'{}' is named twice", shown(name));
        }
        sources.push(one(name, ports)?);
    }
    let files = sources.iter().filter(|source| matches!(source, Source::File(_))).count();
    if files > 0 && sources.iter().any(|source| source.kind() == Kind::Live) {
        bail!(
            "a recorded log has a time of its own and cannot be merged with a live source; use 'cellwright check LOG' for it"
        );
    }
    let is_port = |source: &Source| matches!(source, Source::Serial(_) | Source::Adapter(_));
    if (ports.baud.is_some() || ports.adapter) && !sources.iter().any(is_port) {
        bail!("{} is for serial ports, and none was named", if ports.adapter { "--adapter" } else { "--baud" });
    }
    if sources.len() > 64 {
        bail!("at most 64 sources are merged, and {} were named", sources.len());
    }
    Ok(sources)
}

fn one(name: &str, ports: PortArgs) -> anyhow::Result<Source> {
    if name == "-" {
        return Ok(Source::Pipe);
    }
    let is_can = |name: &str| find::interfaces(Path::new(NET)).iter().any(|known| known == name);
    let looks_like_can = name.trim_end_matches(|c: char| c.is_ascii_digit()).ends_with("can") && !name.contains('/');
    if is_can(name) || (looks_like_can && !Path::new(name).exists()) {
        return Ok(Source::Can(name.to_owned()));
    }
    let path = PathBuf::from(name);
    let in_dev = Path::new("/dev").join(name);
    if path.starts_with("/dev") || is_device(&path) {
        return Ok(port(path, ports));
    }
    if path.exists() {
        return Ok(Source::File(path));
    }
    if is_device(&in_dev) {
        return Ok(port(in_dev, ports));
    }
    bail!(
        "'{}' is no CAN interface, no serial port and no log file; 'cellwright watch' without a source lists what there is",
        shown(name)
    )
}

/// The name of a CAN interface that is not there now, made harmless. Who watches waits for it; who surveys does not.
pub(in crate::app) fn missing_interface(source: &Source) -> Option<String> {
    let Source::Can(name) = source else { return None };
    let known = find::interfaces(Path::new(NET));
    (!known.contains(name)).then(|| shown(name))
}

/// A serial port, or the adapter behind it.
fn port(path: PathBuf, ports: PortArgs) -> Source {
    if ports.adapter {
        return Source::Adapter(adapter::Options::new(path, ports.baud, ports.can_speed));
    }
    Source::Serial(serial::Options::new(path, ports.baud))
}

fn is_device(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|found| found.file_type().is_char_device())
}

fn shown(name: &str) -> String {
    clean(name, 200)
}

/// Starts a thread for what waits for descriptors, and one for each pipe and file.
pub(in crate::app) fn start(sources: &[Source], clock: &Arc<dyn Clock>) -> anyhow::Result<Receiver<Batch>> {
    let (sender, batches) = queue();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().context("cannot listen")?;
    let mut tasks = Vec::new();
    for (number, source) in sources.iter().enumerate() {
        let outlet = Outlet::new(number as u8, sender.clone());
        let clock = Arc::clone(clock);
        match source.clone() {
            #[cfg(target_os = "linux")]
            Source::Can(name) => tasks.push(runtime.spawn(crate::source::can::run(name, outlet, clock))),
            #[cfg(not(target_os = "linux"))]
            Source::Can(name) => bail!("{name}: CAN interfaces are listened to on Linux only"),
            Source::Adapter(options) => tasks.push(runtime.spawn(adapter::run(options, outlet, clock))),
            Source::Serial(options) => tasks.push(runtime.spawn(serial::run(options, outlet, clock))),
            Source::Pipe => thread(move || pipe::run("the standard input", std::io::stdin(), &outlet))?,
            Source::File(path) => thread(move || pipe::run_file(&path, &outlet))?,
        }
    }
    if !tasks.is_empty() {
        thread(move || {
            runtime.block_on(async {
                for task in tasks {
                    let _ = task.await; // each ends when nobody listens any more
                }
            });
            Ok(())
        })?;
    }
    Ok(batches)
}

/// A thread that ends by itself when nobody listens any more, or with the program.
fn thread(work: impl FnOnce() -> Result<(), crate::source::Gone> + Send + 'static) -> anyhow::Result<()> {
    let spawned = std::thread::Builder::new().name("source".into()).spawn(move || {
        let _ = work(); // 'gone' says only that the program ends
    });
    spawned.map(drop).context("cannot start a thread to listen")
}

/// What there is to listen to, and what to type next.
pub(in crate::app) fn list() -> String {
    let ports = find::ports(Path::new("/dev"));
    let interfaces = find::interfaces(Path::new(NET));
    let mut text = String::new();
    for port in &ports {
        text += &format!("{}\n    {}", port.name, port.what);
        text += if port.allowed { "; you may open it\n" } else { "; you may not open it yet\n" };
        if !port.advice.is_empty() {
            text += &format!("    first: {}\n", port.advice);
        }
    }
    for name in &interfaces {
        text += &format!("{name}\n    {}\n", interface(name));
    }
    let next =
        ports.iter().find(|port| port.allowed).map(|port| port.name.clone()).or_else(|| interfaces.first().cloned());
    match next {
        Some(next) => text += &format!("\nNext: cellwright watch {next}\n"),
        None => {
            text += "No serial adapter and no CAN interface was found.\n\n\
                Plug the adapter in and run this again; or bring up a CAN interface:\n    \
                sudo ip link set can0 up type can bitrate 250000 listen-only on\n\
                A log from another computer comes through a pipe: ... | cellwright watch -\n\
                Without a bank at hand: cellwright demo\n";
        }
    }
    text
}

#[cfg(target_os = "linux")]
fn interface(name: &str) -> String {
    use crate::source::can;
    can::Controller::ask(name).map_or_else(
        || "CAN interface".into(),
        |controller| {
            let status = can::advice(name, &controller, controller.state);
            let text = status.to_string();
            text.strip_prefix(&format!("{name}: ")).unwrap_or(&text).replace(". ", "\n    ")
        },
    )
}

#[cfg(not(target_os = "linux"))]
fn interface(_: &str) -> String {
    "CAN interface".into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wire::serial_can::Speed;

    #[test]
    fn a_name_says_what_it_is() {
        let dir = tempfile::tempdir().unwrap();
        let log = dir.path().join("trip.log");
        std::fs::write(&log, "").unwrap();
        let plain = PortArgs::default();
        assert_eq!(one("-", plain).unwrap(), Source::Pipe);
        assert_eq!(one("can0", plain).unwrap(), Source::Can("can0".into()));
        assert_eq!(one("vcan12", plain).unwrap(), Source::Can("vcan12".into()));
        let slow = PortArgs { baud: Some(9600), ..PortArgs::default() };
        let port = serial::Options::new("/dev/ttyUSB9".into(), Some(9600));
        assert_eq!(one("/dev/ttyUSB9", slow).unwrap(), Source::Serial(port), "it may be plugged in later");
        let behind = PortArgs { adapter: true, can_speed: Some(Speed::K250), ..PortArgs::default() };
        let port = adapter::Options::new("/dev/ttyACM0".into(), None, Some(Speed::K250));
        assert_eq!(one("/dev/ttyACM0", behind).unwrap(), Source::Adapter(port));
        assert_eq!(one(&log.to_string_lossy(), plain).unwrap(), Source::File(log));
        assert!(one("nosuch", plain).unwrap_err().to_string().contains("lists what there is"));
    }
}

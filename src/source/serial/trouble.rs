//! What is wrong with a port, in a plain sentence each, with what to do.

use crate::source::Status;
use std::path::Path;

/// Broken records among so many good ones that somebody else must be reading too, or the line is bad.
const MANY_BROKEN: usize = 5;
/// Records between two looks at how many are broken.
const LOOK_EVERY: usize = 50;
/// The first bytes that were not understood, kept to tell text from noise.
const SAMPLE: usize = 256;

/// Why a port cannot be opened.
pub(in crate::source) fn opening(path: &Path, error: &tokio_serial::Error) -> Status {
    let port = path.display();
    let said = error.to_string();
    match error.kind() {
        tokio_serial::ErrorKind::Io(std::io::ErrorKind::NotFound) => {
            Status::bad(format!("{port}: there is no such port"), "Plug the adapter in; it is taken up by itself")
        }
        tokio_serial::ErrorKind::Io(std::io::ErrorKind::PermissionDenied) => not_permitted(path),
        _ if said.contains("exclusive lock") || said.contains("busy") => {
            let text = format!("{port}: another program has this port");
            Status::bad(text, format!("End it; 'sudo fuser -v {port}' names it. The port is taken up when it is free"))
        }
        _ if said.contains("typewriter") || said.contains("ioctl") => Status::bad(
            format!("{port}: this is no serial port"),
            "Run 'cellwright watch' without a source to see the ports that there are",
        ),
        _ => Status::bad(format!("{port}: cannot be opened ({said})"), "It is tried again by itself"),
    }
}

fn not_permitted(path: &Path) -> Status {
    let group = crate::source::find::group_of(path).unwrap_or_else(|| "dialout".to_owned());
    let text = format!("{}: you may not open this port, which belongs to the group '{group}'", path.display());
    Status::bad(text, format!("Run 'sudo usermod -aG {group} $USER' once, then log out and in again"))
}

/// The port is gone.
pub(in crate::source) fn hung_up(port: &str) -> Status {
    Status::bad(
        format!("{port}: the port is gone (unplugged?)"),
        "Plug the adapter in again; it is found under any name",
    )
}

/// What was heard, as far as it tells of trouble.
#[derive(Debug, Default)]
pub(super) struct Trouble {
    /// Bytes since the last good record.
    without: usize,
    good: usize,
    broken: usize,
    /// Good and broken records when last looked at.
    looked: (usize, usize),
    said_listening: bool,
    silent: bool,
    sample: Vec<u8>,
}

impl Trouble {
    pub(super) fn bytes(&mut self, bytes: &[u8]) {
        self.without += bytes.len();
        self.silent = false;
        let room = SAMPLE - self.sample.len().min(SAMPLE);
        self.sample.extend(bytes.iter().take(room));
    }

    pub(super) fn records(&mut self, good: usize, broken: usize) {
        if good > 0 {
            self.without = 0;
            self.sample.clear();
        }
        self.good += good;
        self.broken += broken;
    }

    /// Whether a record was ever good at this rate.
    pub(super) fn is_understood(&self) -> bool {
        self.good > 0
    }

    pub(super) fn without_record(&self) -> usize {
        self.without
    }

    pub(super) fn next_rate(&mut self) {
        *self = Self::default();
    }

    /// Something to say while records come: the rate once, later that many are broken.
    pub(super) fn told(&mut self, port: &str, rate: u32, others: impl FnOnce() -> Option<String>) -> Option<Status> {
        let (good, broken) = (self.good - self.looked.0, self.broken - self.looked.1);
        if self.said_listening && good + broken < LOOK_EVERY {
            return None;
        }
        self.looked = (self.good, self.broken);
        let first = !std::mem::replace(&mut self.said_listening, true);
        if !first && broken * MANY_BROKEN > good {
            let text = format!("{port}: many records arrive broken ({broken} of {})", good + broken);
            return Some(match others() {
                Some(other) => Status::doubtful(
                    format!("{text}; {other} has the port open too and takes part of them"),
                    "End that program",
                ),
                None => Status::doubtful(
                    text,
                    "Check the cable and its ground; another program reading the same port does this too",
                ),
            });
        }
        Some(Status::good(format!("{port}: listening at {rate} bit/s")))
    }

    pub(super) fn silence(&mut self, port: &str) -> Option<Status> {
        if std::mem::replace(&mut self.silent, true) {
            return None;
        }
        let advice = "Check that the sender has power, and that its transmit line goes to the adapter's receive line; \
                      a serial-line CAN adapter needs --adapter";
        Some(Status::doubtful(format!("{port}: open, but nothing arrives"), advice))
    }

    /// Bytes arrive and none is a record.
    pub(super) fn not_understood(&self, port: &str, rate: u32, fixed: bool) -> Status {
        let printable = self.sample.iter().filter(|byte| matches!(byte, b' '..=b'~' | b'\r' | b'\n' | b'\t')).count();
        if self.sample.len() >= SAMPLE / 2 && printable * 20 > self.sample.len() * 19 {
            let text = format!(
                "{port}: text arrives at {rate} bit/s, not records: another program or a console is talking on this line"
            );
            return Status::doubtful(
                text,
                "A modem service may have taken the port for a modem: stop it for this adapter; behind a serial-line CAN \
                 adapter, say --adapter; or it is the wrong port",
            );
        }
        let text =
            format!("{port}: bytes arrive at {rate} bit/s, but none is a record: wrong rate or another protocol");
        if fixed {
            Status::doubtful(text, "Leave out --baud to have the rate found by listening")
        } else {
            Status::doubtful(text, "Other rates are being tried; --baud N sets one")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_trouble_has_its_own_sentence() {
        let io = |kind| tokio_serial::Error::new(tokio_serial::ErrorKind::Io(kind), "x");
        let port = Path::new("/dev/null");
        let lock = tokio_serial::Error::new(
            tokio_serial::ErrorKind::NoDevice,
            "Unable to acquire exclusive lock on serial port",
        );
        let tty = tokio_serial::Error::new(tokio_serial::ErrorKind::Unknown, "Not a typewriter");
        let said = [
            opening(port, &io(std::io::ErrorKind::NotFound)),
            opening(port, &io(std::io::ErrorKind::PermissionDenied)),
            opening(port, &lock),
            opening(port, &tty),
            hung_up("/dev/null"),
        ];
        let texts: std::collections::BTreeSet<_> = said.iter().map(|status| status.text.clone()).collect();
        assert_eq!(texts.len(), said.len());
        assert!(said.iter().all(|status| !status.up && !status.advice.is_empty()));
        assert!(texts.contains("/dev/null: another program has this port"), "{texts:?}");
    }

    #[test]
    fn noise_is_told_from_text() {
        let mut noise = Trouble::default();
        noise.bytes(&[0x80; 300]);
        assert!(noise.not_understood("p", 9600, true).text.contains("wrong rate"));
        let mut text = Trouble::default();
        text.bytes(&b"AT+GCAP\r\n".repeat(30));
        assert!(text.not_understood("p", 9600, true).text.contains("text arrives"));
    }

    #[test]
    fn broken_records_are_said_once_they_are_many() {
        let mut trouble = Trouble::default();
        trouble.records(1, 0);
        assert_eq!(trouble.told("p", 9600, || None), Some(Status::good("p: listening at 9600 bit/s")));
        trouble.records(30, 10);
        assert_eq!(trouble.told("p", 9600, || None), None);
        trouble.records(0, 10);
        let said = trouble.told("p", 9600, || Some("'other' (process 7)".into())).unwrap();
        assert_eq!(
            said.text,
            "p: many records arrive broken (20 of 50); 'other' (process 7) has the port open too and takes part of them"
        );
    }
}

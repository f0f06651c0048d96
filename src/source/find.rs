//! What there is to listen to: serial ports and CAN interfaces, who may open them, and what to type next.
//! Nothing is opened and nothing probed; the lists of the kernel are read.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// `ARPHRD_CAN` (Linux, linux/if_arp.h): the type of CAN interfaces in the kernel's list.
const CAN: &str = "280";
/// Kinds of ports that are adapters or built in and wired; the many `ttyS` that are not there are left out.
const PORTS: [&str; 5] = ["ttyUSB", "ttyACM", "ttyAMA", "ttySC", "ttymxc"];

/// A source that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// What to type.
    pub name: String,
    /// What it is.
    pub what: String,
    /// Whether this user may open it.
    pub allowed: bool,
    /// What to do first; empty when nothing.
    pub advice: String,
}

/// Serial ports, by their stable names where they have one.
#[must_use]
pub fn ports(dev: &Path) -> Vec<Found> {
    let mut devices: Vec<PathBuf> = Vec::new();
    let mut found = Vec::new();
    for link in listed(&dev.join("serial/by-id")) {
        if let Ok(device) = fs::canonicalize(&link) {
            found.push(port(&link, &format!("serial adapter, now {}", device.display())));
            devices.push(device);
        }
    }
    for path in listed(dev) {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let real = fs::canonicalize(&path).unwrap_or_else(|_| path.clone());
        if PORTS.iter().any(|kind| name.starts_with(kind)) && !devices.contains(&real) {
            found.push(port(&path, "serial port"));
        }
    }
    found
}

fn port(path: &Path, what: &str) -> Found {
    let access = rustix::fs::Access::READ_OK | rustix::fs::Access::WRITE_OK;
    let allowed = rustix::fs::access(path, access).is_ok();
    let group = group_of(path).unwrap_or_else(|| "dialout".to_owned());
    let advice =
        if allowed { String::new() } else { format!("sudo usermod -aG {group} $USER, then log out and in again") };
    Found { name: crate::model::clean(&path.to_string_lossy(), 200), what: what.to_owned(), allowed, advice }
}

/// Name of the group that a file belongs to.
#[must_use]
pub fn group_of(path: &Path) -> Option<String> {
    let group = fs::metadata(path).ok()?.gid().to_string();
    let all = fs::read_to_string("/etc/group").ok()?;
    let line = all.lines().find(|line| line.split(':').nth(2) == Some(&group))?;
    line.split(':').next().map(|name| crate::model::clean(name, 40))
}

/// Names of the CAN interfaces; `net` is `/sys/class/net` but for tests.
#[must_use]
pub fn interfaces(net: &Path) -> Vec<String> {
    let is_can = |path: &PathBuf| fs::read_to_string(path.join("type")).is_ok_and(|kind| kind.trim() == CAN);
    let names = listed(net).into_iter().filter(is_can);
    names.filter_map(|path| path.file_name().map(|name| crate::model::clean(&name.to_string_lossy(), 60))).collect()
}

/// What a directory holds, in the order of the names; nothing when it cannot be read.
fn listed(directory: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(directory).into_iter().flatten().flatten();
    let mut paths: Vec<_> = entries.map(|entry| entry.path()).collect();
    paths.sort();
    paths
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_is_listed_once_by_its_stable_name() {
        let dir = tempfile::tempdir().unwrap();
        let dev = dir.path().canonicalize().unwrap();
        fs::create_dir_all(dev.join("serial/by-id")).unwrap();
        for name in ["ttyUSB0", "ttyACM0", "tty1", "null"] {
            fs::write(dev.join(name), "").unwrap();
        }
        std::os::unix::fs::symlink(dev.join("ttyUSB0"), dev.join("serial/by-id/usb-adapter")).unwrap();
        let names: Vec<_> = ports(&dev).into_iter().map(|found| found.name).collect();
        let expected = [dev.join("serial/by-id/usb-adapter"), dev.join("ttyACM0")];
        assert_eq!(names, expected.map(|path| path.display().to_string()));
    }

    #[test]
    fn a_can_interface_is_told_by_its_type() {
        let net = tempfile::tempdir().unwrap();
        for (name, kind) in [("can0", "280\n"), ("eth0", "1\n"), ("vcan0", "280\n")] {
            fs::create_dir(net.path().join(name)).unwrap();
            fs::write(net.path().join(name).join("type"), kind).unwrap();
        }
        assert_eq!(interfaces(net.path()), ["can0", "vcan0"]);
    }
}

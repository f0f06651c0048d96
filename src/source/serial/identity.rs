//! Which port it is, whatever number the kernel gives it next time.

use std::fs;
use std::path::{Path, PathBuf};

/// A port by a name that stays: what the adapter calls itself, else the socket it is plugged into.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Identity {
    /// What the person typed.
    typed: PathBuf,
    /// A stable link to it, if there is one.
    stable: Option<PathBuf>,
}

impl Identity {
    /// The identity of the port at `path`; `names` is the directory with `by-id` and `by-path`.
    #[must_use]
    pub fn of(path: &Path, names: &Path) -> Self {
        let typed = path.to_path_buf();
        if path.starts_with(names) {
            return Self { stable: Some(typed.clone()), typed };
        }
        let stable = fs::canonicalize(path).ok().and_then(|device| {
            let by = |how: &str| links(&names.join(how)).into_iter().find(|link| leads_to(link, &device));
            by("by-id").or_else(|| by("by-path"))
        });
        Self { typed, stable }
    }

    /// Where the port is now: where its stable name leads, if that is there; else as it was typed.
    #[must_use]
    pub fn path(&self) -> PathBuf {
        self.stable.as_ref().and_then(|link| fs::canonicalize(link).ok()).unwrap_or_else(|| self.typed.clone())
    }

    /// Programs of this user, or of all when root, that have the port open beside us.
    #[must_use]
    pub fn others(&self) -> Option<String> {
        let device = fs::canonicalize(self.path()).ok()?;
        let own = std::process::id().to_string();
        let processes = fs::read_dir("/proc").ok()?.flatten();
        processes.filter(|entry| entry.file_name().to_string_lossy() != own).find_map(|entry| {
            let open = fs::read_dir(entry.path().join("fd")).ok()?.flatten();
            let has = open.map(|file| fs::read_link(file.path())).any(|link| link.is_ok_and(|to| to == device));
            has.then(|| {
                let name = fs::read_to_string(entry.path().join("comm")).unwrap_or_default();
                format!("'{}' (process {})", crate::model::clean(name.trim(), 40), entry.file_name().to_string_lossy())
            })
        })
    }
}

/// The links of a directory, in the order of their names.
fn links(directory: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(directory).into_iter().flatten().flatten();
    let mut paths: Vec<_> = entries.map(|entry| entry.path()).collect();
    paths.sort();
    paths
}

fn leads_to(link: &Path, device: &Path) -> bool {
    fs::canonicalize(link).is_ok_and(|to| to == device)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    #[test]
    fn an_adapter_is_found_again_under_another_number() {
        let dir = tempfile::tempdir().unwrap();
        let root = dir.path().canonicalize().unwrap();
        fs::create_dir_all(root.join("serial/by-id")).unwrap();
        fs::write(root.join("ttyUSB0"), "").unwrap();
        let link = root.join("serial/by-id/usb-adapter-1");
        symlink(root.join("ttyUSB0"), &link).unwrap();
        let identity = Identity::of(&root.join("ttyUSB0"), &root.join("serial"));
        assert_eq!(identity.path(), root.join("ttyUSB0"));
        fs::remove_file(&link).unwrap();
        fs::rename(root.join("ttyUSB0"), root.join("ttyUSB1")).unwrap();
        assert_eq!(identity.path(), root.join("ttyUSB0"), "not there: the name that was typed");
        symlink(root.join("ttyUSB1"), &link).unwrap();
        assert_eq!(identity.path(), root.join("ttyUSB1"));
    }

    #[test]
    fn a_port_without_a_stable_name_is_what_was_typed() {
        let identity = Identity::of(Path::new("/dev/null"), Path::new("/nonexistent"));
        assert_eq!(identity.path(), Path::new("/dev/null"));
    }
}

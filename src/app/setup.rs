//! What a run starts from: the bank file and the limits that were named on the command line.

use crate::bank::overrides;
use crate::model::limits::Limits;
use anyhow::{Context, bail};
use std::path::Path;

/// Largest file of limits, bytes.
const MOST: u64 = 1 << 20;

/// The limits in force with a bank file, or without one.
pub(super) fn limits(_bank: Option<&Path>) -> anyhow::Result<Limits> {
    Ok(Limits::default())
}

/// The limits with other numbers: `NAME=VALUE` each, and those of a file.
pub(super) fn other(base: &Limits, told: &[(String, f64)], file: Option<&Path>) -> anyhow::Result<Limits> {
    let mut limits = base.clone();
    if let Some(path) = file {
        let name = crate::model::clean(&path.to_string_lossy(), 200);
        let size = std::fs::metadata(path).with_context(|| format!("'{name}' cannot be read"))?.len();
        if size > MOST {
            bail!("'{name}' is too large for a file of limits ({size} bytes, at most {MOST})");
        }
        let text = std::fs::read_to_string(path).with_context(|| format!("'{name}' cannot be read"))?;
        for row in overrides::read(&text).with_context(|| name.clone())? {
            limits.set(&row.name, row.value).with_context(|| format!("{name}:{}", row.line))?;
        }
    }
    for (name, value) in told {
        limits.set(name, *value).context("--limit")?;
    }
    Ok(limits)
}

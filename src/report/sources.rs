//! Where each value comes from, and what is promised and never sent.

use super::signal_name;
use super::wrap::wrap;
use crate::model::Snapshot;
use serde_json::{Value, json};

/// Where each value that was heard comes from, in words.
#[must_use]
pub fn sources_text(snapshot: &Snapshot) -> String {
    let mut out = String::from("\nWhere values come from\n");
    for (slot, from) in snapshot.sources_of_values() {
        wrap(&mut out, &format!("  {}: ", signal_name(slot)), &from);
    }
    if !snapshot.never_sent.is_empty() {
        out += "\nPromised by the bank file and never sent\n";
    }
    for slot in &snapshot.never_sent {
        wrap(&mut out, "  ", &signal_name(*slot));
    }
    out
}

/// The same for programs: name and origin of each value.
#[must_use]
pub fn sources_json(snapshot: &Snapshot) -> Value {
    let row = |(slot, from): (_, String)| json!({ "name": signal_name(slot), "from": from });
    snapshot.sources_of_values().into_iter().map(row).collect()
}

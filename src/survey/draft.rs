//! A draft of a bank file from what was found.

use super::found::{Found, Known, Role};
use crate::layout::{Field, Form, Order};
use crate::model::Quantity;
use std::fmt::Write;

/// The draft, with what speaks for each value and what remains open as remarks.
#[must_use]
pub fn draft(found: &Found, known: &Known) -> String {
    let mut text = String::from(
        "# Drafted by listening: check it before you rely on it. Each signal says why it was taken, and how sure.\n",
    );
    if !found.roles.is_empty() {
        text += "dialect = \"file\"\n"; // which needs signals
    }
    for pack in 0..found.packs {
        let of = |quantity: Quantity| {
            found.roles.iter().filter(|role| role.slot.pack == pack && role.slot.quantity == quantity).count()
        };
        text += &format!("\n[[pack]]\ncells = {}\n", of(Quantity::CellVoltage));
        match known.capacity {
            Some(capacity) => text += &format!("capacity = {capacity}\n"),
            None => text += "# capacity = 100   # Ah, as printed on it\n",
        }
        let sensors = vec!["{ role = \"cell\" }"; of(Quantity::Temperature)].join(", ");
        if !sensors.is_empty() {
            text += &format!(
                "# where each sensor sits: cell, case, terminal, electronics or ambient\n# sensors = [{sensors}]\n"
            );
        }
    }
    for role in &found.roles {
        signal(&mut text, role);
    }
    for open in &found.open {
        let _ = write!(text, "\n# Not found: {}: {}.\n#   {}.\n", open.what.name(), open.why, open.settle);
    }
    text
}

fn signal(text: &mut String, role: &Role) {
    let Field { start, len, scale, offset, .. } = role.field;
    let _ = write!(text, "\n# {}; {:.0} % sure\n", role.evidence, 100.0 * role.confidence);
    let _ = write!(
        text,
        "[[signal]]\nrole = \"{}\"\npack = {}\n",
        role.slot.quantity.name().replace('_', "-"),
        role.slot.pack + 1
    );
    if matches!(role.slot.quantity, Quantity::CellVoltage | Quantity::Temperature) {
        let _ = writeln!(text, "number = {}", role.slot.index + 1);
    }
    let _ = write!(text, "id = \"{}\"\nstart = {start}\nlength = {len}\n", role.id);
    if role.field.order == Order::Big {
        *text += "order = \"big\"\n";
    }
    if role.field.form == Form::Signed {
        *text += "form = \"signed\"\n";
    }
    // a count that falls while charging: the bus counts the other way round
    let way = if scale < 0.0 { -1.0 } else { 1.0 };
    let _ = writeln!(text, "scale = {}", way * scale);
    if offset != 0.0 {
        let _ = writeln!(text, "offset = {}", way * offset);
    }
    if scale < 0.0 {
        *text += "current = \"discharge-positive\"\n";
    }
    if let Some(when) = &role.when {
        let Field { start, len, .. } = when.field;
        let _ = writeln!(text, "when = {{ start = {start}, length = {len}, is = {} }}", when.number);
    }
}

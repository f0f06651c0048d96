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
    let (scale, offset) = match role.in_fahrenheit() {
        Some(of_bus) => {
            *text += "unit = \"°F\"\n";
            of_bus
        }
        None => (scale, offset),
    };
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bank;
    use crate::model::{Id, Slot};
    use crate::survey::{Verdict, beside};

    #[test]
    fn a_temperature_in_fahrenheit_is_drafted_in_its_own_unit_and_read_back_the_same() {
        let field = Field { scale: 0.1 * 5.0 / 9.0, offset: -160.0 / 9.0, form: Form::Signed, ..Field::plain(0, 16) };
        let role = Role {
            slot: Slot::at(0, Quantity::Temperature, 0),
            channel: 0,
            id: Id::Standard(0x1B0),
            bytes: 8,
            when: None,
            field,
            confidence: 0.9,
            evidence: "rises with the heat of the current".into(),
        };
        let found = Found { packs: 1, roles: vec![role], ..Found::default() };
        let text = draft(&found, &Known::default());
        assert!(text.contains("form = \"signed\"\nunit = \"°F\"\nscale = 0.1\n") && !text.contains("offset"), "{text}");
        // a bank has cells
        let text = text.replace("cells = 0", "cells = 4");
        let map = bank::parse(&text, |_| Err(String::new())).unwrap().map().unwrap();
        let verdicts: Vec<Verdict> = beside(&found, &map).iter().map(|row| row.verdict).collect();
        assert_eq!(verdicts, [Verdict::Same]);
    }
}

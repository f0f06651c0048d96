//! What a survey found, as text and as JSON. `docs/json.md` describes every field.

use crate::layout::{Field, Form, Order};
use crate::model::Quantity;
use crate::survey::{Found, Role, When};
use serde_json::{Value, json};
use std::fmt::Write;

/// What is said about a bus that speaks something known already.
const KNOWN: &str = "This bus already speaks";

/// The text for people. `dialects` are the known ones that were heard.
#[must_use]
pub fn survey_text(found: &Found, dialects: &[&str]) -> String {
    let mut text = String::new();
    if !dialects.is_empty() {
        let _ =
            writeln!(text, "{KNOWN} {}: 'cellwright check' reads it without a bank file.\n", dialects.join(" and "));
    }
    let minutes = found.seconds / 60.0;
    let _ = writeln!(text, "{} frames of {} messages in {minutes:.1} minutes.", found.frames, found.messages);
    match found.packs {
        0 => text += "No bank was found.\n",
        1 => text += "One pack was found.\n",
        packs => {
            let _ = writeln!(text, "{packs} packs were found.");
        }
    }
    for role in &found.roles {
        let _ = writeln!(text, "\n{} of pack {}: {}", name(role), role.slot.pack + 1, place(role));
        let _ = writeln!(text, "    {:.0} % sure: it {}", 100.0 * role.confidence, role.evidence);
    }
    for open in &found.open {
        let _ = writeln!(text, "\nNot found: {}. {}.\n    {}.", words(open.what), capital(&open.why), open.settle);
    }
    if found.packs > 0 {
        text += "\nCheck a few of these against a meter. A draft of a bank file: --format draft.\n";
    }
    text
}

/// The document for programs.
#[must_use]
pub fn survey_json(found: &Found, dialects: &[&str]) -> String {
    let roles: Vec<Value> = found.roles.iter().map(role_json).collect();
    let open = |open: &crate::survey::Open| json!({"what": open.what.name(), "why": open.why, "settle": open.settle});
    let document = json!({
        "schema": super::SCHEMA,
        "known_dialects": dialects,
        "frames": found.frames,
        "messages": found.messages,
        "seconds": found.seconds,
        "packs": found.packs,
        "roles": roles,
        "open": found.open.iter().map(open).collect::<Vec<_>>(),
    });
    format!("{document:#}\n")
}

fn role_json(role: &Role) -> Value {
    let Field { start, len, scale, offset, .. } = role.field;
    json!({
        "quantity": role.slot.quantity.name(),
        "pack": role.slot.pack + 1,
        "number": role.slot.index + 1,
        "id": role.id.to_string(),
        "start": start,
        "length": len,
        "order": order(&role.field),
        "signed": role.field.form == Form::Signed,
        "scale": scale,
        "offset": offset,
        "when": role.when.as_ref().map(when_json),
        "confidence": role.confidence,
        "evidence": role.evidence,
    })
}

fn when_json(when: &When) -> Value {
    json!({"start": when.field.start, "length": when.field.len, "is": when.number})
}

fn order(field: &Field) -> &'static str {
    if field.order == Order::Big { "big" } else { "little" }
}

fn words(quantity: Quantity) -> String {
    quantity.name().replace('_', " ")
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn name(role: &Role) -> String {
    let words = capital(&words(role.slot.quantity));
    match role.slot.quantity {
        Quantity::CellVoltage | Quantity::Temperature => format!("{words} {}", role.slot.index + 1),
        _ => words,
    }
}

/// 'id 3A0, 16 bits from bit 7 (big-endian, signed), 0.1 a count'.
fn place(role: &Role) -> String {
    let Field { start, len, scale, offset, form, .. } = role.field;
    let sign = if form == Form::Signed { ", signed" } else { "" };
    let mut text = format!("id {}, {len} bits from bit {start} ({}-endian{sign}), ", role.id, order(&role.field));
    let _ = write!(text, "{scale} {} a count", role.slot.quantity.unit());
    if offset != 0.0 {
        let _ = write!(text, ", {offset} at 0");
    }
    if let Some(when) = &role.when {
        let _ = write!(text, ", when {} bits from bit {} are {}", when.field.len, when.field.start, when.number);
    }
    text
}

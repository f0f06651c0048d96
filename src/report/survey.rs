//! What a survey found, as text and as JSON. `docs/json.md` describes every field.

use crate::layout::{Field, Form, Order};
use crate::model::Quantity;
use crate::survey::{Beside, Found, Role, Verdict, When};
use serde_json::{Value, json};
use std::fmt::Write;

/// What is said about a bus that speaks something known already.
const KNOWN: &str = "This bus already speaks";

/// What to do with what was found.
const METER: &str = "
Check a few of these against a meter, the current above all: how large its count is rests on the capacity that is given
(--capacity), and with another capacity it is another.
";

/// And then, while there is no bank file yet.
const NEXT: &str = "Then let a draft be written, and judge by it:
    cellwright survey LOG --format draft > bank.toml   (with --capacity and --celsius as here)
    cellwright check LOG --bank bank.toml
";

/// The text for people. `dialects` are the known ones that were heard, `beside` is the comparison with a bank file.
#[must_use]
pub fn survey_text(found: &Found, dialects: &[&str], beside: Option<&[Beside]>) -> String {
    let mut text = String::new();
    if !dialects.is_empty() {
        let _ =
            writeln!(text, "{KNOWN} {}: 'cellwright check' reads it without a bank file.\n", dialects.join(" and "));
    }
    let minutes = found.seconds / 60.0;
    let kinds = if found.messages == 1 { "message" } else { "messages" };
    let _ = writeln!(text, "{} frames of {} {kinds} in {minutes:.1} minutes.", found.frames, found.messages);
    match found.packs {
        0 => text += "No bank was found.\n",
        1 => text += "One pack was found.\n",
        packs => {
            let _ = writeln!(text, "{packs} packs were found.");
        }
    }
    for role in &found.roles {
        let _ = writeln!(text, "\n{} of pack {}: {}", name(role), role.slot.pack + 1, place(role));
        let _ = writeln!(text, "    {:.0} % sure: {}", 100.0 * role.confidence, role.evidence);
    }
    for open in &found.open {
        let _ = writeln!(text, "\nNot found: {}. {}.\n    {}.", open.what.words(), capital(&open.why), open.settle);
    }
    if let Some(rows) = beside {
        text += &beside_lines(rows);
    }
    if found.packs > 0 {
        text += METER;
    }
    if found.packs > 0 && beside.is_none() {
        text += NEXT;
    }
    if found.packs > 0 && !found.open.is_empty() {
        text += "What was not found can be written into it by hand: 'cellwright bank template' shows how.\n";
    }
    text
}

/// How many values are the same, and then those that are not.
fn beside_lines(rows: &[Beside]) -> String {
    let same = rows.iter().filter(|row| row.verdict == Verdict::Same).count();
    let head = match rows.len() {
        0 => "it names nothing that a survey looks for, and nothing was found.".to_owned(),
        1 if same == 1 => "its one value is the same.".to_owned(),
        all if all == same => format!("all {all} values are the same."),
        all => format!("{same} of {all} values are the same:"),
    };
    let others = rows.iter().filter(|row| row.verdict != Verdict::Same).map(beside_line);
    format!("\nBeside the bank file: {head}\n{}", others.collect::<String>())
}

/// '  Current of pack 1: the same bits, scaled otherwise: 0.1 a count, 0 at 0 in the file; -0.1 a count, 0 at 0 found'.
fn beside_line(row: &Beside) -> String {
    let says = match (row.verdict, row.filed, row.found) {
        (Verdict::Scaled, Some((_, filed)), Some((_, found))) => {
            let read = |field: &Field| match field.form {
                Form::Signed => format!("signed, {}", scale_words(field)),
                _ => scale_words(field),
            };
            format!("the same bits, scaled otherwise: {} in the file; {} found", read(&filed), read(&found))
        }
        (Verdict::Other, Some((key, filed)), Some((id, found))) => {
            format!("other bits: {key}, {} in the file; id {id}, {} found", bits_words(&filed), bits_words(&found))
        }
        (Verdict::OnlyInFile, Some((key, filed)), _) => format!(
            "only in the file, nothing that was heard speaks for it: {key}, {}, {}",
            bits_words(&filed),
            scale_words(&filed)
        ),
        (_, _, Some((id, found))) => {
            format!("not in the file: id {id}, {}, {}", bits_words(&found), scale_words(&found))
        }
        _ => "not known".to_owned(),
    };
    format!("  {}: {says}\n", capital(&row.slot.to_string()))
}

/// '16 bits from bit 7, high byte first, signed'.
fn bits_words(field: &Field) -> String {
    format!("{} bits from bit {}{}", field.len, field.start, form_words(field))
}

/// '0.1 a count, 0 at 0'.
fn scale_words(field: &Field) -> String {
    format!("{} a count, {} at 0", field.scale, field.offset)
}

fn beside_json(row: &Beside) -> Value {
    let verdict = match row.verdict {
        Verdict::Same => "same",
        Verdict::Scaled => "scaled",
        Verdict::Other => "other",
        Verdict::OnlyInFile => "only_in_file",
        Verdict::OnlyFound => "only_found",
    };
    json!({
        "quantity": row.slot.quantity.name(),
        "pack": row.slot.pack + 1,
        "number": row.slot.index + 1,
        "verdict": verdict,
    })
}

/// The document for programs.
#[must_use]
pub fn survey_json(found: &Found, dialects: &[&str], beside: Option<&[Beside]>) -> String {
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
        "beside_file": beside.map(|rows| rows.iter().map(beside_json).collect::<Vec<_>>()),
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

/// ', high byte first, signed', as `bank check` says it; nothing for what is neither.
fn form_words(field: &Field) -> String {
    let order = if field.order == Order::Big { ", high byte first" } else { "" };
    let sign = if field.form == Form::Signed { ", signed" } else { "" };
    format!("{order}{sign}")
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn name(role: &Role) -> String {
    let words = capital(&role.slot.quantity.words());
    match role.slot.quantity {
        Quantity::CellVoltage | Quantity::Temperature => format!("{words} {}", role.slot.index + 1),
        _ => words,
    }
}

fn unit(quantity: Quantity) -> &'static str {
    match quantity.unit() {
        "fraction" => "of full",
        "degC" => "°C",
        unit => unit,
    }
}

/// 'id 3A0, 16 bits from bit 7, high byte first, signed, 0.1 A a count, discharge positive'.
fn place(role: &Role) -> String {
    let Field { start, len, scale, offset, .. } = role.field;
    let mut text = format!("id {}, {len} bits from bit {start}{}, ", role.id, form_words(&role.field));
    // The draft of a bank file turns a current over too, where the bus counts what is drawn.
    let turned = role.slot.quantity == Quantity::Current && scale < 0.0;
    let sign = if turned { -1.0 } else { 1.0 };
    let of_role = (sign * scale, sign * offset, unit(role.slot.quantity));
    let in_fahrenheit = role.in_fahrenheit().map(|(scale, offset)| (scale, offset, "°F"));
    let (scale, offset, unit) = in_fahrenheit.unwrap_or(of_role);
    let _ = write!(text, "{scale} {unit} a count");
    if offset != 0.0 {
        let _ = write!(text, ", {offset} at 0");
    }
    if turned {
        text += ", discharge positive";
    }
    if let Some(when) = &role.when {
        let _ = write!(text, ", when {} bits from bit {} are {}", when.field.len, when.field.start, when.number);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Id, Slot};

    fn role(quantity: Quantity, field: Field) -> Role {
        Role {
            slot: Slot { pack: 0, index: 0, quantity },
            channel: 0,
            id: Id::Standard(0x3A2),
            bytes: 8,
            when: None,
            field,
            confidence: 0.83,
            evidence: "the cells' voltage follows its steps".into(),
        }
    }

    #[test]
    fn a_temperature_in_fahrenheit_is_told_in_the_unit_of_its_bus() {
        let field = Field { scale: 5.0 / 9.0, offset: -40.0, ..Field::plain(0, 8) };
        let told = place(&role(Quantity::Temperature, field));
        assert_eq!(told, "id 3A2, 8 bits from bit 0, 1 °F a count, -40 at 0");
        let told = place(&role(Quantity::Temperature, Field { scale: 1.0, ..field }));
        assert_eq!(told, "id 3A2, 8 bits from bit 0, 1 °C a count, -40 at 0");
    }

    #[test]
    fn a_current_that_counts_what_is_drawn_is_told_as_the_draft_writes_it() {
        let field = Field { order: Order::Big, form: Form::Signed, scale: -0.1, ..Field::plain(7, 16) };
        let found = Found { packs: 1, roles: vec![role(Quantity::Current, field)], ..Found::default() };
        let text = survey_text(&found, &[], None);
        let told = "\nCurrent of pack 1: id 3A2, 16 bits from bit 7, high byte first, signed, 0.1 A a count, discharge \
                    positive\n    83 % sure: the cells' voltage follows its steps\n";
        assert!(text.contains(told), "{text}");
        assert!(text.contains("cellwright survey LOG --format draft > bank.toml"), "{text}");
    }
}

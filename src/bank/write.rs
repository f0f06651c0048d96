//! Data back into text: a bank file that needs no DBC.

use super::inline::{BLANKS, FORMS, ORDERS};
use super::pack::BALANCE_WORDS;
use super::role::{is_directed, is_of_the_bank, word_of};
use super::signal::SIGNS;
use super::{BankFile, Signal};
use crate::layout::{Blank, Field, Form, Key, Order, Place, When};
use crate::model::bank::{Grain, Span};
use crate::model::{BankEvent, Id, PackSpec};
use std::fmt::Write;

/// The text of a bank file that says the same of a bus, with every signal written out. How a table is laid out is left
/// out: a recording has none.
#[must_use]
pub fn write(file: &BankFile) -> String {
    let mut out = String::new();
    if !file.name.is_empty() {
        line(&mut out, "name", &quoted(&file.name));
    }
    if let Some(dialect) = file.dialect {
        line(&mut out, "dialect", &quoted(dialect.word()));
    }
    if file.reversed {
        line(&mut out, "current", &quoted(SIGNS[1].0));
    }
    packs(&mut out, &file.bank.packs, &file.instances);
    if !file.limits.is_empty() {
        out.push_str("\n[limits]\n");
        file.limits.iter().for_each(|(name, number)| line(&mut out, &quoted(name), &decimal(*number)));
    }
    file.signals.iter().for_each(|one| signal(&mut out, one, file.reversed));
    file.events.iter().for_each(|one| event(&mut out, one));
    out
}

fn line(out: &mut String, key: &str, value: &str) {
    let _ = writeln!(out, "{key} = {value}"); // into a String: cannot fail
}

/// A number that reads back as it was.
fn decimal(number: f64) -> String {
    format!("{number:?}")
}

/// A text that is clean already.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

fn word<T: PartialEq>(words: &[(&'static str, T)], meaning: &T) -> &'static str {
    words.iter().find(|(_, known)| known == meaning).map_or("", |(word, _)| word)
}

/// An inline table; nothing when all of it is unknown.
fn inline(out: &mut String, key: &str, parts: &[(&str, Option<String>)]) {
    let known: Vec<String> =
        parts.iter().filter_map(|(key, value)| Some(format!("{key} = {}", value.as_ref()?))).collect();
    if !known.is_empty() {
        line(out, key, &format!("{{ {} }}", known.join(", ")));
    }
}

fn packs(out: &mut String, packs: &[PackSpec], instances: &[u8]) {
    let mut rest = packs;
    while let Some(first) = rest.first() {
        let at = packs.len() - rest.len();
        let instance = instances.get(at);
        let alike = rest.iter().take_while(|pack| *pack == first).count();
        let count = if instance.is_some() { 1 } else { alike };
        out.push_str("\n[[pack]]\n");
        if count > 1 {
            line(out, "count", &count.to_string());
        }
        if let Some(instance) = instance {
            line(out, "instance", &instance.to_string());
        }
        pack(out, first);
        rest = rest.get(count..).unwrap_or_default();
    }
}

fn pack(out: &mut String, pack: &PackSpec) {
    let mut given = |key: &str, value: Option<String>| {
        if let Some(value) = value {
            line(out, key, &value);
        }
    };
    given("cells", pack.cells.map(|cells| cells.to_string()));
    given("capacity", pack.rated.capacity.map(|value| decimal(value.get())));
    given("charge", pack.rated.charge.map(|value| decimal(value.get())));
    given("discharge", pack.rated.discharge.map(|value| decimal(value.get())));
    given("weakest", pack.rated.weakest.map(|value| decimal(value.get())));
    given("absorption", pack.absorption.map(|value| decimal(value.get())));
    given("float", pack.float.map(|value| decimal(value.get())));
    let heater = &pack.heater;
    let current = heater.current.map(|value| decimal(value.get()));
    inline(out, "heater", &[("fitted", heater.fitted.map(|fitted| fitted.to_string())), ("current", current)]);
    let balance = &pack.balance;
    let kind = balance.kind.map(|kind| quoted(word(BALANCE_WORDS, &kind)));
    let current = balance.current.map(|value| decimal(value.get()));
    let threshold = balance.threshold.map(|value| decimal(value.get()));
    inline(out, "balance", &[("kind", kind), ("current", current), ("threshold", threshold)]);
    sensors(out, pack);
    links(out, pack);
    ends(out, &pack.grain, &pack.span);
}

fn sensors(out: &mut String, pack: &PackSpec) {
    let known = pack.sensors.iter().rposition(|sensor| *sensor != Default::default()).map_or(0, |last| last + 1);
    if known == 0 {
        return;
    }
    let one = |sensor: &crate::model::bank::SensorSpec| {
        let cell = sensor.cell.map(|cell| format!(", cell = {}", u16::from(cell) + 1)).unwrap_or_default();
        format!("    {{ role = {}{cell} }},\n", quoted(sensor.role.word()))
    };
    let all: String = pack.sensors.iter().take(known).map(one).collect();
    line(out, "sensors", &format!("[\n{all}]"));
}

fn links(out: &mut String, pack: &PackSpec) {
    let known: Vec<String> = (1..)
        .zip(&pack.links)
        .filter_map(|(cell, ohms): (usize, _)| Some(format!("{cell} = {}", milliohms(ohms.as_ref()?.get()))))
        .collect();
    if !known.is_empty() {
        line(out, "links", &format!("{{ {} }}", known.join(", ")));
    }
}

/// The shortest number of milliohms that reads back as so many ohms.
fn milliohms(ohms: f64) -> String {
    let exact = ohms * 1e3;
    let near = (0..=12).map(|digits| format!("{exact:.digits$}"));
    let mut near = near.filter(|text| text.parse::<f64>().is_ok_and(|number| number * 1e-3 == ohms));
    near.next().unwrap_or_else(|| decimal(exact))
}

fn ends(out: &mut String, grain: &Grain, span: &Span) {
    inline(
        out,
        "grain",
        &[
            ("cell", grain.cell.map(|value| decimal(value.get()))),
            ("temperature", grain.temperature.map(decimal)),
            ("current", grain.current.map(|value| decimal(value.get()))),
            ("pack", grain.pack.map(|value| decimal(value.get()))),
        ],
    );
    let range = |low: Option<f64>, high: Option<f64>| {
        let low = low.map(|low| format!("low = {}", decimal(low)));
        let high = high.map(|high| format!("high = {}", decimal(high)));
        let both: Vec<String> = low.into_iter().chain(high).collect();
        (!both.is_empty()).then(|| format!("{{ {} }}", both.join(", ")))
    };
    let volts = |(low, high): (Option<crate::unit::Volts>, Option<crate::unit::Volts>)| {
        range(low.map(|v| v.get()), high.map(|v| v.get()))
    };
    let (low, high) = span.temperature;
    let temperature = range(low.map(|t| t.get()), high.map(|t| t.get()));
    let (low, high) = span.current;
    let current = range(low.map(|a| a.get()), high.map(|a| a.get()));
    let parts =
        [("cell", volts(span.cell)), ("temperature", temperature), ("current", current), ("pack", volts(span.pack))];
    inline(out, "span", &parts);
}

fn signal(out: &mut String, signal: &Signal, reversed: bool) {
    let slot = signal.slot;
    out.push_str("\n[[signal]]\n");
    line(out, "role", &quoted(word_of(slot.quantity)));
    if !is_of_the_bank(slot.quantity) {
        line(out, "pack", &counted(slot.pack, signal.places.pack));
    }
    line(out, "number", &counted(slot.index, signal.places.index));
    for (key, text) in [("message-name", &signal.message), ("signal-name", &signal.name)] {
        if !text.is_empty() {
            line(out, key, &quoted(text));
        }
    }
    match signal.key {
        Key::Exact(Id::Standard(id)) => line(out, "id", &format!("\"{id:03X}\"")),
        Key::Exact(Id::Extended(id)) => line(out, "id", &format!("\"{id:08X}\"")),
        Key::Group(group) => line(out, "group", &format!("\"{group:05X}\"")),
    }
    field(out, &signal.field);
    if reversed && is_directed(slot.quantity) {
        line(out, "current", &quoted(SIGNS[0].0));
    }
    if !signal.states.is_empty() {
        let all: Vec<String> =
            signal.states.iter().map(|(raw, number)| format!("{raw} = {}", decimal(*number))).collect();
        line(out, "states", &format!("{{ {} }}", all.join(", ")));
    }
    if !signal.when.is_empty() {
        let all: String = signal.when.iter().map(|one| format!("    {},\n", when(one))).collect();
        line(out, "when", &format!("[\n{all}]"));
    }
    place(out, "pack-in", signal.places.pack);
    place(out, "number-in", signal.places.index);
}

/// A number from 1, or as many as a number in the data can name.
fn counted(from: u8, place: Option<Place>) -> String {
    let first = u16::from(from) + 1;
    match place {
        None => first.to_string(),
        Some(place) => format!("\"{first}..{}\"", first + u16::from(place.count).max(1) - 1),
    }
}

fn field(out: &mut String, field: &Field) {
    line(out, "start", &field.start.to_string());
    line(out, "length", &field.len.to_string());
    if field.order != Order::Little {
        line(out, "order", &quoted(word(ORDERS, &field.order)));
    }
    if field.form != Form::Unsigned {
        line(out, "form", &quoted(word(FORMS, &field.form)));
    }
    if field.scale != 1.0 {
        line(out, "scale", &decimal(field.scale));
    }
    if field.offset != 0.0 {
        line(out, "offset", &decimal(field.offset));
    }
    if field.blank != Blank::None {
        line(out, "blank", &quoted(word(BLANKS, &field.blank)));
    }
}

fn bits(field: &Field) -> String {
    format!("start = {}, length = {}, order = {}", field.start, field.len, quoted(word(ORDERS, &field.order)))
}

fn when(when: &When) -> String {
    let all: Vec<String> = when.any_of.iter().map(|(low, high)| format!("\"{low}..{high}\"")).collect();
    format!("{{ {}, is = [{}] }}", bits(&when.field), all.join(", "))
}

fn place(out: &mut String, key: &str, place: Option<Place>) {
    if let Some(place) = place {
        line(out, key, &format!("{{ {}, first = {} }}", bits(&place.field), place.first));
    }
}

fn event(out: &mut String, event: &BankEvent) {
    out.push_str("\n[[event]]\n");
    line(out, "date", &event.at.to_string());
    line(out, "what", &quoted(event.change.word()));
    for (key, number) in [("pack", event.pack), ("sensor", event.sensor)] {
        if let Some(number) = number {
            line(out, key, &(u16::from(number) + 1).to_string());
        }
    }
    if !event.note.is_empty() {
        line(out, "note", &quoted(&event.note));
    }
}

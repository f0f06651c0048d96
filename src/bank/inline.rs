//! Fields written out: where there is no DBC.

use super::error::Trouble;
use super::pattern;
use super::reader::{Reader, Table};
use crate::layout::{Blank, Field, Form, Key, Order, Place, When};
use crate::model::Id;

/// Words for the byte orders.
pub(super) const ORDERS: &[(&str, Order)] = &[("little", Order::Little), ("big", Order::Big)];
/// Words for the forms of numbers.
pub(super) const FORMS: &[(&str, Form)] =
    &[("unsigned", Form::Unsigned), ("signed", Form::Signed), ("float", Form::Float)];
/// Words for the codes that are no numbers.
pub(super) const BLANKS: &[(&str, Blank)] = &[("none", Blank::None), ("two", Blank::Two), ("three", Blank::Three)];

/// Largest scale and offset that can be meant.
pub(super) const MOST: f64 = 1e12;

/// A field: start, length, order, form, scale, offset, blank.
pub(super) fn field(reader: &mut Reader, table: &Table) -> Option<Field> {
    for key in ["start", "length"] {
        if !table.has(key) {
            reader.problem(table.at, Trouble::Needs { key, place: table.what });
        }
    }
    let start = reader.whole(table, "start", (0, 511))? as u16;
    let len = reader.whole(table, "length", (1, 64))? as u8;
    let order = reader.word(table, "order", ORDERS).unwrap_or(Order::Little);
    let form = reader.word(table, "form", FORMS).unwrap_or_default();
    let blank = reader.word(table, "blank", BLANKS).unwrap_or_default();
    let scale = reader.number(table, "scale", (-MOST, MOST)).unwrap_or(1.0);
    let offset = reader.number(table, "offset", (-MOST, MOST)).unwrap_or(0.0);
    let field = Field { start, len, order, form, scale, offset, blank };
    if scale == 0.0 {
        reader.problem(table.place("scale"), Trouble::Key { key: "scale", why: "cannot be 0" });
    } else if !field.is_possible() {
        let why = "does not fit: a field lies within 64 bytes, a float has 32 or 64 bits, and a field with blank codes \
                   has room for numbers beside them";
        reader.problem(table.place("start"), Trouble::Key { key: "start", why });
    }
    Some(field).filter(|field| scale != 0.0 && field.is_possible())
}

/// Where the frames of a signal come from: `id` as the log writes it, or `group`.
pub(super) fn key(reader: &mut Reader, table: &Table) -> Option<Key> {
    if let Some(value) = table.get("group") {
        let group = value.get_ref().as_str().and_then(|text| hex(text, 1..=5));
        let group = group.filter(|group| *group <= 0x3_FFFF && Key::group_of(group << 8) == *group);
        if group.is_none() {
            reader.wrong(
                "group",
                value,
                "a parameter group in hex digits, such as \"1F214\"; below F000 it ends in 00",
            );
        }
        return group.map(Key::Group);
    }
    let value = table.get("id")?;
    let id = value.get_ref().as_str().and_then(id_of);
    if id.is_none() {
        reader.wrong(
            "id",
            value,
            "an id as the log writes it: three hex digits for 11 bits (\"355\"), eight for 29 (\"18FF5001\")",
        );
    }
    id.map(Key::Exact)
}

fn id_of(text: &str) -> Option<Id> {
    let digits = text.strip_prefix("0x").unwrap_or(text);
    match digits.len() {
        3 => hex(digits, 3..=3).filter(|id| *id <= 0x7FF).map(|id| Id::Standard(id as u16)),
        8 => hex(digits, 8..=8).filter(|id| *id <= 0x1FFF_FFFF).map(Id::Extended),
        _ => None,
    }
}

fn hex(text: &str, lens: std::ops::RangeInclusive<usize>) -> Option<u32> {
    let digits = text.strip_prefix("0x").unwrap_or(text);
    let all = digits.bytes().all(|byte| byte.is_ascii_hexdigit());
    if all && lens.contains(&digits.len()) { u32::from_str_radix(digits, 16).ok() } else { None }
}

/// The id so many further on.
pub(super) fn further(key: Key, by: u64) -> Option<Key> {
    let add = |id: u32, most: u32| u32::try_from(by).ok()?.checked_add(id).filter(|id| *id <= most);
    Some(match key {
        Key::Exact(Id::Standard(id)) => Key::Exact(Id::Standard(add(u32::from(id), 0x7FF)? as u16)),
        Key::Exact(Id::Extended(id)) => Key::Exact(Id::Extended(add(id, 0x1FFF_FFFF)?)),
        Key::Group(group) => Key::Group(add(group, 0x3_FFFF).filter(|group| Key::group_of(group << 8) == *group)?),
    })
}

/// The conditions of `when`, and how far each moves from frame to frame.
pub(super) fn when(reader: &mut Reader, table: &Table) -> Vec<(When, u64)> {
    let mut found = Vec::new();
    for table in reader.tables(table, "when", "a condition of 'when'") {
        reader.known(&table, &["start", "length", "order", "is", "step"]);
        let step = reader.whole(&table, "step", (0, 1 << 16)).unwrap_or(0);
        let any_of = pattern::ranges(reader, &table, "is");
        if any_of.is_empty() && reader.is_well() {
            reader.problem(table.at, Trouble::Needs { key: "is", place: table.what });
        }
        if let Some(field) = field(reader, &table) {
            found.push((When { field, any_of }, step));
        }
    }
    found
}

/// A number in the data: `{ start, length, first }`, for so many.
pub(super) fn place(reader: &mut Reader, table: &Table, key: &str, count: usize) -> Option<Place> {
    let table = reader.table(table, key, "a number in the data")?;
    reader.known(&table, &["start", "length", "order", "first"]);
    let first = reader.whole(&table, "first", (0, u64::MAX)).unwrap_or(1);
    let field = field(reader, &table)?;
    Some(Place { field, first, count: u8::try_from(count).unwrap_or(u8::MAX) })
}

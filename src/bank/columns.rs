//! `[table]` and `[[column]]`: how a table out of a spreadsheet is laid out.

use super::error::Trouble;
use super::reader::Reader;
use super::signal::{self, SIGNS};
use super::table::{Column, TimeColumn, TimeForm};
use super::{Table, compile, fit, history, pattern, reader};
use crate::model::{Bank, Stamp};

/// Largest factor and addend of a column.
const MOST: f64 = 1e9;

/// The layout of the table; none where the file has no `[table]`.
pub(super) fn table(reader: &mut Reader, top: &reader::Table, bank: &Bank) -> Option<Table> {
    let columns = reader.tables(top, "column", "a [[column]]");
    let Some(table) = reader.table(top, "table", "how a table is laid out") else {
        if let Some(first) = columns.first() {
            reader.problem(first.at, Trouble::Needs { key: "[table]", place: "a bank file with [[column]]" });
        }
        return None;
    };
    reader.known(&table, &["separator", "decimal", "time", "count", "start", "format", "zone"]);
    let separator =
        reader.word(&table, "separator", &[(";", ';'), (",", ','), ("\t", '\t'), ("tab", '\t'), ("|", '|')]);
    let decimal = reader.word(&table, "decimal", &[(".", '.'), (",", ',')]);
    let heading = reader.text(&table, "time").unwrap_or_else(|| "Time".to_owned());
    let per_second = reader.word(&table, "count", &[("seconds", 1.0), ("milliseconds", 1000.0)]);
    let start = history::moment(reader, &table, "start");
    let (format, zone) = (reader.text(&table, "format"), reader.text(&table, "zone"));
    for (key, is_odd) in
        [("start", per_second.is_none()), ("format", per_second.is_some()), ("zone", per_second.is_some())]
    {
        if table.has(key) && is_odd {
            let why =
                if key == "start" { "is the moment of count 0: it needs 'count'" } else { "does not go with 'count'" };
            reader.problem(table.place(key), Trouble::Key { key, why });
        }
    }
    let form = match per_second {
        Some(per_second) => TimeForm::Count { per_second, start: start.unwrap_or(Stamp::from_secs(0)) },
        None => TimeForm::Stamp { format },
    };
    let mut found: Vec<Column> = Vec::new();
    for one in &columns {
        let new = column(reader, top, one).unwrap_or_default();
        let misfit =
            new.iter().find_map(|column| fit::is_described((column.slot, &column.heading), (0, 0), bank).err());
        let again = new.iter().find(|column| found.iter().any(|other| other.slot == column.slot));
        let twice = again.map(|column| Trouble::Twice { what: compile::shown(column.slot), by: "columns" });
        if let Some(trouble) = misfit.or(twice) {
            reader.problem(one.at, trouble);
        }
        found.extend(new);
    }
    if found.is_empty() && reader.is_well() {
        reader.problem(table.at, Trouble::Needs { key: "[[column]]", place: "a bank file with [table]" });
    }
    Some(Table { separator, decimal, time: TimeColumn { heading, form }, zone, columns: found })
}

fn column(reader: &mut Reader, top: &reader::Table, table: &reader::Table) -> Option<Vec<Column>> {
    reader.known(table, &["role", "pack", "number", "heading", "unit", "current", "scale", "offset"]);
    let turned = reader.word(top, "current", &SIGNS).unwrap_or(false);
    let common = signal::common(reader, table, turned)?;
    if !table.has("heading") {
        reader.problem(table.at, Trouble::Needs { key: "heading", place: table.what });
    }
    let heading = reader.text(table, "heading")?;
    let Some(headings) = pattern::names(&heading) else {
        let value = table.get("heading")?;
        reader.wrong("heading", value, "a heading, with ranges such as \"Cell {1..4}\"");
        return None;
    };
    let slots = signal::slots(reader, table, &common, headings.len(), &heading)?;
    let unit = reader.text(table, "unit");
    let sign = if common.turned { -1.0 } else { 1.0 };
    let scale = reader.number(table, "scale", (-MOST, MOST)).unwrap_or(1.0) * sign;
    let offset = reader.number(table, "offset", (-MOST, MOST)).unwrap_or(0.0) * sign;
    let column = |(heading, slot)| Column { heading, slot, unit: unit.clone(), scale, offset };
    Some(headings.into_iter().zip(slots).map(column).collect())
}

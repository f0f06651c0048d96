//! A line into cells: separators, quotes, decimal marks, what an empty cell looks like.

use super::units::split;
use super::{Refusal, TableError, listed};
use crate::bank::table::{Column, Table};
use crate::bank::{unit, units};
use crate::model::{Slot, Value, clean};
use csv_core::{ReadRecordResult, Reader, ReaderBuilder};

/// Longest line.
const MOST_LINE: usize = 64 * 1024;
/// Most columns of a line.
const MOST_COLUMNS: usize = 4096;
/// Separators that are looked for in the heading.
const SEPARATORS: [u8; 4] = [b';', b'\t', b'|', b','];
/// Cells that say 'nothing here'.
const EMPTY: [&str; 9] = ["", "-", "--", "—", "n/a", "na", "nan", "null", "none"];

/// A column that is used: where it stands and what becomes of its numbers.
#[derive(Debug)]
struct Used {
    at: usize,
    slot: Slot,
    scale: f64,
    offset: f64,
}

/// Where the columns stand.
#[derive(Debug)]
pub(super) struct Layout {
    cells: Cells,
    columns: usize,
    time: usize,
    used: Vec<Used>,
    decimal: Option<char>,
    values: Vec<(Slot, Value)>,
}

/// What a row holds.
pub(super) struct Row<'a> {
    pub(super) time: String,
    pub(super) values: &'a [(Slot, Value)],
    pub(super) bad: u64,
}

impl Layout {
    /// By the heading; none when the line does not have the time's column.
    pub(super) fn of(table: &Table, heading: &[u8]) -> Result<Option<Self>, TableError> {
        let text = heading.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(heading);
        let given = table.separator.map(|mark| mark as u8);
        let count = |mark: &u8| text.iter().filter(|byte| *byte == mark).count();
        let found = SEPARATORS.iter().copied().max_by_key(|mark| (count(mark), std::cmp::Reverse(*mark == b',')));
        let separator = given.or(found).unwrap_or(b',');
        let mut cells = Cells::new(separator);
        let headings = match cells.split(text) {
            Ok(headings) => headings,
            Err(_) => return Ok(None),
        };
        let Some(time) = place(&headings, &table.time.heading)? else { return Ok(None) };
        let used = table.columns.iter().map(|column| {
            let at = place(&headings, &column.heading)?.ok_or_else(|| TableError::NoColumn {
                heading: clean(&column.heading, 60),
                all: listed(headings.iter().map(String::as_str)),
            })?;
            used(column, at, headings.get(at).map_or("", String::as_str))
        });
        let used = used.collect::<Result<Vec<_>, _>>()?;
        let (columns, decimal) = (headings.len(), table.decimal);
        Ok(Some(Self { columns, cells, time, used, decimal, values: Vec::new() }))
    }

    /// The cells of a row.
    pub(super) fn read(&mut self, line: &[u8]) -> Result<Row<'_>, Refusal> {
        let cells = self.cells.split(line)?;
        if cells.len() < self.columns {
            return Err(Refusal::FewColumns);
        }
        let beyond = cells.get(self.columns..).unwrap_or_default();
        if self.cells.separator == b',' && beyond.iter().any(|cell| !cell.trim().is_empty()) {
            return Err(Refusal::ManyColumns); // decimal commas without quotes take a number apart
        }
        let mut bad = 0;
        self.values.clear();
        for used in &self.used {
            let cell = cells.get(used.at).map_or("", String::as_str);
            let value = value(cell, used, (self.cells.separator, &mut self.decimal));
            bad += u64::from(matches!(value, Value::Invalid(_)));
            self.values.push((used.slot, value));
        }
        let time = cells.get(self.time).map(|cell| cell.trim().to_owned()).unwrap_or_default();
        Ok(Row { time, values: &self.values, bad })
    }
}

/// Which column has a heading: the one that is headed just so, or else the one that is when its unit is left out.
fn place(headings: &[String], wanted: &str) -> Result<Option<usize>, TableError> {
    let wanted = wanted.trim();
    let all = |is: &dyn Fn(&str) -> bool| -> Vec<usize> {
        headings.iter().enumerate().filter(|(_, heading)| is(heading.trim())).map(|(at, _)| at).collect()
    };
    let whole = all(&|heading| heading.eq_ignore_ascii_case(wanted));
    let (name, unit) = split(wanted);
    let is_same = |heading: &str| {
        let (other, other_unit) = split(heading);
        let agree = unit.is_none_or(|unit| other_unit.is_some_and(|other| other.eq_ignore_ascii_case(unit)));
        other.eq_ignore_ascii_case(name) && agree
    };
    let found = if whole.is_empty() { all(&is_same) } else { whole };
    if found.len() > 1 {
        let these = found.iter().filter_map(|at| headings.get(*at));
        return Err(TableError::SeveralColumns { heading: clean(wanted, 60), all: listed(these.map(String::as_str)) });
    }
    Ok(found.first().copied())
}

fn used(column: &Column, at: usize, heading: &str) -> Result<Used, TableError> {
    let (_, in_heading) = split(heading);
    let quantity = column.slot.quantity;
    let has_unit = units(quantity).next().is_some(); // 'Heater (on/off)' names none
    let named = column.unit.as_deref().or(in_heading).filter(|named| has_unit && !named.is_empty());
    let (scale, offset) = match named {
        Some(named) => unit(quantity, named).ok_or_else(|| TableError::Unit {
            heading: clean(heading, 60),
            unit: clean(named, 20),
            quantity: quantity.name(),
            expected: units(quantity).collect::<Vec<_>>().join(", "),
        })?,
        None if quantity.unit() == "fraction" => return Err(TableError::UnitNeeded(clean(heading, 60))),
        None => (1.0, 0.0),
    };
    Ok(Used { at, slot: column.slot, scale: column.scale * scale, offset: column.offset * scale + offset })
}

/// The value of a cell; the decimal mark is found at the first number that has one.
fn value(cell: &str, used: &Used, (separator, decimal): (u8, &mut Option<char>)) -> Value {
    let cell = cell.trim();
    if EMPTY.iter().any(|empty| cell.eq_ignore_ascii_case(empty)) {
        return Value::Missing;
    }
    let (low, high) = used.slot.quantity.bounds();
    let scaled = |number: f64| number * used.scale + used.offset;
    let fits = |number: f64| (low..=high).contains(&scaled(number));
    let is_switch = used.slot.quantity.unit().is_empty() && (low, high) == (0.0, 1.0);
    let word = is_switch.then(|| switch(cell)).flatten();
    if decimal.is_none() && !(separator == b',' && is_grouped(cell, fits)) {
        *decimal = cell.chars().find(|mark| matches!(mark, '.' | ','));
    }
    let Some(number) = word.or_else(|| number(cell, *decimal)) else { return Value::Invalid(0) };
    if fits(number) { Value::Present(scaled(number)) } else { Value::Invalid(0) }
}

/// Whether a quoted number between commas may as well be one whose thousands are marked: `"3,301"` in mV, but not in V.
fn is_grouped(cell: &str, fits: impl Fn(f64) -> bool) -> bool {
    let mut groups = cell.split(',').skip(1).peekable();
    let of_three = |group: &str| group.len() == 3 && group.bytes().all(|byte| byte.is_ascii_digit());
    groups.peek().is_some() && groups.all(of_three) && cell.replace(',', "").parse().is_ok_and(fits)
}

fn number(cell: &str, decimal: Option<char>) -> Option<f64> {
    let number = match decimal {
        Some(',') if cell.contains('.') => return None,
        Some(',') => cell.replacen(',', ".", 1).parse::<f64>(),
        _ => cell.parse::<f64>(),
    };
    number.ok().filter(|number| number.is_finite())
}

fn switch(cell: &str) -> Option<f64> {
    let is = |words: &[&str]| words.iter().any(|word| cell.eq_ignore_ascii_case(word));
    if is(&["on", "true", "yes", "closed"]) {
        return Some(1.0);
    }
    is(&["off", "false", "no", "open"]).then_some(0.0)
}

/// Takes a line apart, with quotes as RFC 4180 has them. Bounded, whatever the line holds.
#[derive(Debug)]
struct Cells {
    reader: Reader,
    separator: u8,
    text: Vec<u8>,
    ends: Vec<usize>,
}

impl Cells {
    fn new(separator: u8) -> Self {
        let reader = ReaderBuilder::new().delimiter(separator).build();
        Self { reader, separator, text: vec![0; MOST_LINE], ends: vec![0; MOST_COLUMNS] }
    }

    fn split(&mut self, line: &[u8]) -> Result<Vec<String>, Refusal> {
        if line.len() >= MOST_LINE || line.iter().filter(|byte| **byte == b'"').count() % 2 == 1 {
            return Err(Refusal::LongLine);
        }
        self.reader.reset();
        let (result, read, wrote, ends) = self.reader.read_record(line, &mut self.text, &mut self.ends);
        let ends = match result {
            ReadRecordResult::InputEmpty => {
                let rest = self.ends.get_mut(ends..).unwrap_or_default();
                let text = self.text.get_mut(wrote..).unwrap_or_default();
                let (result, .., more) = self.reader.read_record(line.get(read..).unwrap_or_default(), text, rest);
                match result {
                    ReadRecordResult::Record => ends + more,
                    _ => return Err(Refusal::LongLine),
                }
            }
            ReadRecordResult::Record => ends,
            ReadRecordResult::End => 0,
            _ => return Err(Refusal::LongLine),
        };
        let mut from = 0;
        let cells = self.ends.iter().take(ends).map(|end| {
            let cell = self.text.get(from..*end).unwrap_or_default();
            from = *end;
            text(cell)
        });
        Ok(cells.collect())
    }
}

/// UTF-8, or else the one-byte letters that spreadsheets write (ISO 8859-1).
fn text(bytes: &[u8]) -> String {
    std::str::from_utf8(bytes).map_or_else(|_| bytes.iter().map(|byte| char::from(*byte)).collect(), str::to_owned)
}

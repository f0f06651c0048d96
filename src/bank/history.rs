//! `[[event]]`: what was done to the bank.

use super::error::Trouble;
use super::reader::{Reader, Table};
use super::{MOST_EVENTS, pattern};
use crate::model::{Bank, BankEvent, Change, MAX_PACKS, MAX_SENSORS, Stamp};
use toml::de::DeValue;
use toml::value::{Datetime, Offset};

/// Every event, in the order of time.
pub(super) fn events(reader: &mut Reader, top: &Table, bank: &Bank) -> Vec<BankEvent> {
    let mut events = Vec::new();
    let most = if bank.packs.is_empty() { MAX_PACKS } else { bank.packs.len() };
    for table in reader.tables(top, "event", "an [[event]]") {
        if events.len() >= MOST_EVENTS {
            reader.problem(table.at, Trouble::TooMany { what: "events", most: MOST_EVENTS });
            break;
        }
        reader.known(&table, &["date", "what", "pack", "sensor", "note"]);
        for key in ["date", "what"] {
            if !table.has(key) {
                reader.problem(table.at, Trouble::Needs { key, place: table.what });
            }
        }
        let at = moment(reader, &table, "date");
        let change = reader.word(&table, "what", Change::WORDS);
        let mut one = |key, most| {
            let numbers = pattern::numbers(reader, &table, key, most);
            numbers.and_then(|numbers| numbers.first().copied())
        };
        let (pack, sensor) = (one("pack", most), one("sensor", MAX_SENSORS));
        let note = reader.text(&table, "note").unwrap_or_default();
        if let (Some(at), Some(change)) = (at, change) {
            events.push(BankEvent { at, change, pack, sensor, note });
        }
    }
    events.sort_by_key(|event| event.at);
    events
}

/// The moment of a key.
pub(super) fn moment(reader: &mut Reader, table: &Table, key: &str) -> Option<Stamp> {
    let value = table.get(key)?;
    let moment = value.get_ref().as_datetime().and_then(stamp).or_else(|| match value.get_ref() {
        DeValue::String(text) => text.parse::<Datetime>().ok().as_ref().and_then(stamp),
        _ => None,
    });
    if moment.is_none() {
        reader.wrong(key, value, "a date such as 2026-05-01 or 2026-05-01T14:30:00Z; without a zone it is UTC");
    }
    moment
}

/// A moment; without a zone UTC, without a time midnight.
fn stamp(date: &Datetime) -> Option<Stamp> {
    let (day, time) = (date.date?, date.time);
    let civil = jiff::civil::Date::new(i16::try_from(day.year).ok()?, day.month as i8, day.day as i8).ok()?;
    let time = time.map_or(Some(jiff::civil::Time::midnight()), |time| {
        let nanos = i32::try_from(time.nanosecond).ok()?;
        jiff::civil::Time::new(time.hour as i8, time.minute as i8, time.second as i8, nanos).ok()
    })?;
    let utc = civil.to_datetime(time).to_zoned(jiff::tz::TimeZone::UTC).ok()?.timestamp();
    let minutes = match date.offset {
        Some(Offset::Custom { minutes }) => i64::from(minutes),
        _ => 0,
    };
    let nanos = i64::try_from(utc.as_nanosecond()).ok()?;
    Some(Stamp::from_nanos(nanos.checked_sub(minutes * 60_000_000_000)?))
}

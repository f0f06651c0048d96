//! What the packs are, and limits that are overridden.

use super::error::Trouble;
use super::reader::{Reader, Table, hint, number_of};
use crate::model::bank::{Balance, BalanceKind, Grain, Heater, Ratings, SensorSpec, Span};
use crate::model::limits::LIMITS;
use crate::model::{Bank, Limits, MAX_CELLS, MAX_PACKS, MAX_SENSORS, PackSpec, Quantity, SensorRole};
use crate::unit::{AmpHours, Amps, Celsius, Ohms, Volts};
use toml::de::DeValue;

const KEYS: &[&str] = &[
    "count",
    "instance",
    "cells",
    "capacity",
    "charge",
    "discharge",
    "weakest",
    "absorption",
    "float",
    "heater",
    "balance",
    "sensors",
    "links",
    "grain",
    "span",
];

/// Words for the kinds of balancing.
pub(super) const BALANCE_WORDS: &[(&str, BalanceKind)] = &[
    ("unknown", BalanceKind::Unknown),
    ("none", BalanceKind::None),
    ("bleed-above", BalanceKind::BleedAbove),
    ("bleed-highest", BalanceKind::BleedHighest),
    ("transfer", BalanceKind::Transfer),
];

/// Largest battery instance of IEC 61162-3.
const MOST_INSTANCE: u64 = 252;

/// Every `[[pack]]`, in order; one with `count` stands for so many. With the battery instance of each, where it is said.
pub(super) fn packs(reader: &mut Reader, top: &Table) -> (Bank, Vec<u8>) {
    let (mut bank, mut instances) = (Bank::default(), Vec::new());
    for table in reader.tables(top, "pack", "a [[pack]]") {
        reader.known(&table, KEYS);
        let count = reader.whole(&table, "count", (1, MAX_PACKS as u64)).unwrap_or(1);
        let pack = pack(reader, &table);
        let first = reader.whole(&table, "instance", (0, MOST_INSTANCE));
        for number in 0..count {
            if bank.packs.len() >= MAX_PACKS {
                reader.problem(table.at, Trouble::TooMany { what: "packs", most: MAX_PACKS });
                return (bank, instances);
            }
            bank.packs.push(pack.clone());
            instances.extend(first.map(|first| (first + number).min(u64::from(u8::MAX)) as u8));
        }
        instance(reader, &table, (&bank, &instances));
    }
    (bank, instances)
}

/// Whether the instances so far are one for each pack, or none at all.
fn instance(reader: &mut Reader, table: &Table, (bank, instances): (&Bank, &[u8])) {
    let twice = instances.iter().enumerate().any(|(at, one)| instances.iter().take(at).any(|other| other == one));
    let why = if !instances.is_empty() && instances.len() != bank.packs.len() {
        "is said of one [[pack]] and not of another: say it of each, or of none"
    } else if twice {
        "is one that another pack has; the packs of a 'count' have the next ones"
    } else if instances.iter().any(|one| u64::from(*one) > MOST_INSTANCE) {
        "leads beyond 252, the last that there is"
    } else {
        return;
    };
    reader.problem(table.place("instance"), Trouble::Key { key: "instance", why });
}

fn pack(reader: &mut Reader, table: &Table) -> PackSpec {
    let mut get = |key, quantity: Quantity| reader.number(table, key, quantity.bounds());
    let rated = Ratings {
        capacity: get("capacity", Quantity::RatedCapacity).map(AmpHours::of),
        charge: get("charge", Quantity::RatedCharge).map(Amps::of),
        discharge: get("discharge", Quantity::RatedDischarge).map(Amps::of),
        weakest: get("weakest", Quantity::WeakestPart).map(Amps::of),
    };
    let absorption = get("absorption", Quantity::AllowedAbsorption).map(Volts::of);
    let float = get("float", Quantity::AllowedFloat).map(Volts::of);
    let cells = reader.whole(table, "cells", (1, MAX_CELLS as u64)).map(|cells| cells as u8);
    let mut pack = PackSpec { cells, rated, absorption, float, ..PackSpec::default() };
    pack.heater = heater(reader, table);
    pack.balance = balance(reader, table);
    sensors(reader, table, &mut pack);
    links(reader, table, &mut pack);
    pack.grain = grain(reader, table);
    pack.span = span(reader, table);
    pack
}

fn heater(reader: &mut Reader, table: &Table) -> Heater {
    let Some(table) = reader.table(table, "heater", "a heater") else { return Heater::default() };
    reader.known(&table, &["fitted", "current"]);
    let fitted = reader.flag(&table, "fitted");
    let current = reader.number(&table, "current", Quantity::HeaterCurrent.bounds()).map(Amps::of);
    Heater { fitted: fitted.or(current.map(|_| true)), current }
}

fn balance(reader: &mut Reader, table: &Table) -> Balance {
    let Some(table) = reader.table(table, "balance", "balancing") else { return Balance::default() };
    reader.known(&table, &["kind", "current", "threshold"]);
    Balance {
        current: reader.number(&table, "current", Quantity::BalanceCurrent.bounds()).map(Amps::of),
        kind: reader.word(&table, "kind", BALANCE_WORDS),
        threshold: reader.number(&table, "threshold", Quantity::BalanceThreshold.bounds()).map(Volts::of),
    }
}

fn sensors(reader: &mut Reader, table: &Table, pack: &mut PackSpec) {
    let words: Vec<(&str, SensorRole)> = SensorRole::ALL.iter().map(|(_, role)| (role.word(), *role)).collect();
    let most_cell = u64::from(pack.cells.unwrap_or(MAX_CELLS as u8));
    let tables = reader.tables(table, "sensors", "a sensor");
    if tables.len() > MAX_SENSORS {
        reader.problem(table.place("sensors"), Trouble::TooMany { what: "sensors of a pack", most: MAX_SENSORS });
    }
    for (table, sensor) in tables.iter().zip(&mut pack.sensors) {
        reader.known(table, &["role", "cell"]);
        let role = reader.word(table, "role", &words).unwrap_or_default();
        let cell = reader.whole(table, "cell", (1, most_cell)).map(|cell| (cell - 1) as u8);
        *sensor = SensorSpec { role, cell };
    }
}

fn links(reader: &mut Reader, table: &Table, pack: &mut PackSpec) {
    let Some(links) = reader.table(table, "links", "links by cell, in milliohm") else { return };
    let (low, high) = Quantity::LinkResistance.bounds();
    let most = usize::from(pack.cells.unwrap_or(MAX_CELLS as u8));
    for (key, value) in links.rows {
        let cell: Option<usize> = key.get_ref().parse().ok().filter(|cell| (1..=most).contains(cell));
        let milliohms = number_of(value.get_ref()).filter(|number| (low..=high).contains(number));
        match (cell.and_then(|cell| pack.links.get_mut(cell - 1)), milliohms) {
            (Some(link), Some(milliohms)) => *link = Some(Ohms::of(milliohms * 1e-3)),
            _ => reader.wrong(key.get_ref(), value, format!("a cell from 1 to {most} and {low} to {high} milliohm")),
        }
    }
}

fn grain(reader: &mut Reader, table: &Table) -> Grain {
    let Some(table) = reader.table(table, "grain", "the resolution of values") else { return Grain::default() };
    reader.known(&table, &["cell", "temperature", "current", "pack"]);
    let mut get = |key, quantity: Quantity| reader.number(&table, key, quantity.bounds());
    Grain {
        cell: get("cell", Quantity::CellVoltageStep).map(Volts::of),
        temperature: get("temperature", Quantity::TemperatureStep),
        current: get("current", Quantity::CurrentStep).map(Amps::of),
        pack: get("pack", Quantity::PackVoltageStep).map(Volts::of),
    }
}

fn span(reader: &mut Reader, table: &Table) -> Span {
    let Some(table) = reader.table(table, "span", "the range of values") else { return Span::default() };
    reader.known(&table, &["cell", "temperature", "current", "pack"]);
    let cell = ends(reader, &table, "cell", Quantity::CellVoltageLow);
    let temperature = ends(reader, &table, "temperature", Quantity::TemperatureLow);
    let current = ends(reader, &table, "current", Quantity::CurrentLow);
    let pack = ends(reader, &table, "pack", Quantity::PackVoltageLow);
    Span {
        cell: (cell.0.map(Volts::of), cell.1.map(Volts::of)),
        temperature: (temperature.0.map(Celsius::of), temperature.1.map(Celsius::of)),
        current: (current.0.map(Amps::of), current.1.map(Amps::of)),
        pack: (pack.0.map(Volts::of), pack.1.map(Volts::of)),
    }
}

/// Low and high end, `{ low = …, high = … }`.
fn ends(reader: &mut Reader, table: &Table, key: &str, quantity: Quantity) -> (Option<f64>, Option<f64>) {
    let Some(ends) = reader.table(table, key, "the two ends of a range") else { return (None, None) };
    reader.known(&ends, &["low", "high"]);
    let (low, high) = (reader.number(&ends, "low", quantity.bounds()), reader.number(&ends, "high", quantity.bounds()));
    if let (Some(low), Some(high)) = (low, high)
        && low >= high
        && let Some(value) = table.get(key)
    {
        reader.wrong(key, value, "a low end below the high end");
    }
    (low, high)
}

/// `[limits]`: names of the table of limits, as in `cell-overvoltage.notice = 3.75`.
pub(super) fn limits(reader: &mut Reader, top: &Table) -> Vec<(String, f64)> {
    let mut found = Vec::new();
    let Some(table) = reader.table(top, "limits", "limits by name") else { return found };
    for (key, value) in table.rows {
        let rule: &str = key.get_ref();
        match value.get_ref() {
            DeValue::Table(rows) => {
                for (name, value) in rows.iter().take(LIMITS.len()) {
                    limit(reader, &format!("{rule}.{}", name.get_ref()), value, &mut found);
                }
            }
            _ => limit(reader, rule, value, &mut found),
        }
        if reader.is_full() {
            break;
        }
    }
    found.sort_by(|a, b| a.0.cmp(&b.0));
    found
}

fn limit(reader: &mut Reader, name: &str, value: super::reader::Spot, found: &mut Vec<(String, f64)>) {
    let Some(row) = LIMITS.iter().find(|row| row.name == name) else {
        let hint = hint(name, LIMITS.iter().map(|row| row.name));
        let hint = if hint.starts_with("did") { hint } else { "docs/limits.md lists them".to_owned() };
        let key = crate::model::clean(name, 60);
        reader.problem(value.span().start, Trouble::UnknownKey { key, place: "[limits]", hint });
        return;
    };
    let (min, max) = row.bounds;
    match number_of(value.get_ref()).filter(|number| Limits::default().set(name, *number).is_ok()) {
        Some(_) if found.iter().any(|(known, _)| known == name) => {
            reader.problem(value.span().start, Trouble::Twice { what: name.to_owned(), by: "rows" });
        }
        Some(number) => found.push((name.to_owned(), number)),
        None => reader.wrong(name, value, format!("{min} to {max} {}", row.unit)),
    }
}

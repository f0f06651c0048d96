//! `[[signal]]`: which signal plays which role.

use super::error::Trouble;
use super::reader::{Reader, Spot, Table, hint, number_of};
use super::role::{self, MOST_COUNTERS, ROLES, is_directed, is_of_the_bank};
use super::spread::Spread;
use super::{MOST_SIGNALS, Signal, compile, fit, from_dbc, inline, pattern};
use crate::layout::dbc::Dbc;
use crate::layout::{Field, Form, Key, Places, When};
use crate::model::bank::{SourceKind, SourceState};
use crate::model::{Bank, Id, MAX_PACKS, Quantity, Slot, clean};
use toml::de::DeValue;

/// Words for the sign of a current; true when it is to be turned over.
pub(super) const SIGNS: [(&str, bool); 2] = [("charge-positive", false), ("discharge-positive", true)];

/// Least and most bits of a live counter: fewer come round too soon to tell a gap.
const COUNTER_BITS: (u8, u8) = (8, 32);

const KEYS: &[&str] = &[
    "role",
    "pack",
    "number",
    "message",
    "signal",
    "by",
    "id",
    "group",
    "id-step",
    "per-frame",
    "start",
    "length",
    "order",
    "form",
    "scale",
    "offset",
    "blank",
    "step",
    "unit",
    "current",
    "states",
    "when",
    "pack-in",
    "number-in",
    "message-name",
    "signal-name",
];

/// Keys that say where a field stands, which a DBC says itself.
const WRITTEN_OUT: &[&str] = &[
    "group",
    "id-step",
    "per-frame",
    "start",
    "length",
    "order",
    "form",
    "scale",
    "offset",
    "step",
    "when",
    "message-name",
    "signal-name",
];

/// What every signal of a `[[signal]]` has in common.
pub(super) struct Common {
    role: Quantity,
    packs: Vec<u8>,
    numbers: Option<Vec<u8>>,
    unit: Option<(f64, f64)>,
    pub(super) turned: bool,
    states: Vec<(u64, f64)>,
}

/// Every signal of the file, for the packs that it describes.
pub(super) fn signals(reader: &mut Reader, top: &Table, known: &[Dbc], (bank, turned): (&Bank, bool)) -> Vec<Signal> {
    let (mut signals, mut taken): (Vec<Signal>, _) = (Vec::new(), fit::Taken::default());
    for table in reader.tables(top, "signal", "a [[signal]]") {
        reader.known(&table, KEYS);
        if reader.is_full() {
            break;
        }
        let before = signals.len();
        if let Some(common) = common(reader, &table, turned) {
            let new = if table.has("message") {
                by_name(reader, &table, known, &common)
            } else {
                written_out(reader, &table, &common)
            };
            signals.extend(new.unwrap_or_default());
        }
        if signals.len() > MOST_SIGNALS {
            reader.problem(table.at, Trouble::TooMany { what: "signals", most: MOST_SIGNALS });
            return Vec::new();
        }
        let new = signals.get(before..).unwrap_or_default();
        let fits = compile::agrees(&signals, before).and_then(|()| fit::fits(new, bank));
        let fits = fits.and_then(|()| taken.take(new, reader.line(table.at)));
        if let Err(trouble) = fits {
            reader.problem(table.at, trouble);
        }
    }
    signals
}

pub(super) fn common(reader: &mut Reader, table: &Table, turned: bool) -> Option<Common> {
    if !table.has("role") {
        reader.problem(table.at, Trouble::Needs { key: "role", place: table.what });
        return None;
    }
    let words: Vec<_> = ROLES.iter().map(|(word, role, most)| (*word, (*role, *most))).collect();
    let (role, most) = reader.word(table, "role", &words)?;
    let turned = reader.word(table, "current", &SIGNS).unwrap_or(turned);
    if table.has("current") && !is_directed(role) {
        reader.problem(
            table.place("current"),
            Trouble::Key { key: "current", why: "is for the roles current and bank-current" },
        );
    }
    if table.has("pack") && is_of_the_bank(role) {
        reader.problem(
            table.place("pack"),
            Trouble::Key { key: "pack", why: "has no meaning here: this role belongs to the whole bank" },
        );
    }
    let packs = pattern::numbers(reader, table, "pack", MAX_PACKS).unwrap_or_else(|| vec![0]);
    let numbers = pattern::numbers(reader, table, "number", most);
    let unit = unit(reader, table, role);
    let states = states(reader, table, role);
    Some(Common { role, packs, numbers, unit, turned: turned && is_directed(role), states })
}

fn unit(reader: &mut Reader, table: &Table, role: Quantity) -> Option<(f64, f64)> {
    let value = table.get("unit")?;
    let text = value.get_ref().as_str().unwrap_or_default();
    if role::units(role).next().is_none() {
        let why = "does not go with this role, whose values are states or counts; 'states' says what raw numbers mean";
        reader.problem(value.span().start, Trouble::Key { key: "unit", why });
        return None;
    }
    let unit = role::unit(role, text);
    if unit.is_none() {
        reader.not_among("unit", value, hint(text, role::units(role)));
    }
    unit
}

/// `states = { 0 = "open", 1 = "closed" }`: raw numbers, and a number or a word for each.
fn states(reader: &mut Reader, table: &Table, role: Quantity) -> Vec<(u64, f64)> {
    let Some(states) = reader.table(table, "states", "states by raw number") else { return Vec::new() };
    let mut found = Vec::new();
    for (key, value) in states.rows {
        let raw: Option<u64> = key.get_ref().parse().ok();
        match (raw, meaning(role, value)) {
            (Some(raw), Some(number)) => found.push((raw, number)),
            (None, _) => reader.wrong(key.get_ref(), value, "a raw number from 0 up before the ="),
            (_, None) => reader.wrong(key.get_ref(), value, format!("a number, or {}", words(role))),
        }
    }
    found.sort_by_key(|(raw, _)| *raw);
    found
}

/// Words for the states of what is open or closed, on or off.
const SWITCH_WORDS: &[(&str, f64)] =
    &[("open", 0.0), ("off", 0.0), ("no", 0.0), ("closed", 1.0), ("on", 1.0), ("yes", 1.0)];

fn meaning(role: Quantity, value: Spot) -> Option<f64> {
    let (low, high) = role.bounds();
    let number = match value.get_ref() {
        DeValue::Boolean(flag) => Some(f64::from(u8::from(*flag))),
        DeValue::String(word) => match role {
            Quantity::SourceState => {
                SourceState::ALL.iter().find(|(_, state)| state.word() == word).map(|(code, _)| f64::from(*code))
            }
            Quantity::SourceKind => {
                SourceKind::ALL.iter().find(|(_, kind)| kind.word() == word).map(|(code, _)| f64::from(*code))
            }
            _ => SWITCH_WORDS.iter().find(|(known, _)| known == word).map(|(_, number)| *number),
        },
        other => number_of(other),
    };
    number.filter(|number| (low..=high).contains(number))
}

fn words(role: Quantity) -> String {
    let all: Vec<&str> = match role {
        Quantity::SourceState => SourceState::ALL.iter().map(|(_, state)| state.word()).collect(),
        Quantity::SourceKind => SourceKind::ALL.iter().map(|(_, kind)| kind.word()).collect(),
        _ => SWITCH_WORDS.iter().map(|(word, _)| *word).collect(),
    };
    format!("one of {}", all.join(", "))
}

/// The slots of so many signals: packs outermost. A problem when there are not as many as signals.
pub(super) fn slots(
    reader: &mut Reader,
    table: &Table,
    common: &Common,
    found: usize,
    names: &str,
) -> Option<Vec<Slot>> {
    let most = ROLES.iter().find(|(_, role, _)| *role == common.role).map_or(1, |(.., most)| *most);
    let per_pack = (found / common.packs.len().max(1)).clamp(1, most);
    let numbers = common.numbers.clone().unwrap_or_else(|| (0..per_pack as u8).collect());
    let wanted = common.packs.len() * numbers.len();
    if wanted != found {
        let what = format!("{} of {} packs", numbers.len(), common.packs.len());
        let names = clean(names, 100);
        reader.problem(table.at, Trouble::Count { found, wanted, names, what });
        return None;
    }
    let slot = |pack: &u8| numbers.iter().map(|number| Slot::at(*pack, common.role, *number)).collect::<Vec<_>>();
    Some(common.packs.iter().flat_map(slot).collect())
}

/// Signals by the names of a DBC: every message with every signal, messages outermost.
fn by_name(reader: &mut Reader, table: &Table, known: &[Dbc], common: &Common) -> Option<Vec<Signal>> {
    for &key in WRITTEN_OUT {
        if table.has(key) {
            reader.problem(
                table.place(key),
                Trouble::Key { key, why: "does not go with 'message': the DBC says where a signal stands" },
            );
            return None;
        }
    }
    if !table.has("signal") {
        reader.problem(table.at, Trouble::Needs { key: "signal", place: "a [[signal]] with 'message'" });
        return None;
    }
    let (messages, signals) = (reader.text(table, "message")?, reader.text(table, "signal")?);
    let pairs = pairs(reader, table, (&messages, &signals))?;
    let key = inline::key(reader, table);
    let by_group = reader.word(table, "by", &[("id", false), ("group", true)]).unwrap_or(false);
    let blank = reader.word(table, "blank", inline::BLANKS);
    let places = places(reader, table, common);
    let slots = if places == Places::default() {
        slots(reader, table, common, pairs.len(), &format!("{messages}.{signals}"))?
    } else {
        vec![Slot::at(*common.packs.first()?, common.role, first_number(common))]
    };
    let mut found = Vec::new();
    for ((message, signal), slot) in pairs.iter().zip(slots) {
        let (message, signal) = from_dbc::find(reader, table, known, (message, signal))?;
        let unit = unit_of(reader, table, common, (&message.name, &signal.name, &signal.unit))?;
        let mut field = scaled(signal.field, unit, common.turned);
        field.blank = blank.unwrap_or(field.blank);
        let key = match (key, message.id) {
            (Some(key), _) => key,
            (None, Id::Extended(id)) if by_group => Key::Group(Key::group_of(id)),
            _ => message.key,
        };
        found.push(checked(
            reader,
            table,
            Signal {
                slot,
                key,
                message: clean(&message.name, 64),
                name: clean(&signal.name, 64),
                field,
                states: common.states.clone(),
                when: signal.when.clone(),
                places,
            },
        )?);
    }
    Some(found)
}

/// Factor and addend of a signal of a DBC, by the unit that is said for it or else by the DBC's. One that names none is
/// in the role's own; one that is not known is never taken for it.
fn unit_of(
    reader: &mut Reader,
    table: &Table,
    common: &Common,
    (message, signal, unit): (&str, &str, &str),
) -> Option<(f64, f64)> {
    let says_nothing = unit.trim().is_empty() || role::units(common.role).next().is_none() || !common.states.is_empty();
    let found = common.unit.or_else(|| role::unit(common.role, unit)).or(says_nothing.then_some((1.0, 0.0)));
    if found.is_none() {
        let known = role::units(common.role).collect::<Vec<_>>().join(", ");
        let signal = format!("{}.{}", clean(message, 64), clean(signal, 64));
        let (unit, role) = (clean(unit, 40), role::word_of(common.role));
        reader.problem(table.place("signal"), Trouble::Unit { signal, unit, role, known });
    }
    found
}

fn pairs(reader: &mut Reader, table: &Table, (messages, signals): (&str, &str)) -> Option<Vec<(String, String)>> {
    let expected = "a name, with ranges such as \"Cell{1..16}\"";
    let mut expand = |key: &str, pattern: &str| {
        let names = pattern::names(pattern);
        if let (None, Some(value)) = (&names, table.get(key)) {
            reader.wrong(key, value, expected);
        }
        names
    };
    let (messages, signals) = (expand("message", messages)?, expand("signal", signals)?);
    if messages.len() * signals.len() > MOST_SIGNALS {
        reader.problem(table.at, Trouble::TooMany { what: "signals", most: MOST_SIGNALS });
        return None;
    }
    let pair = |message: &String| signals.iter().map(|signal| (message.clone(), signal.clone())).collect::<Vec<_>>();
    Some(messages.iter().flat_map(pair).collect())
}

/// Signals written out: the first, and by how many bits and ids the next ones stand further on.
fn written_out(reader: &mut Reader, table: &Table, common: &Common) -> Option<Vec<Signal>> {
    for key in ["signal", "by"] {
        if table.has(key) {
            reader.problem(
                table.place(key),
                Trouble::Key { key, why: "needs 'message', the name of a message in the DBC" },
            );
        }
    }
    if table.has("id") == table.has("group") {
        reader.problem(table.at, Trouble::Needs { key: "message, id or group", place: table.what });
        return None;
    }
    let (key, field) = (inline::key(reader, table), inline::field(reader, table));
    let when = inline::when(reader, table);
    let step = reader.whole(table, "step", (0, 511)).unwrap_or(0);
    let id_step = reader.whole(table, "id-step", (0, 1 << 24)).unwrap_or(0);
    let places = places(reader, table, common);
    let message = reader.text(table, "message-name").unwrap_or_default();
    let name = reader.text(table, "signal-name").unwrap_or_default();
    let in_data = places != Places::default();
    let count = if in_data { 1 } else { common.packs.len() * common.numbers.as_ref().map_or(1, Vec::len) };
    let moves = id_step > 0 || when.iter().any(|(_, step)| *step > 0);
    let all_in_one = if moves && step == 0 { 1 } else { count as u64 };
    let per_frame = reader.whole(table, "per-frame", (1, 512)).unwrap_or(all_in_one);
    let (key, field) = (key?, field?);
    let field = scaled(field, common.unit.unwrap_or((1.0, 0.0)), common.turned);
    let slots = if in_data {
        vec![Slot::at(*common.packs.first()?, common.role, first_number(common))]
    } else {
        slots(reader, table, common, count, "fields written out")?
    };
    let spread = Spread {
        numbers: (slots.len() / common.packs.len().max(1)).max(1) as u64,
        per_frame,
        moves,
        several: common.packs.len() > 1,
        both: id_step > 0 && when.iter().any(|(_, step)| *step > 0),
    };
    let mut found = Vec::new();
    for (number, slot) in slots.into_iter().enumerate() {
        let (id, frame, place) = spread.at(number as u64);
        let start = u64::from(field.start) + step * place;
        let moved = inline::further(key, id_step * id).zip(u16::try_from(start).ok());
        let Some((key, start)) = moved else {
            reader.problem(table.at, Trouble::Key { key: "step", why: "leads beyond the last id or bit" });
            return None;
        };
        let when = when.iter().map(|(when, step)| shifted(when, step * frame)).collect();
        found.push(checked(
            reader,
            table,
            Signal {
                slot,
                key,
                message: message.clone(),
                name: name.clone(),
                field: Field { start, ..field },
                states: common.states.clone(),
                when,
                places,
            },
        )?);
    }
    Some(found)
}

fn first_number(common: &Common) -> u8 {
    common.numbers.as_ref().and_then(|numbers| numbers.iter().min().copied()).unwrap_or(0)
}

fn shifted(when: &When, by: u64) -> When {
    let any_of = when.any_of.iter().map(|(low, high)| (low.saturating_add(by), high.saturating_add(by))).collect();
    When { field: when.field, any_of }
}

/// `pack-in` and `number-in`: numbers in the data, for as many as `pack` and `number` name.
fn places(reader: &mut Reader, table: &Table, common: &Common) -> Places {
    let numbers = common.numbers.as_ref().map_or(1, Vec::len);
    Places {
        pack: inline::place(reader, table, "pack-in", common.packs.len()),
        index: inline::place(reader, table, "number-in", numbers),
    }
}

/// A field in another unit or direction.
fn scaled(field: Field, (factor, addend): (f64, f64), turned: bool) -> Field {
    let sign = if turned { -1.0 } else { 1.0 };
    let offset = sign * (field.offset * factor + addend);
    Field { scale: field.scale * factor * sign, offset: if offset == 0.0 { 0.0 } else { offset }, ..field }
}

/// What holds for each signal by itself.
fn checked(reader: &mut Reader, table: &Table, signal: Signal) -> Option<Signal> {
    let is_counter = signal.slot.quantity == Quantity::SenderFrames;
    let (least, most) = COUNTER_BITS;
    if is_counter && (!(least..=most).contains(&signal.field.len) || signal.field.form != Form::Unsigned) {
        let why = "of a live counter: it must be unsigned and have 8 to 32 bits; a shorter one comes round too soon to tell a gap";
        reader.problem(table.at, Trouble::Key { key: "length", why });
        return None;
    }
    if is_counter && usize::from(signal.slot.index) >= MOST_COUNTERS {
        return None;
    }
    let (scale, offset) = (signal.field.scale.abs(), signal.field.offset.abs());
    if !(scale > 0.0 && scale <= inline::MOST && offset <= inline::MOST) {
        reader.problem(
            table.at,
            Trouble::Key { key: "scale", why: "or offset cannot be meant: beyond a million million, or 0" },
        );
        return None;
    }
    let bare = |when: When| When {
        field: Field { order: when.field.order, ..Field::plain(when.field.start, when.field.len) },
        ..when
    };
    let when = signal.when.into_iter().map(bare).collect();
    let signal = Signal { when, ..signal };
    if !signal.field.is_possible() {
        reader.problem(table.at, Trouble::Key { key: "step", why: "leads beyond the 64 bytes of a frame" });
        return None;
    }
    Some(signal)
}

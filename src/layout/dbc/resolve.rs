//! Statements put together: signals with their floats, states and switches; what cannot be is refused.

use super::error::{DbcError, MOST_PROBLEMS, Note, Problem, Trouble};
use super::overlap::overlaps;
use super::raw::{Bits, Number, Raw, RawMessage, RawSignal, States};
use super::switch::{Ranges, Switches};
use super::{Dbc, MOST_NAME, Message, Signal};
use crate::layout::{Blank, Field, Form, Key, Order};
use crate::model::{Id, clean};
use std::collections::{BTreeMap, BTreeSet};

/// Where signals that belong to no message are kept by editors.
const NO_MESSAGE: &str = "VECTOR__INDEPENDENT_SIG_MSG";
/// The address of a sender that has none (SAE J1939-81): in a DBC, any sender.
const ANY_SENDER: u32 = 0xFE;

/// Where each signal is: message and place in it.
type Places = BTreeMap<(Number, String), (usize, usize)>;

/// What the other statements say of signals, by message and place in it.
struct About {
    kinds: BTreeMap<(usize, usize), u64>,
    states: BTreeMap<(usize, usize), States>,
    ranges: BTreeMap<usize, Ranges>,
}

/// Puts it together.
pub(super) fn resolve(mut raw: Raw) -> Result<Dbc, DbcError> {
    let apart: BTreeSet<Number> = raw.messages.iter().filter(|m| m.name == NO_MESSAGE).map(|m| m.number).collect();
    raw.messages.retain(|message| message.name != NO_MESSAGE);
    let mut problems = Vec::new();
    let places = places(&raw.messages, &mut problems);
    let mut known = Known { places, apart, problems };
    let mut about = About { kinds: known.kinds(&raw), states: known.states(&mut raw), ranges: known.ranges(&raw) };
    let mut problems = known.problems;
    let (mut messages, mut taken) = (Vec::new(), BTreeMap::new());
    for (number, said) in raw.messages.iter().enumerate() {
        let Some(id) = id_of(said.number) else {
            let what = Trouble::WrongId { message: said.name.clone(), id: said.number };
            problems.push(Problem { line: said.line, what });
            continue;
        };
        let format = raw.formats.of(said.number);
        let name = raw.message_names.get(&said.number).unwrap_or(&said.name);
        let mut message = Message {
            line: said.line,
            id,
            key: key_of(id, format, &mut taken),
            name: clean(name, MOST_NAME),
            length: said.length,
            fd: said.length > 8 || format.ends_with("CAN_FD"),
            signals: Vec::new(),
        };
        let (signals, sound) = signals(&raw, number, &mut about, &mut problems);
        message.signals = signals;
        problems.extend(names_twice(&message));
        if sound {
            problems.extend(overlaps(&message));
        }
        messages.push(message);
        if problems.len() >= MOST_PROBLEMS {
            break;
        }
    }
    problems.extend(twice(&messages));
    problems.sort_by_key(|problem| problem.line);
    problems.truncate(MOST_PROBLEMS);
    if !problems.is_empty() {
        return Err(DbcError { problems });
    }
    raw.notes.extend(messages.iter().filter(|message| message.length > 64).map(|message| {
        let text = format!("message '{}' has {} bytes: no single frame carries it", message.name, message.length);
        Note { line: message.line, text }
    }));
    Ok(Dbc { messages, notes: raw.notes })
}

/// The signals of a message that can be, and whether all their switches were found.
fn signals(raw: &Raw, number: usize, about: &mut About, problems: &mut Vec<Problem>) -> (Vec<Signal>, bool) {
    let Some(said) = raw.messages.get(number) else { return (Vec::new(), true) };
    let mut fields = Vec::new();
    for (place, signal) in said.signals.iter().enumerate() {
        let field = field(said, signal, about.kinds.get(&(number, place)));
        fields.push(field.map_err(|what| problems.push(Problem { line: signal.line, what })).ok());
    }
    let mut switches = Switches::new(said, &fields, about.ranges.remove(&number).unwrap_or_default());
    let mut signals = Vec::new();
    for (place, (signal, field)) in said.signals.iter().zip(&fields).enumerate() {
        let Some(field) = *field else { continue };
        let when = switches.conditions(place).unwrap_or_else(|why| {
            let what = Trouble::NoSwitch { message: said.name.clone(), signal: signal.name.clone(), why };
            problems.push(Problem { line: signal.line, what });
            Vec::new()
        });
        let name = raw.signal_names.get(&(said.number, signal.name.clone())).unwrap_or(&signal.name);
        signals.push(Signal {
            line: signal.line,
            name: clean(name, MOST_NAME),
            unit: signal.unit.clone(),
            field,
            when,
            switches: signal.mux.switches,
            states: about.states.remove(&(number, place)).unwrap_or_default(),
        });
    }
    (signals, switches.sound())
}

/// Where each signal is; the first where a name comes twice in a message.
fn places(messages: &[RawMessage], problems: &mut Vec<Problem>) -> Places {
    let mut places = Places::new();
    for (number, message) in messages.iter().enumerate() {
        for (place, signal) in message.signals.iter().enumerate() {
            let (_, first) = *places.entry((message.number, signal.name.clone())).or_insert((number, place));
            let first = message.signals.get(first).filter(|first| first.line != signal.line);
            if let Some(line) = first.filter(|first| first.name == signal.name).map(|first| first.line) {
                let what = Trouble::SignalTwice { message: message.name.clone(), signal: signal.name.clone(), line };
                problems.push(Problem { line: signal.line, what });
            }
        }
    }
    places
}

/// Looks signals up for the statements about them.
struct Known {
    places: Places,
    /// Messages whose signals belong to none.
    apart: BTreeSet<Number>,
    problems: Vec<Problem>,
}

impl Known {
    fn find(&mut self, line: u32, key: &(Number, String), statement: &'static str) -> Option<(usize, usize)> {
        let found = self.places.get(key).copied();
        if found.is_none() && !self.apart.contains(&key.0) && self.problems.len() < MOST_PROBLEMS {
            let what = Trouble::Unknown { statement, id: key.0, signal: key.1.clone() };
            self.problems.push(Problem { line, what });
        }
        found
    }

    fn kinds(&mut self, raw: &Raw) -> BTreeMap<(usize, usize), u64> {
        let kinds = raw.kinds.iter();
        kinds.filter_map(|(line, key, kind)| Some((self.find(*line, key, "SIG_VALTYPE_")?, *kind))).collect()
    }

    fn states(&mut self, raw: &mut Raw) -> BTreeMap<(usize, usize), States> {
        let mut found = BTreeMap::new();
        for (line, key, mut states) in std::mem::take(&mut raw.states) {
            states.sort();
            states.dedup_by_key(|(count, _)| *count);
            if let Some(place) = self.find(line, &key, "VAL_") {
                found.insert(place, states);
            }
        }
        found
    }

    fn ranges(&mut self, raw: &Raw) -> BTreeMap<usize, Ranges> {
        let mut found: BTreeMap<usize, Ranges> = BTreeMap::new();
        for said in &raw.ranges {
            let signal = self.find(said.line, &said.signal, "SG_MUL_VAL_");
            let switch = self.find(said.line, &(said.signal.0, said.switch.clone()), "SG_MUL_VAL_");
            if let (Some((message, signal)), Some((_, switch))) = (signal, switch) {
                found.entry(message).or_default().entry(signal).or_default().push((switch, said.any_of.clone()));
            }
        }
        found
    }
}

/// The id that a number of the file means.
fn id_of(number: Number) -> Option<Id> {
    let number = u32::try_from(number).ok()?;
    match number & 0x7FFF_FFFF {
        id if number == id => u16::try_from(id).ok().filter(|id| *id <= Id::STANDARD_MAX).map(Id::Standard),
        id => (id <= Id::EXTENDED_MAX).then_some(Id::Extended(id)),
    }
}

/// By its group where the file says that it is one of J1939 and names no sender, unless another is that already.
fn key_of(id: Id, format: &str, taken: &mut BTreeMap<u32, Id>) -> Key {
    match id {
        Id::Extended(bits) if format == "J1939PG" && bits & 0xFF == ANY_SENDER => {
            let group = Key::group_of(bits);
            if *taken.entry(group).or_insert(id) == id { Key::Group(group) } else { Key::Exact(id) }
        }
        _ => Key::Exact(id),
    }
}

fn field(message: &RawMessage, signal: &RawSignal, kind: Option<&u64>) -> Result<Field, Trouble> {
    let (message_name, name) = (message.name.clone(), signal.name.clone());
    let Bits { start, len: bits, order, signed } = signal.bits;
    let Some(len) = u8::try_from(bits).ok().filter(|bits| (1..=64).contains(bits)) else {
        return Err(Trouble::Bits { message: message_name, signal: name, bits });
    };
    let form = match (kind.copied().unwrap_or(0), len) {
        (0, _) if signed => Form::Signed,
        (0, _) => Form::Unsigned,
        (1, 32) | (2, 64) => Form::Float,
        (kind, bits) => return Err(Trouble::FloatBits { message: message_name, signal: name, bits, kind }),
    };
    let (scale, offset) = signal.scale;
    if scale == 0.0 || !scale.is_finite() || !offset.is_finite() {
        let (factor, offset) = (scale.to_string(), offset.to_string());
        return Err(Trouble::Scale { message: message_name, signal: name, factor, offset });
    }
    // Fields beyond any frame are bits of messages that several frames carry.
    let start_bit = u16::try_from(start).unwrap_or(u16::MAX);
    let field = Field { start: start_bit, len, order, form, scale, offset, blank: Blank::None };
    if !fits(&signal.bits, message.length) {
        let (message, length) = (message_name, message.length);
        return Err(Trouble::Outside { message, signal: name, start, bits, length });
    }
    Ok(field)
}

/// Whether the bits lie within so many bytes.
fn fits(bits: &Bits, length: u16) -> bool {
    let first = match bits.order {
        Order::Little => bits.start,
        Order::Big => bits.start / 8 * 8 + (7 - bits.start % 8),
    };
    first.checked_add(bits.len).is_some_and(|end| end <= u64::from(length) * 8)
}

/// Long names that come twice in a message.
fn names_twice(message: &Message) -> Vec<Problem> {
    let mut lines = BTreeMap::new();
    let mut problems = Vec::new();
    for signal in &message.signals {
        if let Some(line) = lines.insert(&signal.name, signal.line).filter(|line| *line != signal.line) {
            let (message, signal_name) = (message.name.clone(), signal.name.clone());
            let what = Trouble::SignalTwice { message, signal: signal_name, line };
            problems.push(Problem { line: signal.line, what });
        }
    }
    problems
}

/// Ids and names that come twice.
fn twice(messages: &[Message]) -> Vec<Problem> {
    let (mut ids, mut names) = (BTreeMap::new(), BTreeMap::new());
    let mut problems = Vec::new();
    for message in messages {
        let name = message.name.clone();
        if let Some(first) = ids.insert(message.id, message) {
            let (id, line) = (message.id.to_string(), first.line);
            let what = Trouble::IdTwice { message: name.clone(), id, first: first.name.clone(), line };
            problems.push(Problem { line: message.line, what });
        } else if let Some(line) = names.insert(&message.name, message.line) {
            problems.push(Problem { line: message.line, what: Trouble::MessageTwice { message: name, line } });
        }
    }
    problems
}

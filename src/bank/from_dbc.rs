//! Signals by the names of a DBC.

use super::error::Trouble;
use super::reader::{Reader, Table, hint};
use crate::layout::dbc::{self, Dbc, Message, Signal};
use crate::model::clean;

/// DBCs of a bank file, at most.
const MOST: usize = 16;

/// Reads every DBC that `dbc = …` names.
pub(super) fn load(
    reader: &mut Reader,
    top: &Table,
    read: &mut dyn FnMut(&str) -> Result<Vec<u8>, String>,
) -> Vec<Dbc> {
    let mut known = Vec::new();
    for value in reader.many(top, "dbc") {
        let Some(name) = value.get_ref().as_str() else {
            reader.wrong("dbc", value, "the name of a DBC file in quotes, or an array of names");
            continue;
        };
        if known.len() >= MOST {
            reader.problem(value.span().start, Trouble::TooMany { what: "DBC files", most: MOST });
            break;
        }
        let read = read(name).and_then(|bytes| dbc::parse(&bytes).map_err(|error| error.to_string()));
        match read {
            Ok(dbc) => known.push(dbc),
            Err(why) => {
                let (name, why) = (clean(name, 200), clean(&why, 1000));
                reader.problem(value.span().start, Trouble::Dbc { name, why });
            }
        }
    }
    known
}

/// The message and signal of two names; a problem where there is none.
pub(super) fn find<'a>(
    reader: &mut Reader,
    table: &Table,
    known: &'a [Dbc],
    (message, signal): (&str, &str),
) -> Option<(&'a Message, &'a Signal)> {
    let Some(found) = known.iter().find_map(|dbc| dbc.message(message)) else {
        let names = known.iter().flat_map(|dbc| &dbc.messages).map(|message| message.name.as_str());
        let hint = if known.is_empty() {
            "the file names no DBC: dbc = \"NAME.dbc\"".to_owned()
        } else {
            hint(message, names)
        };
        let name = clean(message, 64);
        reader.problem(table.place("message"), Trouble::NoSuch { what: "message", name, place: String::new(), hint });
        return None;
    };
    let Some(own) = found.signal(signal) else {
        let hint = hint(signal, found.signals.iter().map(|signal| signal.name.as_str()));
        let (name, place) = (clean(signal, 64), format!(" in message '{}'", clean(message, 64)));
        reader.problem(table.place("signal"), Trouble::NoSuch { what: "signal", name, place, hint });
        return None;
    };
    Some((found, own))
}

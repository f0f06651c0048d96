//! The bank file: what a bank is, and which signal of its bus means what; text ⇄ data.
//!
//! Nothing here opens a file: who reads a bank file hands in the texts of the DBCs that it names. What is read holds
//! every signal with its bits, so that what [`write()`] makes of it needs no DBC any more.

mod columns;
mod compile;
mod error;
mod fit;
mod from_dbc;
mod history;
mod inline;
mod open;
pub mod overrides;
mod pack;
mod pattern;
mod reader;
mod role;
mod signal;
mod spread;
pub mod table;
mod template;
mod words;
mod write;

#[cfg(test)]
mod tests;

pub use compile::shown;
pub use error::{BankError, Problem, Trouble};
pub use open::open;
pub use role::{ROLES, role_of, unit, units, word_of};
pub use table::Table;
pub use template::TEMPLATE;
pub use words::place_words;
pub use write::write;

use crate::layout::{CompiledMap, Field, Key, Places, When};
use crate::model::{Bank, BankEvent, Dialect, Quantity, Slot};
use reader::Reader;
use std::sync::Arc;

/// Largest bank file, bytes.
pub const MOST_BYTES: usize = 1 << 20;
/// Signals of a bank file, at most.
pub const MOST_SIGNALS: usize = 2048;
/// Events of a bank file, at most.
pub const MOST_EVENTS: usize = 256;

/// What a bank file says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BankFile {
    /// Name of the bank, clean; may be empty.
    pub name: String,
    /// What the bank is.
    pub bank: Bank,
    /// Limits that are overridden, by name; each is one that there is, and within its bounds.
    pub limits: Vec<(String, f64)>,
    /// What the bus speaks beside our own format; none: found from the traffic.
    pub dialect: Option<Dialect>,
    /// Battery instance of IEC 61162-3 that each pack is; empty: not said.
    pub instances: Vec<u8>,
    /// Positive current is discharge where neither a signal nor a standard says which way round it is.
    pub reversed: bool,
    /// Signals with what they mean.
    pub signals: Vec<Signal>,
    /// What was done to the bank, in the order of time.
    pub events: Vec<BankEvent>,
    /// How a table of this bank is laid out, for `convert`.
    pub table: Option<Table>,
}

/// A signal and what it means.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// What it means; `SenderFrames` is a live counter, its index the number of the counter.
    pub slot: Slot,
    /// Which frames carry it.
    pub key: Key,
    /// Name of its message, clean; may be empty.
    pub message: String,
    /// Its own name, clean; may be empty.
    pub name: String,
    /// Where it stands; scaled to the unit of its quantity, positive current charging.
    pub field: Field,
    /// States, where the raw number is a name and no count.
    pub states: Vec<(u64, f64)>,
    /// All of these must hold for it to be there.
    pub when: Vec<When>,
    /// Numbers in the data that say which pack or cell it is about, from `slot` on.
    pub places: Places,
}

impl BankFile {
    /// The map of the signals; none without signals.
    #[must_use]
    pub fn map(&self) -> Option<Arc<CompiledMap>> {
        compile::compile(&self.signals).ok().filter(|_| !self.signals.is_empty()).map(Arc::new)
    }

    /// How many counts each live counter has before it begins anew, by its number; 0 where there is none.
    #[must_use]
    pub fn counters(&self) -> Vec<u64> {
        let mut counters = Vec::new();
        for signal in self.signals.iter().filter(|signal| signal.slot.quantity == Quantity::SenderFrames) {
            let at = usize::from(signal.slot.index);
            counters.resize(counters.len().max(at + 1), 0);
            if let Some(counts) = counters.get_mut(at) {
                *counts = signal.field.plain_counts();
            }
        }
        counters
    }
}

/// Keys at the top.
const KEYS: &[&str] = &["name", "dialect", "dbc", "current", "pack", "signal", "event", "limits", "table", "column"];

/// Reads a bank file. `dbc` is asked for the bytes of each DBC that it names, by the name that it gives.
///
/// # Errors
/// [`BankError`] with every problem found, up to a few, each with its line.
pub fn parse(text: &str, mut dbc: impl FnMut(&str) -> Result<Vec<u8>, String>) -> Result<BankFile, BankError> {
    if text.len() > MOST_BYTES {
        return Err(BankError::only(1, Trouble::TooLarge { bytes: MOST_BYTES }));
    }
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let document = toml::de::DeTable::parse(text).map_err(|error| {
        let line = reader::line_of(text, error.span().map_or(0, |span| span.start));
        BankError::only(line, Trouble::Toml(crate::model::clean(error.message(), 200)))
    })?;
    let mut reader = Reader::new(text);
    let top = reader::Table { rows: document.get_ref(), at: 0, what: "a bank file" };
    let file = read(&mut reader, &top, &mut dbc);
    reader.done().map(|()| file)
}

fn read(reader: &mut Reader, top: &reader::Table, dbc: &mut dyn FnMut(&str) -> Result<Vec<u8>, String>) -> BankFile {
    reader.known(top, KEYS);
    let dialect = reader.word(top, "dialect", Dialect::WORDS);
    let reversed = reader.word(top, "current", &signal::SIGNS).unwrap_or(false);
    let name = reader.text(top, "name").unwrap_or_default();
    let (bank, instances) = pack::packs(reader, top);
    let mut file =
        BankFile { name, bank, instances, limits: pack::limits(reader, top), dialect, reversed, ..BankFile::default() };
    let known = from_dbc::load(reader, top, dbc);
    file.signals = signal::signals(reader, top, &known, (&file.bank, reversed));
    file.table = columns::table(reader, top, &file.bank);
    file.events = history::events(reader, top, &file.bank);
    if file.dialect == Some(Dialect::File) && file.signals.is_empty() && reader.is_well() {
        reader.problem(top.at, Trouble::NoSignals);
    }
    file
}

//! Reads tables of TOML key by key and collects what is wrong, with the line.

use super::error::{BankError, MOST_PROBLEMS, Problem, Trouble};
use crate::model::{clean, nearest};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Characters of a text, at most.
const MOST_TEXT: usize = 128;

/// A table of the file.
pub(super) struct Table<'a, 'i> {
    /// Its keys.
    pub(super) rows: &'a DeTable<'i>,
    /// Where it begins, bytes.
    pub(super) at: usize,
    /// What it is, for errors.
    pub(super) what: &'static str,
}

/// A value and where it stands.
pub(super) type Spot<'a, 'i> = &'a Spanned<DeValue<'i>>;

/// Collects what is wrong.
pub(super) struct Reader<'t> {
    text: &'t str,
    problems: Vec<Problem>,
}

/// Line of a place in the text, from 1.
pub(super) fn line_of(text: &str, at: usize) -> u32 {
    let before = text.as_bytes().get(..at).unwrap_or(text.as_bytes());
    before.iter().filter(|byte| **byte == b'\n').count() as u32 + 1
}

impl<'t> Reader<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        Self { text, problems: Vec::new() }
    }

    /// Line of a place, from 1.
    pub(super) fn line(&self, at: usize) -> u32 {
        line_of(self.text, at)
    }

    /// Notes a problem at a place.
    pub(super) fn problem(&mut self, at: usize, what: Trouble) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(Problem { line: line_of(self.text, at), what });
        }
    }

    /// Whether nothing is wrong so far.
    pub(super) fn is_well(&self) -> bool {
        self.problems.is_empty()
    }

    /// Whether no more problems are collected.
    pub(super) fn is_full(&self) -> bool {
        self.problems.len() >= MOST_PROBLEMS
    }

    /// The outcome.
    pub(super) fn done(mut self) -> Result<(), BankError> {
        self.problems.sort_by_key(|problem| problem.line);
        if self.problems.is_empty() { Ok(()) } else { Err(BankError { problems: self.problems }) }
    }

    /// Refuses every key that is not in the list.
    pub(super) fn known(&mut self, table: &Table, keys: &[&str]) {
        for key in table.rows.keys() {
            let name: &str = key.get_ref();
            if !keys.contains(&name) && !self.is_full() {
                let hint = hint(name, keys.iter().copied());
                let key_name = clean(name, 60);
                self.problem(key.span().start, Trouble::UnknownKey { key: key_name, place: table.what, hint });
            }
        }
    }

    /// A value that is not what was expected.
    pub(super) fn wrong(&mut self, key: &str, value: Spot, expected: impl Into<String>) {
        let found = shown(value.get_ref());
        self.problem(value.span().start, Trouble::Value { key: clean(key, 60), found, expected: expected.into() });
    }

    /// A word that is none of those there are, with a suggestion.
    pub(super) fn not_among(&mut self, key: &str, value: Spot, hint: String) {
        let found = shown(value.get_ref());
        self.problem(value.span().start, Trouble::Word { key: clean(key, 60), found, hint });
    }

    /// A clean text.
    pub(super) fn text(&mut self, table: &Table, key: &str) -> Option<String> {
        let value = table.get(key)?;
        match value.get_ref() {
            DeValue::String(text) if text.chars().count() <= MOST_TEXT => Some(clean(text, MOST_TEXT)),
            _ => {
                self.wrong(key, value, format!("a text in quotes of at most {MOST_TEXT} characters"));
                None
            }
        }
    }

    /// A number between two others.
    pub(super) fn number(&mut self, table: &Table, key: &str, (low, high): (f64, f64)) -> Option<f64> {
        let value = table.get(key)?;
        let number = number_of(value.get_ref()).filter(|number| (low..=high).contains(number));
        if number.is_none() {
            self.wrong(key, value, format!("a number from {low} to {high}"));
        }
        number
    }

    /// A whole number between two others.
    pub(super) fn whole(&mut self, table: &Table, key: &str, (low, high): (u64, u64)) -> Option<u64> {
        let value = table.get(key)?;
        let number = whole_of(value.get_ref()).filter(|number| (low..=high).contains(number));
        if number.is_none() {
            self.wrong(key, value, format!("a whole number from {low} to {high}"));
        }
        number
    }

    /// Yes or no.
    pub(super) fn flag(&mut self, table: &Table, key: &str) -> Option<bool> {
        let value = table.get(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong(key, value, "true or false");
        }
        flag
    }

    /// One of some words.
    pub(super) fn word<T: Copy>(&mut self, table: &Table, key: &str, words: &[(&str, T)]) -> Option<T> {
        let value = table.get(key)?;
        let text = value.get_ref().as_str().unwrap_or_default();
        let found = words.iter().find(|(word, _)| *word == text);
        if found.is_none() && !self.is_full() {
            self.not_among(key, value, hint(text, words.iter().map(|(word, _)| *word)));
        }
        found.map(|(_, meaning)| *meaning)
    }

    /// A table inside another.
    pub(super) fn table<'a, 'i>(
        &mut self,
        table: &Table<'a, 'i>,
        key: &str,
        what: &'static str,
    ) -> Option<Table<'a, 'i>> {
        let value = table.get(key)?;
        self.as_table(key, value, what)
    }

    /// A value as a table.
    pub(super) fn as_table<'a, 'i>(
        &mut self,
        key: &str,
        value: Spot<'a, 'i>,
        what: &'static str,
    ) -> Option<Table<'a, 'i>> {
        let rows = value.get_ref().as_table();
        if rows.is_none() {
            self.wrong(key, value, format!("a table: {what}"));
        }
        rows.map(|rows| Table { rows, at: value.span().start, what })
    }

    /// An array of tables, `[[key]]`; a single table will do.
    pub(super) fn tables<'a, 'i>(
        &mut self,
        table: &Table<'a, 'i>,
        key: &str,
        what: &'static str,
    ) -> Vec<Table<'a, 'i>> {
        let Some(value) = table.get(key) else { return Vec::new() };
        match value.get_ref().as_array() {
            Some(array) => array.iter().filter_map(|value| self.as_table(key, value, what)).collect(),
            None => self.as_table(key, value, what).into_iter().collect(),
        }
    }

    /// A value or an array of values.
    pub(super) fn many<'a, 'i>(&self, table: &Table<'a, 'i>, key: &str) -> Vec<Spot<'a, 'i>> {
        let Some(value) = table.get(key) else { return Vec::new() };
        value.get_ref().as_array().map_or_else(|| vec![value], |array| array.iter().collect())
    }
}

impl<'a, 'i> Table<'a, 'i> {
    /// The value of a key.
    pub(super) fn get(&self, key: &str) -> Option<Spot<'a, 'i>> {
        self.rows.iter().find(|(name, _)| name.get_ref() == key).map(|(_, value)| value)
    }

    /// Whether there is such a key.
    pub(super) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Where a key's value stands; the table where there is none.
    pub(super) fn place(&self, key: &str) -> usize {
        self.get(key).map_or(self.at, |value| value.span().start)
    }
}

/// A number, whole or not; infinite ones are none.
pub(super) fn number_of(value: &DeValue) -> Option<f64> {
    let number = match value {
        DeValue::Integer(number) if number.radix() == 10 => number.as_str().parse().ok(),
        DeValue::Float(number) => number.as_str().parse().ok(),
        other => whole_of(other).map(|whole| whole as f64),
    };
    number.filter(|number: &f64| number.is_finite())
}

/// A whole number from 0 up.
pub(super) fn whole_of(value: &DeValue) -> Option<u64> {
    let number = value.as_integer()?;
    u64::from_str_radix(number.as_str().trim_start_matches('+'), number.radix()).ok()
}

/// A value as an error shows it.
fn shown(value: &DeValue) -> String {
    match value {
        DeValue::String(text) => format!("'{}'", clean(text, 60)),
        DeValue::Integer(number) => clean(number.as_str(), 40),
        DeValue::Float(number) => clean(number.as_str(), 40),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(date) => date.to_string(),
        DeValue::Array(_) => "an array".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// What may have been meant, or what there is.
pub(super) fn hint<'a>(found: &str, known: impl Iterator<Item = &'a str> + Clone) -> String {
    const SHOWN: usize = 40;
    match nearest(found, known.clone()) {
        Some(word) => format!("did you mean '{}'?", clean(word, 64)),
        None => {
            let all: Vec<String> = known.clone().take(SHOWN).map(|word| clean(word, 64)).collect();
            let more = if known.count() > SHOWN { ", …" } else { "" };
            format!("one of {}{more}", all.join(", "))
        }
    }
}

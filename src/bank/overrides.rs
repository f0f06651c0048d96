//! Limits that a file overrides: `[cell-overvoltage]` with `notice = 3.75` under it, or `"cell-overvoltage.notice" = 3.75`.

use crate::model::clean;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A limit and its number.
#[derive(Debug, Clone, PartialEq)]
pub struct Override {
    /// Name of the limit.
    pub name: String,
    /// The number.
    pub value: f64,
    /// Line of the file, from 1.
    pub line: usize,
}

/// A file that cannot be read as limits.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OverrideError {
    /// No TOML.
    #[error("line {line}: {what}")]
    Syntax {
        /// From 1.
        line: usize,
        /// What the parser says.
        what: String,
    },
    /// No number.
    #[error("line {line}: {name} is no number")]
    NotANumber {
        /// From 1.
        line: usize,
        /// The limit.
        name: String,
    },
}

/// Reads a file of limits; a table `limits` around them may be there.
///
/// # Errors
/// [`OverrideError`] with the line.
pub fn read(text: &str) -> Result<Vec<Override>, OverrideError> {
    let table = DeTable::parse(text).map_err(|error| OverrideError::Syntax {
        line: error.span().map_or(1, |span| line_of(text, span.start)),
        what: clean(error.message(), 200),
    })?;
    let mut found = Vec::new();
    collect(text, "", table.get_ref(), &mut found)?;
    found.sort_by_key(|row| row.line);
    Ok(found)
}

fn collect(text: &str, above: &str, table: &DeTable, found: &mut Vec<Override>) -> Result<(), OverrideError> {
    for (key, value) in table {
        let key = key.get_ref();
        let name = if above.is_empty() { key.to_string() } else { format!("{above}.{key}") };
        let line = line_of(text, value.span().start);
        match value.get_ref() {
            DeValue::Table(inner) => {
                let above = if above.is_empty() && key == "limits" { "" } else { name.as_str() };
                collect(text, above, inner, found)?;
            }
            _ => {
                let value = number(value).ok_or_else(|| OverrideError::NotANumber { line, name: clean(&name, 60) })?;
                found.push(Override { name, value, line });
            }
        }
    }
    Ok(())
}

fn number(value: &Spanned<DeValue>) -> Option<f64> {
    match value.get_ref() {
        DeValue::Integer(number) => {
            i64::from_str_radix(number.as_str(), number.radix()).ok().map(|number| number as f64)
        }
        DeValue::Float(number) => number.as_str().parse().ok(),
        _ => None,
    }
}

fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes().iter().take(at).filter(|byte| **byte == b'\n').count() + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_of_limits_in_either_form() {
        let rows = read("[limits]\n\"cell-overvoltage.notice\" = 3.75\n\n[imbalance]\nnotice = 3\n").unwrap();
        let row = |name: &str, value, line| Override { name: name.into(), value, line };
        assert_eq!(rows, [row("cell-overvoltage.notice", 3.75, 2), row("imbalance.notice", 3.0, 5)]);
    }

    #[test]
    fn what_is_wrong_has_its_line() {
        assert_eq!(read("a = 1\n[b]\nc = \"x\"\n").unwrap_err().to_string(), "line 3: b.c is no number");
        assert!(read("a = 1\nb = = 2\n").unwrap_err().to_string().starts_with("line 2: "));
    }
}

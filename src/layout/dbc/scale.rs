//! How many decimals the numbers of a field have.

use crate::layout::{Field, Form};

/// Decimals with which every number of the field is written exactly; none where there is no such number of them, as
/// with floats.
#[must_use]
pub fn decimals(field: &Field) -> Option<usize> {
    if field.form == Form::Float || field.scale.abs().max(field.offset.abs()) > 1e12 {
        return None;
    }
    (0..10).find(|digits| is_whole(field.scale, *digits) && is_whole(field.offset, *digits))
}

fn is_whole(number: f64, digits: usize) -> bool {
    format!("{number:.digits$}").parse() == Ok(number)
}

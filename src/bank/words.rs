//! A signal in words: what it means and where its bits stand.

use super::Signal;
use super::compile::shown;
use crate::layout::{Field, Form, Key, Order, When};

/// Where a value comes from, in words: frame, bits, scale, condition.
#[must_use]
pub fn place_words(key: Key, field: &Field, when: &[When]) -> String {
    let order = if field.order == Order::Big { ", high byte first" } else { "" };
    let form = match field.form {
        Form::Unsigned => "",
        Form::Signed => ", signed",
        Form::Float => ", float",
    };
    // Behind a comma: 'bit 0 - 40' would read as a range of bits.
    let scale = if field.scale == 1.0 { String::new() } else { format!(" × {}", short(field.scale)) };
    let offset = match field.offset {
        0.0 => String::new(),
        offset if offset < 0.0 => format!(" - {}", short(-offset)),
        offset => format!(" + {}", short(offset)),
    };
    let value = if scale.is_empty() && offset.is_empty() { String::new() } else { format!(", count{scale}{offset}") };
    let when: String = when.iter().map(condition).collect();
    format!("{key}, {} bits from bit {}{order}{form}{value}{when}", field.len, field.start)
}

fn condition(when: &When) -> String {
    let range = |(low, high): &(u64, u64)| if low == high { low.to_string() } else { format!("{low} to {high}") };
    let ranges: Vec<String> = when.any_of.iter().map(range).collect();
    let field = when.field;
    format!(", while {} bits from bit {} are {}", field.len, field.start, ranges.join(" or "))
}

/// A number without the noise of its last digits.
fn short(number: f64) -> String {
    let near: f64 = format!("{number:.12e}").parse().unwrap_or(number);
    near.to_string()
}

impl Signal {
    /// What it means and where it comes from, in a line.
    #[must_use]
    pub fn words(&self) -> String {
        let name = match (self.message.as_str(), self.name.as_str()) {
            ("", "") => String::new(),
            ("", name) | (name, "") => format!("{name}, "),
            (message, name) => format!("{message}.{name}, "),
        };
        let up_to = |place: Option<crate::layout::Place>| place.map_or(1, |place| place.count);
        let count = u16::from(up_to(self.places.pack)) * u16::from(up_to(self.places.index));
        let more =
            if count > 1 { format!(" and the {} after it, by a number in the data", count - 1) } else { String::new() };
        format!("{}{more}: {name}{}", shown(self.slot), place_words(self.key, &self.field, &self.when))
    }
}

#[cfg(test)]
mod tests {
    use crate::bank::parse;

    #[test]
    fn an_offset_does_not_read_as_a_range_of_bits() {
        let text = "[[pack]]\n[[signal]]\nrole = \"temperature\"\nid = \"3C0\"\nstart = 0\nlength = 8\noffset = -40\n";
        let bank = parse(text, |_| Err("no DBC is named".into())).unwrap();
        assert_eq!(bank.signals[0].words(), "temperature 1 of pack 1: id 3C0, 8 bits from bit 0, count - 40");
    }
}

//! What a survey found beside what a bank file says already.

use super::found::{Found, Role};
use crate::layout::{CompiledMap, Field, Key};
use crate::model::{Id, Quantity, Slot};

/// Scales and offsets that differ by less than this part are the same.
const SAME: f64 = 1e-6;

/// How a value of the bank stands in the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Both take it from the same bits, with the same scale.
    Same,
    /// Both take it from the same bits, with another scale, offset or sign.
    Scaled,
    /// They take it from other bits.
    Other,
    /// The survey did not find it.
    OnlyInFile,
    /// The file does not have it.
    OnlyFound,
}

/// One value of the bank beside the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// Whose value it is.
    pub slot: Slot,
    /// How it stands.
    pub verdict: Verdict,
    /// Which frames carry it by the file, and in which bits.
    pub filed: Option<(Key, Field)>,
    /// The same by the survey.
    pub found: Option<(Id, Field)>,
}

/// Every value that was found or that the file has, in the order of packs. What a survey never looks for (paths,
/// limits, counters) is left out, and so is what a frame's own data moves to another pack or cell.
#[must_use]
pub fn beside(found: &Found, map: &CompiledMap) -> Vec<Beside> {
    let filed = in_file(map);
    let of_role = |role: &Role| {
        let own = |(slot, ..): &&(Slot, Key, Field)| *slot == role.slot;
        let places: Vec<(Key, Field)> = filed.iter().filter(own).map(|(_, key, field)| (*key, *field)).collect();
        let place = places.iter().find(|(key, field)| carries(*key, role.id) && same_bits(field, &role.field));
        let verdict = match (place, places.first()) {
            (Some((_, field)), _) if same_scale(field, &role.field) => Verdict::Same,
            (Some(_), _) => Verdict::Scaled,
            (None, Some(_)) => Verdict::Other,
            (None, None) => Verdict::OnlyFound,
        };
        let filed = place.or(places.first()).copied();
        Beside { slot: role.slot, verdict, filed, found: Some((role.id, role.field)) }
    };
    let mut rows: Vec<Beside> = found.roles.iter().map(of_role).collect();
    for (slot, key, field) in filed {
        if rows.iter().all(|row| row.slot != slot) {
            rows.push(Beside { slot, verdict: Verdict::OnlyInFile, filed: Some((key, field)), found: None });
        }
    }
    rows.sort_by_key(|row| (row.slot.pack, row.slot.quantity, row.slot.index));
    rows
}

/// What the file says of the values that a survey looks for.
fn in_file(map: &CompiledMap) -> Vec<(Slot, Key, Field)> {
    let sought =
        [Quantity::CellVoltage, Quantity::PackVoltage, Quantity::Current, Quantity::ReportedSoc, Quantity::Temperature];
    let messages = (0..map.len()).filter_map(|message| Some((message, map.key(message)?)));
    let values = messages.flat_map(|(message, key)| {
        let moved = map.places(message).pack.is_some() || map.places(message).index.is_some();
        let channels = map.channels(message).iter().filter(move |_| !moved);
        channels.map(move |channel| (channel.target, key, channel.field))
    });
    values.filter(|(slot, ..)| sought.contains(&slot.quantity)).collect()
}

fn carries(key: Key, id: Id) -> bool {
    match (key, id) {
        (Key::Exact(exact), id) => exact == id,
        (Key::Group(group), Id::Extended(id)) => Key::group_of(id) == group,
        (Key::Group(_), Id::Standard(_)) => false,
    }
}

fn same_bits(a: &Field, b: &Field) -> bool {
    (a.start, a.len) == (b.start, b.len) && (a.order == b.order || a.len <= 1)
}

fn same_scale(a: &Field, b: &Field) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() <= SAME * a.abs().max(b.abs()).max(SAME);
    a.form == b.form && near(a.scale, b.scale) && near(a.offset, b.offset)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bank;
    use crate::layout::{Blank, Form, Order};

    const FILE: &str = "[[pack]]\ncells = 4\n\
        [[signal]]\nrole = \"cell-voltage\"\npack = 1\nnumber = \"1..3\"\nid = \"3A0\"\nstart = 0\nlength = 16\nstep = 16\nscale = 0.001\n\
        [[signal]]\nrole = \"current\"\npack = 1\nid = \"3A1\"\nstart = 0\nlength = 16\nform = \"signed\"\nscale = 0.1\n\
        [[signal]]\nrole = \"charge-path\"\npack = 1\nid = \"3A1\"\nstart = 32\nlength = 1\n";

    fn role(quantity: Quantity, index: u8, id: u32, field: Field) -> Role {
        Role {
            slot: Slot::at(0, quantity, index),
            channel: 0,
            id: Id::Standard(id as u16),
            bytes: 8,
            when: None,
            field,
            confidence: 1.0,
            evidence: String::new(),
        }
    }

    #[test]
    fn the_same_another_and_what_only_one_has() {
        let file = bank::parse(FILE, |_| Err(String::new())).unwrap();
        let map = file.map().unwrap();
        let volts = Field { blank: Blank::None, ..Field::own(0, 16, 0.001, 0.0) };
        let amps = Field { form: Form::Signed, scale: -0.1, order: Order::Little, ..volts };
        let roles = vec![
            role(Quantity::CellVoltage, 0, 0x3A0, volts),
            role(Quantity::Current, 0, 0x3A1, amps),
            role(Quantity::Temperature, 0, 0x3A2, volts),
            role(Quantity::CellVoltage, 2, 0x3A0, Field { start: 24, ..volts }),
        ];
        let found = Found { roles, ..Found::default() };
        let rows = beside(&found, &map);
        let seen: Vec<(String, Verdict)> = rows.iter().map(|row| (row.slot.to_string(), row.verdict)).collect();
        let expected = [
            ("cell voltage 1 of pack 1", Verdict::Same),
            ("cell voltage 2 of pack 1", Verdict::OnlyInFile),
            ("cell voltage 3 of pack 1", Verdict::Other),
            ("temperature 1 of pack 1", Verdict::OnlyFound),
            ("current of pack 1", Verdict::Scaled),
        ];
        assert_eq!(seen, expected.map(|(slot, verdict)| (slot.to_owned(), verdict)));
        assert_eq!(rows[4].filed.map(|(key, field)| (key.to_string(), field.scale)), Some(("id 3A1".into(), 0.1)));
    }
}

//! What a bank file leaves open, and what that costs.

use super::BankFile;
use super::role::{is_of_the_bank, word_of};
use crate::model::{Dialect, PackSpec, Quantity, Slot, ranges};
use std::collections::BTreeSet;

/// Bytes of a classic frame.
const CLASSIC_BYTES: usize = 8;

/// What is not said and what it costs, in lines.
#[must_use]
pub fn open(file: &BankFile) -> Vec<String> {
    let mut open = Vec::new();
    for (number, pack) in (1..).zip(&file.bank.packs) {
        if pack.rated.capacity.is_none() {
            open.push(format!("pack {number}: without 'capacity' no state of charge, and no limit that goes by it"));
        }
        if !pack.sensors.iter().any(|sensor| sensor.role.sets_limits()) {
            open.push(format!(
                "pack {number}: without a sensor in the role cell or case nothing urgent rests on temperature"
            ));
        }
    }
    let fixed = file.dialect.filter(|dialect| matches!(dialect, Dialect::Own | Dialect::RvC));
    if let Some(dialect) = fixed.filter(|_| file.reversed) {
        open.push(format!(
            "current = \"discharge-positive\" turns nothing of {dialect} over, which itself says which way round a \
             current is; it concerns signals, columns and IEC 61162-3"
        ));
    }
    if let Some(dialect) = file.dialect.filter(|told| *told != Dialect::Marine && !file.instances.is_empty()) {
        open.push(format!("'instance' is a number of IEC 61162-3; with {dialect} it says nothing"));
    }
    if !file.signals.is_empty() {
        open.extend(roles(file));
        if matches!(file.dialect, None | Some(Dialect::File)) {
            let named = named(file);
            let packs = file.bank.packs.iter().enumerate();
            packs.for_each(|(at, pack)| open.extend(of_pack(at as u8, pack, &named)));
        }
        open.extend(long(file));
    }
    open
}

/// Roles without which much is not judged.
fn roles(file: &BankFile) -> impl Iterator<Item = String> {
    let has = |role| file.signals.iter().any(|signal| signal.slot.quantity == role);
    let wanted = [
        (&[Quantity::CellVoltage, Quantity::PackVoltage] as &[Quantity], "voltages are not judged"),
        (&[Quantity::Current, Quantity::BankCurrent], "nothing that goes by the current is judged"),
        (&[Quantity::Temperature], "nothing that goes by the temperature is judged"),
    ];
    wanted.into_iter().filter(move |(roles, _)| !roles.iter().any(|role| has(*role))).map(|(roles, cost)| {
        let words: Vec<&str> = roles.iter().map(|role| word_of(*role)).collect();
        format!("no signal for {}: {cost}", words.join(" or "))
    })
}

/// Every value of a pack that some signal gives.
fn named(file: &BankFile) -> BTreeSet<Slot> {
    let of_packs = file.signals.iter().filter(|signal| !is_of_the_bank(signal.slot.quantity));
    let count = |place: Option<crate::layout::Place>| place.map_or(1, |place| place.count);
    of_packs
        .flat_map(|signal| {
            let (packs, numbers) = (count(signal.places.pack), count(signal.places.index));
            let of = move |pack| (0..numbers).map(move |number| (pack, number));
            (0..packs).flat_map(of).map(|(pack, number)| {
                let slot = signal.slot;
                Slot { pack: slot.pack.saturating_add(pack), index: slot.index.saturating_add(number), ..slot }
            })
        })
        .collect()
}

/// Cells and sensors of a pack that are described and not seen, or seen and not described.
fn of_pack(at: u8, pack: &PackSpec, named: &BTreeSet<Slot>) -> Vec<String> {
    let number = u16::from(at) + 1;
    if !named.iter().any(|slot| slot.pack == at) {
        return vec![format!("pack {number}: no signal names it, so nothing of it is seen")];
    }
    let has = |quantity, index: usize| named.contains(&Slot::at(at, quantity, index as u8));
    let list = |which: &dyn Fn(usize) -> bool, most: usize| {
        let found: Vec<usize> = (0..most).filter(|index| which(*index)).map(|index| index + 1).collect();
        (found.len(), ranges(found))
    };
    let mut open = Vec::new();
    let cells = usize::from(pack.cells.unwrap_or(0));
    let (unseen, which) = list(&|cell| !has(Quantity::CellVoltage, cell), cells);
    if unseen > 0 && unseen < cells {
        open.push(format!(
            "pack {number}: no signal for the voltage of cell{} {which} of {cells}: not seen, and what needs every cell \
             is not judged",
            plural(unseen)
        ));
    }
    let described = |sensor: usize| pack.sensors.get(sensor).is_some_and(|spec| *spec != Default::default());
    let (bare, which) = list(&|at| has(Quantity::Temperature, at) && !described(at), pack.sensors.len());
    if bare > 0 {
        open.push(format!(
            "pack {number}: temperature{} {which} without a row in 'sensors': of unknown role, so no limit goes by it",
            plural(bare)
        ));
    }
    let (idle, which) = list(&|at| described(at) && !has(Quantity::Temperature, at), pack.sensors.len());
    if idle > 0 {
        open.push(format!("pack {number}: sensor{} {which} described, and no signal for it", plural(idle)));
    }
    open
}

/// Signals beyond what a classic frame holds.
fn long(file: &BankFile) -> Option<String> {
    let is_long = |bytes: Option<usize>| bytes.is_some_and(|bytes| bytes > CLASSIC_BYTES);
    let mut long = file.signals.iter().filter(|signal| is_long(signal.field.bytes()));
    let first = long.next()?;
    Some(format!(
        "{}{} beyond the 8 bytes of a classic frame: only FD frames and messages of several frames can carry it",
        super::shown(first.slot),
        match long.count() {
            0 => " stands".to_owned(),
            more => format!(" and {more} more stand"),
        }
    ))
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "" } else { "s" }
}

#[cfg(test)]
mod tests {
    use super::super::parse;

    fn left_open(text: &str) -> Vec<String> {
        let file = parse(text, |_| Err("no DBC is named".into())).unwrap_or_else(|error| panic!("{error}\n{text}"));
        super::open(&file)
    }

    const CURRENT: &str = "[[signal]]\nrole = \"current\"\nid = \"3A1\"\nstart = 0\nlength = 16\n";
    const CELLS: &str = "[[signal]]\nrole = \"cell-voltage\"\nid = \"3A0\"\nstart = 0\nlength = 8\nstep = 8\n";
    const WARMTH: &str = "[[signal]]\nrole = \"temperature\"\nid = \"3A2\"\nstart = 0\nlength = 8\nstep = 8\n";

    #[test]
    fn a_bank_of_which_all_is_said_leaves_nothing_open() {
        let pack = "[[pack]]\ncells = 4\ncapacity = 100\nsensors = [{ role = \"cell\" }, { role = \"case\" }]\n";
        let text = format!("{pack}{CURRENT}{CELLS}number = \"1..4\"\n{WARMTH}number = \"1..2\"\n");
        assert_eq!(left_open(&text), [""; 0]);
    }

    #[test]
    fn what_is_described_and_not_seen_is_said_and_so_is_the_other_way_round() {
        let pack =
            "[[pack]]\ncount = 2\ncells = 8\ncapacity = 100\nsensors = [{ role = \"cell\" }, { role = \"case\" }]\n";
        let text = format!(
            "{pack}{CURRENT}{CELLS}number = [1, \"3..4\", 8]\n{WARMTH}number = [1, \"3..5\"]\n\
             [[signal]]\nrole = \"reported-soc\"\nid = \"3A3\"\nstart = 60\nlength = 8\n"
        );
        assert_eq!(
            left_open(&text),
            [
                "pack 1: no signal for the voltage of cells 2, 5–7 of 8: not seen, and what needs every cell is not judged",
                "pack 1: temperatures 3–5 without a row in 'sensors': of unknown role, so no limit goes by it",
                "pack 1: sensor 2 described, and no signal for it",
                "pack 2: no signal names it, so nothing of it is seen",
                "reported-soc 1 of pack 1 stands beyond the 8 bytes of a classic frame: only FD frames and messages of \
                 several frames can carry it",
            ]
        );
    }

    #[test]
    fn a_current_that_a_standard_fixes_is_not_turned_and_that_is_said() {
        let told = |dialect: &str| {
            let pack = "[[pack]]\ninstance = 1\ncapacity = 100\nsensors = [{ role = \"cell\" }]\n";
            left_open(&format!("current = \"discharge-positive\"\n{dialect}{pack}"))
        };
        assert_eq!(told(""), [""; 0], "what the traffic is, is not known yet");
        assert_eq!(told("dialect = \"iec-61162-3\"\n"), [""; 0]);
        let [current, instance] = &told("dialect = \"rv-c\"\n")[..] else { panic!("{:?}", told("")) };
        assert!(current.contains("turns nothing of RV-C over"), "{current}");
        assert_eq!(instance, "'instance' is a number of IEC 61162-3; with RV-C it says nothing");
    }

    #[test]
    fn a_pack_may_tell_its_voltage_alone_and_a_standard_may_tell_the_rest() {
        let pack = "[[pack]]\ncells = 4\ncapacity = 100\nsensors = [{ role = \"cell\" }]\n";
        let warmth = format!("{WARMTH}number = 1\n");
        let volts = "[[signal]]\nrole = \"pack-voltage\"\nid = \"3A4\"\nstart = 0\nlength = 16\n";
        assert_eq!(left_open(&format!("{pack}{CURRENT}{volts}{warmth}")), [""; 0]);
        let rest = format!("dialect = \"rv-c\"\n[[pack]]\n{pack}{CURRENT}{volts}{warmth}");
        assert!(!left_open(&rest).iter().any(|line| line.contains("no signal names it")));
    }
}

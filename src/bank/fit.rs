//! Whether signals fit the packs that are described, and stand in bits of their own.

use super::Signal;
use super::compile::shown;
use super::error::Trouble;
use super::role::is_of_the_bank;
use crate::layout::{Bits, Key};
use crate::model::{Bank, Quantity, Slot};
use std::collections::BTreeMap;

/// What to do about two values in bits that overlap.
const MOVE: &str = "correct 'start', 'length' or 'step', or give each its own 'when'";
/// What to do about two values in the same bits.
const ONE: &str = "a measured value has its own bits: correct one of the two, or leave it out";

/// Whether every pack and cell that the signals name is described, as far as anything is.
pub(super) fn fits(signals: &[Signal], bank: &Bank) -> Result<(), Trouble> {
    let further = |place: Option<crate::layout::Place>| place.map_or(0, |place| place.count.saturating_sub(1));
    for signal in signals {
        let further = (further(signal.places.pack), further(signal.places.index));
        is_described((signal.slot, &signal.name), further, bank)?;
        let places = [(signal.places.pack, "pack-in"), (signal.places.index, "number-in")];
        let places = places.iter().filter_map(|(place, key)| Some((place.as_ref()?.field, *key)));
        let mut readers = signal.when.iter().map(|when| (when.field, "when")).chain(places);
        if let Some((_, by)) = readers.find(|(field, _)| signal.field.meets(field)) {
            return Err(Trouble::OnSwitch { slot: named(signal.slot, &signal.name), key: signal.key.to_string(), by });
        }
    }
    Ok(())
}

/// Whether the pack and cell of a value, with the name of its signal, are described, and so many further on by a number
/// in the data. A file that describes no pack leaves that to the bus.
pub(super) fn is_described((slot, name): (Slot, &str), (packs, cells): (u8, u8), bank: &Bank) -> Result<(), Trouble> {
    if bank.packs.is_empty() || is_of_the_bank(slot.quantity) {
        return Ok(());
    }
    let last = Slot { pack: slot.pack.saturating_add(packs), index: slot.index.saturating_add(cells), ..slot };
    let of_cells = matches!(slot.quantity, Quantity::CellVoltage | Quantity::CellBalancing);
    for pack in slot.pack..=last.pack {
        let Some(described) = bank.packs.get(usize::from(pack)) else {
            let packs = match bank.packs.len() {
                1 => "one pack is".to_owned(),
                packs => format!("{packs} packs are"),
            };
            return Err(Trouble::NoSuchPack { slot: named(Slot { pack, ..slot }, name), packs });
        };
        if let Some(cells) = described.cells.filter(|cells| of_cells && last.index >= *cells) {
            return Err(Trouble::NoSuchCell { slot: named(Slot { pack, ..last }, name), cells });
        }
    }
    Ok(())
}

/// Which bits of which frames are taken.
#[derive(Default)]
pub(super) struct Taken {
    by_key: BTreeMap<Key, Vec<(Signal, Bits, u32)>>,
}

impl Taken {
    /// Takes the bits of the signals of a line.
    ///
    /// # Errors
    /// When a frame can have two of them in the same bits. What only says states or limits may share all its bits: one
    /// byte often says several of them.
    pub(super) fn take(&mut self, signals: &[Signal], line: u32) -> Result<(), Trouble> {
        let mut first = Ok(());
        for signal in signals {
            let (bits, there) = (signal.field.bits(), self.by_key.entry(signal.key).or_default());
            let clash = there.iter().find(|(other, taken, _)| {
                overlap(&bits, taken) && are_together(signal, other) && !may_share(signal, other)
            });
            if let (Some((other, taken, other_line)), true) = (clash, first.is_ok()) {
                first = Err(Trouble::Overlap {
                    slot: named(signal.slot, &signal.name),
                    key: signal.key.to_string(),
                    other: named(other.slot, &other.name),
                    line: *other_line,
                    hint: if bits == *taken { ONE } else { MOVE },
                });
            }
            there.push((signal.clone(), bits, line));
        }
        first
    }
}

fn overlap(a: &Bits, b: &Bits) -> bool {
    a.iter().zip(b).any(|(a, b)| a & b != 0)
}

fn are_together(a: &Signal, b: &Signal) -> bool {
    !a.when.iter().any(|one| b.when.iter().any(|other| one.excludes(other)))
}

/// Whether two values may stand in the same bits: neither is measured, and either they share all of them or one is a
/// word for a state.
fn may_share(a: &Signal, b: &Signal) -> bool {
    let plain = !is_measured(a.slot.quantity) && !is_measured(b.slot.quantity);
    plain && (a.field.bits() == b.field.bits() || !a.states.is_empty() || !b.states.is_empty())
}

fn is_measured(role: Quantity) -> bool {
    use Quantity::{
        BankCurrent, BankVoltage, BusVoltage, CellVoltage, Current, PackVoltage, ReportedSoc, SenderFrames,
        SourceCurrent, SourceOffer, SourceVoltage, Temperature,
    };
    matches!(
        role,
        CellVoltage
            | Temperature
            | PackVoltage
            | BusVoltage
            | Current
            | BankCurrent
            | BankVoltage
            | ReportedSoc
            | SourceCurrent
            | SourceOffer
            | SourceVoltage
            | SenderFrames
    )
}

/// The value, with the signal's own name where it has one.
fn named(slot: Slot, name: &str) -> String {
    if name.is_empty() { shown(slot) } else { format!("{} ('{name}')", shown(slot)) }
}

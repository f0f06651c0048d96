//! What is said about an interface: what it speaks, who is read, what is not sent and why.

use super::bus::Bus;
use super::members::Members;
use super::reader::{Choice, Reader};
use super::standard::{Of, Standard};
use crate::model::snapshot::BusView;
use crate::model::{Dialect, Quantity};

/// Every interface of which something is known.
pub(super) fn buses(reader: &Reader, choice: Choice) -> Vec<BusView> {
    let told = |(channel, bus): (&u8, &Bus)| {
        let standard = reader.dialect(*channel, choice).filter(|dialect| Standard::of(*dialect).is_some());
        let own = bus.own.then_some(Dialect::Own);
        let file = bus.file.then_some(Dialect::File);
        let dialects: Vec<Dialect> = [own, file, standard].into_iter().flatten().collect();
        let mut remarks = standard.map_or_else(Vec::new, |dialect| remarks(reader, *channel, (bus, dialect), choice));
        let beside = bus.confirmed().filter(|_| choice.dialect == Some(Dialect::File));
        remarks.extend(beside.map(not_beside_the_file));
        let forced = standard.is_some() && choice.dialect.is_some();
        (!dialects.is_empty() || !remarks.is_empty()).then_some(BusView {
            channel: *channel,
            dialects,
            forced,
            remarks,
        })
    };
    reader.buses.iter().filter_map(told).collect()
}

/// A standard that is heard on a bus that is read by the bank file's signals.
fn not_beside_the_file(dialect: Dialect) -> String {
    format!(
        "frames that look like {dialect} come and are not read: a bank file with signals is read by these alone, unless it \
         says dialect = \"{}\", which reads both",
        dialect.word()
    )
}

fn remarks(reader: &Reader, channel: u8, (bus, dialect): (&Bus, Dialect), choice: Choice) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some((other, frames)) = bus.other().filter(|(other, _)| *other != dialect) {
        remarks.push(format!(
            "{frames} frames look like {other}; they are not read, since two standards on one bus cannot be told apart \
             for certain. If {dialect} is wrong, say --dialect {}",
            other.word()
        ));
    }
    let empty = Members::default();
    let members = reader.members.get(&channel).unwrap_or(&empty);
    remarks.extend(not_read(members, dialect, choice));
    remarks.extend(not_heard(members, dialect, choice));
    for twice in reader.holders.twice() {
        remarks.push(format!(
            "pack {}: two devices send the same values; address {:02X} (priority {}) is read, address {:02X} (priority \
             {}) is not",
            twice.pack + 1,
            twice.read,
            twice.priority,
            twice.refused,
            twice.lower
        ));
    }
    remarks.extend(not_sent(bus, dialect, choice));
    if dialect == Dialect::RvC && choice.reversed {
        remarks.push(
            "the bank file's current = \"discharge-positive\" turns nothing over here: RV-C itself says that discharge is \
             positive, and its currents are turned over already"
                .into(),
        );
    }
    if members.module_unknown() {
        remarks.push(
            "cells of a second module come, but not how many cells a module has (BATTERY_SUMMARY, group 1FDF1, sent \
             only when a device asks): these cells are not read"
                .into(),
        );
    }
    let broken = reader.fast.counts.broken + reader.broadcasts.counts.broken;
    if broken > 0 {
        remarks.push(format!("{broken} messages of several frames did not come whole; they are not read"));
    }
    remarks
}

/// Numbers that are heard and not read.
fn not_read(members: &Members, dialect: Dialect, choice: Choice) -> Option<String> {
    let read = members.read();
    let others: Vec<String> =
        members.passed_over().iter().filter(|number| Some(**number) != read).map(u8::to_string).collect();
    let others = (!others.is_empty()).then(|| others.join(", "))?;
    let several = choice.packs.is_some_and(|packs| packs > 1);
    Some(match (dialect, read) {
        (Dialect::RvC, Some(read)) => format!("DC source {read} is read as the bank; heard and not read: {others}"),
        (Dialect::RvC, None) => format!("DC sources heard and not read, since none of them is a house bank: {others}"),
        _ if choice.instances.are_told() => {
            format!("battery instances heard and not read, since no [[pack]] of the bank file names them: {others}")
        }
        _ if several => format!(
            "battery instances heard and not read: {others}. Without 'instance' in [[pack]] instance 0 is pack 1, instance \
             1 pack 2 and so on; instance = N in each [[pack]] says which it is"
        ),
        _ => format!(
            "battery instances heard and not read: {others}. They may be other batteries, such as one for starting; a \
             bank file says with instance = N in each [[pack]] which it is"
        ),
    })
}

/// Packs of the bank file of which nothing comes, while something of others does.
fn not_heard(members: &Members, dialect: Dialect, choice: Choice) -> Option<String> {
    let packs =
        choice.packs.filter(|packs| dialect == Dialect::Marine && (*packs > 1 || choice.instances.are_told()))?;
    let missing = (0..packs as u8).filter(|pack| !members.has(*pack));
    let each = |pack: u8| format!("pack {} (instance {})", u16::from(pack) + 1, choice.instances.instance(pack));
    let missing: Vec<String> = missing.map(each).collect();
    let is_heard = missing.len() < packs || !members.passed_over().is_empty();
    (is_heard && !missing.is_empty()).then(|| format!("nothing is heard here of {}", missing.join(", ")))
}

/// What the standard would carry and nobody sends.
fn not_sent(bus: &Bus, dialect: Dialect, choice: Choice) -> Vec<String> {
    if dialect == Dialect::Marine {
        let sign = if choice.reversed { "discharging, as the bank file says" } else { "charging" };
        return vec![format!(
            "IEC 61162-3 has no group for cell voltages, switches of the BMS or balancing: these are not known. A \
             positive current is taken as {sign}"
        )];
    }
    let Some(standard) = Standard::of(dialect) else { return Vec::new() };
    let came = |index: usize| bus.come & 1 << (index & 63) > 0;
    let carries = |index: usize, quantity: Quantity| {
        standard.map.channels(index).iter().any(|channel| channel.target.quantity == quantity)
    };
    let asked = |index: &usize| {
        standard.group(*index).is_some_and(|group| group.asked && matches!(group.of, Of::Cell | Of::Battery))
    };
    let missing = |quantity: Quantity| {
        let mut carriers = (0..standard.map.len()).filter(|index| carries(*index, quantity)).peekable();
        let all: Vec<usize> = carriers.by_ref().collect();
        let none_came = !all.iter().any(|index| came(*index));
        all.into_iter().find(asked).filter(|_| none_came)
    };
    let wanted = [
        (Quantity::CellVoltage, "Cell voltages"),
        (Quantity::CellCount, "The number of cells in series"),
        (Quantity::ChargePath, "The switches of the BMS and the capacity"),
    ];
    wanted
        .into_iter()
        .filter_map(|(quantity, what)| {
            let index = missing(quantity)?;
            let group = standard.group(index)?.group;
            Some(format!(
                "{what} are missing: {dialect} sends them ({}, group {group:05X}) only when a device asks, and this \
                 program never asks. A display that shows them asks for them, or the pack can be set to send them by \
                 itself; a bank file can say what does not change",
                standard.map.name(index)
            ))
        })
        .map(|text| text.replace("in series are missing: RV-C sends them", "in series is missing: RV-C sends it"))
        .collect()
}

//! Where values come from: the maps in use, value by value, in words.

use super::Decoder;
use super::bus::STANDARDS;
use super::standard::{Group, Of, Standard};
use crate::bank::place_words;
use crate::layout::{CompiledMap, Field, Place, own as format};
use crate::model::Slot;
use crate::model::snapshot::{By, Origin};
use std::sync::{Arc, LazyLock};

/// Origins of every value of a map.
pub(super) fn of(map: &CompiledMap) -> Arc<[Origin]> {
    let by = |place: Option<Place>| {
        place.map(|place| By { bits: bits(&place), first: place.first }) // the first of the slots is the first of the numbers
    };
    with(map, |message| (String::new(), [by(map.places(message).pack), by(map.places(message).index)]))
}

/// Origins of every value of a standard. Which number is which pack is not a matter of its bits alone, so these are named.
pub(super) fn of_standard(map: &CompiledMap, groups: &[Group]) -> Arc<[Origin]> {
    with(map, |message| {
        let places = map.places(message);
        let named = |what: &str, place: Option<Place>| {
            place.map_or_else(String::new, |place| format!(", {what} by {}", bits(&place)))
        };
        let words = match groups.get(message).map(|group| group.of) {
            Some(Of::Source) => named("DC source", places.pack),
            Some(Of::Battery) => named("battery", places.pack),
            Some(Of::Cell) => {
                let module = Place { field: Field::plain(8, 8), first: 1, count: 1 };
                named("battery", places.pack) + &named("module", Some(module)) + &named("cell", places.index)
            }
            Some(Of::Instance) => named("instance", places.pack),
            None => String::new(),
        };
        (words, [None, None])
    })
}

fn bits(place: &Place) -> String {
    format!("{} bits from bit {}", place.field.len, place.field.start)
}

fn with(map: &CompiledMap, by: impl Fn(usize) -> (String, [Option<By>; 2])) -> Arc<[Origin]> {
    let mut origins = Vec::new();
    for message in 0..map.len() {
        let (places, name) = (map.places(message), map.name(message));
        let Some(key) = map.key(message) else { continue };
        let count = |place: Option<Place>| place.map_or(1, |place| place.count.max(1));
        let (whose, by) = by(message);
        for channel in map.channels(message) {
            let words = place_words(key, &channel.field, &channel.when);
            let from = if name.is_empty() { words } else { format!("{name}: {words}") } + &whose;
            let (packs, count) = (count(places.pack), count(places.index));
            origins.push(Origin { slot: channel.target, packs, count, from, by: by.clone() });
        }
    }
    origins.into()
}

/// Origins of our own format.
fn own() -> Arc<[Origin]> {
    static OWN: LazyLock<Arc<[Origin]>> = LazyLock::new(|| of(&format::compile()));
    Arc::clone(&OWN)
}

impl Decoder {
    /// Where the values come from, by the maps that are in use: the bank file's first.
    #[must_use]
    pub fn origins(&self) -> Vec<Arc<[Origin]>> {
        let buses = &self.state.reader.buses;
        let mut origins: Vec<Arc<[Origin]>> = self.file_origins.iter().map(Arc::clone).collect();
        let speaks =
            |dialect| buses.keys().any(|channel| self.state.reader.dialect(*channel, self.choice) == Some(dialect));
        for dialect in STANDARDS.into_iter().filter(|dialect| speaks(*dialect)) {
            origins.extend(Standard::of(dialect).map(|standard| Arc::clone(&standard.origins)));
        }
        if buses.values().any(|bus| bus.own) {
            origins.push(own());
        }
        origins
    }

    /// Every value that the bank file's map promises.
    pub fn promised(&self) -> impl Iterator<Item = Slot> {
        let all = self.file_origins.iter().flat_map(|origins| origins.iter());
        all.flat_map(Origin::slots)
    }
}

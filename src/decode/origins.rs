//! Where values come from: the maps in use, value by value, in words.

use super::Decoder;
use super::bus::STANDARDS;
use super::standard::Standard;
use crate::bank::place_words;
use crate::layout::{CompiledMap, Place, own as format};
use crate::model::Slot;
use crate::model::snapshot::Origin;
use std::sync::{Arc, LazyLock};

/// Origins of every value of a map.
pub(super) fn of(map: &CompiledMap) -> Arc<[Origin]> {
    let mut origins = Vec::new();
    for message in 0..map.len() {
        let (places, name) = (map.places(message), map.name(message));
        let Some(key) = map.key(message) else { continue };
        let count = |place: Option<Place>| place.map_or(1, |place| place.count.max(1));
        for channel in map.channels(message) {
            let words = place_words(key, &channel.field, &channel.when);
            let from = if name.is_empty() { words } else { format!("{name}: {words}") };
            origins.push(Origin { slot: channel.target, packs: count(places.pack), count: count(places.index), from });
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
        all.filter(|origin| origin.packs == 1 && origin.count == 1).map(|origin| origin.slot)
    }
}

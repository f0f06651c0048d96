//! Layouts of messages: from the text of DBC files when there are some, or drawn at random. A small reader of its
//! own, so that the generator shares nothing with the program.

use crate::dice::Dice;
use cellwright::layout::{Field, Order};
use cellwright::model::Id;
use std::path::Path;

/// A signal's place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    pub(crate) start: u16,
    pub(crate) bits: u8,
    pub(crate) order: Order,
}

/// A message's places, none of which overlap.
#[derive(Debug, Clone)]
pub(crate) struct Shape {
    pub(crate) id: Id,
    pub(crate) bytes: usize,
    pub(crate) places: Vec<Place>,
}

impl Place {
    /// Sets the bits of the place in a mask; false when one was set already or lies outside.
    pub(crate) fn mark(&self, taken: &mut [u8], bytes: usize) -> bool {
        let field = Field { start: self.start, len: self.bits, order: self.order, ..Field::plain(0, 1) };
        let mut own = [0; 64];
        let fits = field.is_possible() && field.put(&mut own[..bytes], field.mask());
        let free = fits && own.iter().zip(taken.iter()).all(|(own, taken)| own & taken == 0);
        if free {
            taken.iter_mut().zip(own).for_each(|(taken, own)| *taken |= own);
        }
        free
    }
}

/// Every message of every DBC file of a folder, in the order of the files' names.
pub(crate) fn read(folder: &Path) -> Vec<Shape> {
    let mut files: Vec<_> =
        std::fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()).collect();
    files.sort();
    let dbc = files.iter().filter(|path| path.extension().is_some_and(|end| end.eq_ignore_ascii_case("dbc")));
    dbc.filter_map(|path| std::fs::read(path).ok()).flat_map(|bytes| shapes(&String::from_utf8_lossy(&bytes))).collect()
}

fn shapes(text: &str) -> Vec<Shape> {
    let mut shapes: Vec<Shape> = Vec::new();
    let mut taken = [0; 64];
    let mut inside = false;
    for line in text.lines().map(str::trim) {
        if let Some(rest) = line.strip_prefix("BO_ ") {
            let words: Vec<&str> = rest.split_whitespace().collect();
            let (id, bytes) =
                (words.first().and_then(|w| w.parse::<u32>().ok()), words.get(2).and_then(|w| w.parse().ok()));
            inside = false;
            let (Some(id), Some(bytes)) = (id, bytes) else { continue };
            let id = if id & 0x8000_0000 != 0 {
                Id::Extended(id & Id::EXTENDED_MAX)
            } else {
                Id::Standard(id as u16 & 0x7FF)
            };
            if (1..=64).contains(&bytes) {
                (inside, taken) = (true, [0; 64]);
                shapes.push(Shape { id, bytes, places: Vec::new() });
            }
        } else if let (true, Some(rest), Some(shape)) = (inside, line.strip_prefix("SG_ "), shapes.last_mut())
            && let Some(place) = rest.split_once(':').and_then(|(_, place)| signal(place.trim()))
            && place.mark(&mut taken, shape.bytes)
        {
            shape.places.push(place);
        }
    }
    shapes.retain(|shape| !shape.places.is_empty());
    shapes
}

/// `7|16@0+ (…`
fn signal(text: &str) -> Option<Place> {
    let (start, rest) = text.split_once('|')?;
    let (bits, rest) = rest.split_once('@')?;
    let order = if rest.starts_with('0') { Order::Big } else { Order::Little };
    Some(Place { start: start.parse().ok()?, bits: bits.parse().ok().filter(|bits| (1..=64).contains(bits))?, order })
}

/// Messages drawn at random, as many kinds of layouts as a folder of files would have.
pub(crate) fn drawn(seed: u64) -> Vec<Shape> {
    let mut dice = Dice::new(seed, 5);
    (0..60).map(|_| shape(&mut dice)).collect()
}

fn shape(dice: &mut Dice) -> Shape {
    let id = if dice.chance(0.4) {
        Id::Extended(dice.bits() as u32 & Id::EXTENDED_MAX)
    } else {
        Id::Standard(dice.bits() as u16 & 0x7FF)
    };
    let bytes = *dice.weighed(&[8, 8, 8, 8, 6, 4, 3, 2, 16, 32], |_| 1.0);
    let (mut taken, mut places) = ([0; 64], Vec::new());
    let order = if dice.chance(0.5) { Order::Big } else { Order::Little };
    let usual = *dice.pick(&[1_u8, 4, 8, 8, 10, 12, 12, 16, 16, 16, 24, 32]);
    for _ in 0..40 {
        let bits =
            if dice.chance(0.6) { usual } else { *dice.pick(&[1, 2, 3, 4, 7, 8, 8, 9, 10, 11, 12, 13, 16, 16, 20]) };
        let start = if dice.chance(0.6) { 8 * dice.below(bytes) } else { dice.below(8 * bytes) } as u16;
        let start = if order == Order::Big && dice.chance(0.6) { start | 7 } else { start };
        let place = Place { start, bits, order };
        if place.mark(&mut taken, bytes) {
            places.push(place);
        }
    }
    Shape { id, bytes, places }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_gives_its_messages_and_leaves_out_what_overlaps() {
        let text = "BO_ 2566838784 A: 8 X\n SG_ a : 7|16@0+ (1,0) [0|0] \"\" X\n SG_ b m1 : 0|8@1- (1,0) [0|0] \"\" X\n\
                    SG_ c : 24|12@1+ (0.1,0) [0|0] \"V\" X\nBO_ 5 B: 0 X\n";
        let shapes = shapes(text);
        assert_eq!((shapes.len(), shapes[0].id, shapes[0].bytes), (1, Id::Extended(0x18FE_DA00), 8));
        let c = Place { start: 24, bits: 12, order: Order::Little };
        assert_eq!(shapes[0].places, [Place { start: 7, bits: 16, order: Order::Big }, c]);
    }
}

//! A bus of nobody's: 11-bit ids, a switch in the first byte, two big-endian numbers behind it.

use cellwright::layout::own::{BANK_SENDER, BEAT, FRAMES, OwnFrame, Sender};
use cellwright::layout::{Blank, Channel, CompiledMap, Field, Form, Key, MapBuilder, MessageSpec, Order, Places, When};
use cellwright::model::{Frame, FrameKind, Id, Quantity, Slot, Value};
use std::collections::BTreeMap;
use std::sync::Arc;

/// First id: that of the only pack's frames; the bank's follow.
const FIRST: u16 = 0x321;

/// A page: the frame's id, its switch, and the two slots that it carries.
struct Page {
    group: u8,
    id: Id,
    switch: u8,
    slots: Vec<Slot>,
}

pub(crate) struct Foreign(Vec<Page>);

/// The numbers of a page: 24 bits each, signed, the most significant byte first.
fn field(place: usize, quantity: Quantity) -> Field {
    let (_, high) = quantity.bounds();
    let scale = if high > 500.0 { 0.001 } else { 1e-4 };
    Field {
        order: Order::Big,
        form: Form::Signed,
        scale,
        blank: Blank::Two,
        ..Field::plain(8 + 24 * place as u16 + 7, 24)
    }
}

fn slots(frame: &OwnFrame, part: u8) -> impl Iterator<Item = Slot> {
    frame.fields.iter().map(move |own| Slot::at(0, own.quantity, part * frame.step + own.index))
}

impl Foreign {
    pub(crate) fn new() -> Self {
        let mut pages: Vec<Page> = Vec::new();
        for frame in FRAMES.iter().filter(|frame| frame.group != BEAT) {
            let of_bank = frame.sender == Sender::Bank;
            for part in 0..frame.repeat {
                let measured: Vec<Slot> = slots(frame, part).filter(|slot| !slot.quantity.is_description()).collect();
                for pair in measured.chunks(2) {
                    let switch = pages.len() as u8;
                    let id = Id::Standard(FIRST + u16::from(of_bank));
                    pages.push(Page { group: frame.group + part, id, switch, slots: pair.to_vec() });
                }
            }
        }
        assert!(pages.len() < 256 && BANK_SENDER > 0);
        Self(pages)
    }

    /// The map that a bank file would give.
    pub(crate) fn map(&self) -> Arc<CompiledMap> {
        let mut builder = MapBuilder::default();
        for id in [Id::Standard(FIRST), Id::Standard(FIRST + 1)] {
            let channels = self.0.iter().filter(|page| page.id == id).flat_map(|page| {
                let switch = u64::from(page.switch);
                let when = vec![When { field: Field::plain(0, 8), any_of: vec![(switch, switch)] }];
                page.slots.iter().enumerate().map(move |(place, slot)| Channel {
                    when: when.clone(),
                    ..Channel::new(*slot, field(place, slot.quantity))
                })
            });
            let (key, name) = (Key::Exact(id), format!("page_{id}"));
            let spec = MessageSpec { key, name, places: Places::default(), channels: channels.collect() };
            builder.message(spec).expect("a map that can be");
        }
        Arc::new(builder.compile())
    }

    /// The pages that carry what a frame of our format carried.
    pub(crate) fn frames(&self, group: u8, said: &BTreeMap<Slot, Value>) -> Vec<Frame> {
        let pages = self.0.iter().filter(|page| page.group == group);
        let frame = |page: &Page| {
            let mut data = [0; 7];
            data[0] = page.switch;
            for (place, slot) in page.slots.iter().enumerate() {
                let count = match said.get(slot) {
                    Some(Value::Present(number)) => (number / field(place, slot.quantity).scale).round() as i32,
                    Some(Value::Invalid(_)) => 0x7F_FFFE,
                    _ => 0x7F_FFFF,
                };
                data[1 + 3 * place..][..3].copy_from_slice(&count.to_be_bytes()[1..]);
            }
            Frame::new(page.id, FrameKind::Data, &data).expect("seven bytes")
        };
        pages.map(frame).collect()
    }
}

//! The layout of one foreign bus: which messages carry which value of the bank, and how. Everything is drawn.

use crate::chatter::{Filler, Habit};
use crate::dice::Dice;
use crate::encoding::{Encoding, draw};
use crate::suite::{Place, Shape};
use cellwright::layout::{Field, Order};
use cellwright::model::{Id, Quantity, Slot};

/// A value of the bank at its place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Part {
    pub(crate) slot: Slot,
    pub(crate) field: Field,
}

/// A message of the bank.
#[derive(Debug, Clone)]
pub(crate) struct Message {
    pub(crate) id: Id,
    pub(crate) bytes: usize,
    /// The field that chooses among the messages of an id, and its number here.
    pub(crate) selector: Option<(Field, u64)>,
    pub(crate) parts: Vec<Part>,
    pub(crate) fillers: Vec<Filler>,
    /// Seconds between two.
    pub(crate) period: f64,
}

/// How a bus multiplexes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mux {
    None,
    /// The cells' messages have one id and a number of the group.
    Group,
    /// The packs' messages have the same ids and a number of the pack.
    Instance,
}

/// A foreign bus.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub(crate) cells: usize,
    pub(crate) packs: usize,
    pub(crate) mux: Mux,
    pub(crate) from_shapes: bool,
    pub(crate) messages: Vec<Message>,
}

/// What is drawn once for a bus.
struct Plan {
    order: Order,
    /// Every field begins at a byte.
    aligned: bool,
    bytes: usize,
    wide_ids: bool,
    base: u32,
    /// From one pack's ids to the next's.
    stride: u32,
    guarded: bool,
    pad: u8,
    flip: bool,
    sensors: usize,
    with_volts: bool,
    with_soc: bool,
}

impl Plan {
    fn new(dice: &mut Dice) -> Self {
        Self {
            order: if dice.chance(0.5) { Order::Big } else { Order::Little },
            aligned: dice.chance(0.6),
            bytes: *dice.weighed(&[8, 8, 8, 8, 7, 6, 32, 64], |_| 1.0),
            wide_ids: dice.chance(0.4),
            base: dice.bits() as u32,
            stride: *dice.pick(&[1 << 4, 1 << 5, 1 << 6]),
            guarded: dice.chance(0.3),
            pad: *dice.weighed(&[0, 0, 0, 0xFF, 0x55], |_| 1.0),
            flip: dice.chance(0.5),
            sensors: 1 + dice.below(4),
            with_volts: dice.chance(0.92),
            with_soc: dice.chance(0.9),
        }
    }

    fn id(&self, pack: usize, number: usize) -> Id {
        let more = self.stride * pack as u32 + number as u32;
        if self.wide_ids {
            Id::Extended((0x1000_0000 + (self.base & 0x0FFF_0000)) | more)
        } else {
            Id::Standard((self.base as u16 & 0x380) + more as u16)
        }
    }
}

/// What a pack says, and how: the same for every pack of a bus.
fn wanted(dice: &mut Dice, plan: &Plan, cells: usize, most: u8) -> Vec<(Quantity, u8, Encoding)> {
    let mut rows = Vec::new();
    let mut put = |dice: &mut Dice, quantity, count: usize| {
        if let Some(encoding) = draw(dice, quantity, most) {
            rows.extend((0..count).map(|index| (quantity, index as u8, encoding)));
        }
    };
    put(dice, Quantity::CellVoltage, cells);
    let mut others = vec![(Quantity::Current, 1), (Quantity::Temperature, plan.sensors)];
    if plan.with_volts {
        others.push((Quantity::PackVoltage, 1));
    }
    if plan.with_soc {
        others.push((Quantity::ReportedSoc, 1));
    }
    dice.shuffle(&mut others);
    others.into_iter().for_each(|(quantity, count)| put(dice, quantity, count));
    rows
}

/// Where the next field of a message can stand.
struct Pen {
    bytes: usize,
    /// Bits used, from the front.
    used: usize,
}

impl Pen {
    fn place(&mut self, dice: &mut Dice, plan: &Plan, bits: u8) -> Option<Place> {
        let gap = if !plan.aligned && dice.chance(0.25) { dice.below(4) } else { 0 };
        let (at, width) = if plan.aligned {
            (self.used.next_multiple_of(8), usize::from(bits).next_multiple_of(8))
        } else {
            (self.used + gap, usize::from(bits))
        };
        if at + width > 8 * self.bytes {
            return None;
        }
        self.used = at + width;
        let start = match plan.order {
            Order::Little => at,
            Order::Big => {
                let first = at + width - usize::from(bits);
                first / 8 * 8 + 7 - first % 8
            }
        };
        Some(Place { start: start as u16, bits, order: plan.order })
    }
}

impl Layout {
    /// A bus drawn from a seed, with a layout of its own.
    pub(crate) fn drawn(seed: u64, cells: usize, packs: usize) -> Self {
        let mut dice = Dice::new(seed, 21);
        let plan = Plan::new(&mut dice);
        let mut mux = *dice.weighed(&[Mux::None, Mux::None, Mux::Group, Mux::Instance], |_| 1.0);
        if mux == Mux::Instance && packs == 1 || mux == Mux::Group && plan.bytes > 8 {
            mux = Mux::None;
        }
        let rows = wanted(&mut dice, &plan, cells, 64);
        let narrow = dice.chance(0.3);
        let first = if narrow { dice.below(2) as u64 } else { *dice.pick(&[0, 1, 1, 0x10]) };
        let mut messages = Vec::new();
        let mut pace = Pace::new(&mut dice);
        for pack in 0..packs {
            let mut ahead = dice.clone();
            let mut rows = rows.iter().peekable();
            let (mut number, mut group) = (0, 0);
            while let Some((head, ..)) = rows.peek() {
                let of_cells = *head == Quantity::CellVoltage;
                let chosen = match mux {
                    Mux::Group if of_cells => Some(first + group),
                    Mux::Instance => Some(first + pack as u64),
                    _ => None,
                };
                let selector = chosen.map(|number| (selector_field(&plan, narrow), number));
                let of_pack = if mux == Mux::Instance { 0 } else { pack };
                let mut message = Message {
                    id: plan.id(of_pack, number),
                    bytes: plan.bytes,
                    selector,
                    parts: Vec::new(),
                    fillers: Vec::new(),
                    period: pace.period(of_cells),
                };
                let end = plan.bytes - usize::from(plan.guarded);
                let mut pen = Pen { bytes: end, used: if selector.is_some() { 8 } else { 0 } };
                while let Some((quantity, index, encoding)) = rows.peek() {
                    let is_cell = *quantity == Quantity::CellVoltage;
                    if is_cell != of_cells {
                        break;
                    }
                    let Some(place) = pen.place(&mut ahead, &plan, encoding.bits) else { break };
                    let flip = plan.flip && *quantity == Quantity::Current;
                    let field = encoding.at(place.start, place.bits, place.order, flip);
                    message.parts.push(Part { slot: Slot::at(pack as u8, *quantity, *index), field });
                    rows.next();
                }
                assert!(!message.parts.is_empty(), "a field fits nowhere");
                if plan.guarded {
                    message.fillers.push(Filler::guard(end * 8));
                }
                message.fillers.insert(0, Filler::all(plan.bytes, plan.pad));
                messages.push(message);
                group += 1;
                number += usize::from(
                    !(mux == Mux::Group && of_cells && rows.peek().is_some_and(|row| row.0 == Quantity::CellVoltage)),
                );
            }
        }
        Self { cells, packs, mux, from_shapes: false, messages }
    }

    /// A bus whose values stand where messages of these shapes have theirs.
    pub(crate) fn shaped(seed: u64, cells: usize, packs: usize, shapes: &[Shape]) -> Self {
        let mut dice = Dice::new(seed, 22);
        let plan = Plan::new(&mut dice);
        let mut pool: Vec<&Shape> = shapes.iter().filter(|shape| wide(shape, 8).count() > 0).collect();
        dice.shuffle(&mut pool);
        let mut messages = Vec::new();
        let mut pace = Pace::new(&mut dice);
        // cells stand in messages that have two places of a width or more
        let lead = pool.iter().find(|shape| usual_width(shape).1 > 1).copied();
        let lead = lead.unwrap_or_else(|| pool.first().copied().expect("a message with a place of eight bits"));
        let (width, many) = usual_width(lead);
        let cell = draw(&mut dice, Quantity::CellVoltage, width).expect("an encoding");
        let with =
            |quantity, index| (quantity, index, if quantity == Quantity::CellVoltage { Some(cell) } else { None });
        let cell_rows: Vec<_> = (0..cells).map(|index| with(Quantity::CellVoltage, index as u8)).collect();
        for (number, rows) in cell_rows.chunks(many).enumerate() {
            let places: Vec<Place> = wide(lead, width).filter(|place| place.bits == width).collect();
            let rows: Vec<_> = rows.iter().map(|(quantity, index, _)| (*quantity, *index, cell)).collect();
            messages.push(message(&mut dice, &plan, lead, number, (&rows, &places)));
        }
        let mut others: Vec<(Quantity, u8)> = vec![(Quantity::Current, 0)];
        others.extend(plan.with_volts.then_some((Quantity::PackVoltage, 0)));
        others.extend(plan.with_soc.then_some((Quantity::ReportedSoc, 0)));
        dice.shuffle(&mut others);
        others.extend((0..plan.sensors).map(|index| (Quantity::Temperature, index as u8)));
        let mut warm = None;
        let mut others = others.into_iter().peekable();
        for shape in &pool {
            let (mut rows, mut places) = (Vec::new(), Vec::new());
            for place in wide(shape, 8) {
                let Some((quantity, index)) = others.peek().copied() else { break };
                let fixed = warm.filter(|way: &Encoding| quantity == Quantity::Temperature && way.bits <= place.bits);
                let least = if quantity == Quantity::Current { 10 } else { 8 };
                if place.bits < least || quantity == Quantity::Temperature && warm.is_some() && fixed.is_none() {
                    continue;
                }
                let Some(way) = fixed.or_else(|| draw(&mut dice, quantity, place.bits)) else { continue };
                if quantity == Quantity::Temperature {
                    warm = Some(way);
                }
                rows.push((quantity, index, way));
                places.push(place);
                others.next();
            }
            if !rows.is_empty() {
                let number = 16 + messages.len();
                messages.push(message(&mut dice, &plan, shape, number, (&rows, &places)));
            }
            if others.peek().is_none() {
                break;
            }
        }
        messages
            .iter_mut()
            .for_each(|message| message.period = pace.period(message.parts[0].slot.quantity == Quantity::CellVoltage));
        let one = messages.clone();
        for pack in 1..packs {
            for of_first in &one {
                let mut message = of_first.clone();
                message.id = moved(message.id, pack);
                message.parts.iter_mut().for_each(|part| part.slot.pack = pack as u8);
                messages.push(message);
            }
        }
        Self { cells, packs, mux: Mux::None, from_shapes: true, messages }
    }

    /// Every value that there is to be found.
    pub(crate) fn parts(&self) -> impl Iterator<Item = (&Message, &Part)> {
        self.messages.iter().flat_map(|message| message.parts.iter().map(move |part| (message, part)))
    }
}

fn moved(id: Id, pack: usize) -> Id {
    match id {
        Id::Standard(id) => Id::Standard(id + 0x100 * pack as u16),
        Id::Extended(id) => Id::Extended(id + 0x100 * pack as u32),
    }
}

fn wide(shape: &Shape, least: u8) -> impl Iterator<Item = Place> {
    let mut places: Vec<Place> =
        shape.places.iter().copied().filter(|place| (least..=32).contains(&place.bits)).collect();
    places.sort_by_key(|place| {
        place.start / 8 * 8 + if place.order == Order::Big { 7 - place.start % 8 } else { place.start % 8 }
    });
    places.into_iter()
}

/// The width of at least eight bits that most places of a message have, and how many.
fn usual_width(shape: &Shape) -> (u8, usize) {
    let count = |bits: u8| wide(shape, 8).filter(|place| place.bits == bits).count();
    (8..=32).map(|bits| (bits, count(bits))).max_by_key(|(_, count)| *count).unwrap_or((8, 0))
}

type Row = (Quantity, u8, Encoding);

fn message(dice: &mut Dice, plan: &Plan, shape: &Shape, number: usize, (rows, places): (&[Row], &[Place])) -> Message {
    let mut parts = Vec::new();
    for ((quantity, index, way), place) in rows.iter().zip(places) {
        let flip = plan.flip && *quantity == Quantity::Current;
        let field = way.at(place.start, place.bits, place.order, flip);
        parts.push(Part { slot: Slot::at(0, *quantity, *index), field });
    }
    let mut fillers = vec![Filler::all(shape.bytes, plan.pad)];
    for place in shape.places.iter().filter(|place| !places[..parts.len()].contains(place)) {
        fillers.push(Filler { place: *place, habit: Habit::beside_a_bank(dice, place.bits) });
    }
    Message { id: plan.id(0, number), bytes: shape.bytes, selector: None, parts, fillers, period: 1.0 }
}

fn selector_field(plan: &Plan, narrow: bool) -> Field {
    let start = if narrow { 4 } else { 0 };
    let bits = if narrow { 4 } else { 8 };
    let start = if plan.order == Order::Big { 7 } else { start };
    Field { order: plan.order, ..Field::plain(start, bits) }
}

/// How often messages come: cells and the rest each have their own period.
struct Pace {
    cells: f64,
    rest: f64,
}

impl Pace {
    fn new(dice: &mut Dice) -> Self {
        let periods = [1.0, 2.0, 2.0, 3.0, 5.0];
        Self { cells: *dice.pick(&periods), rest: *dice.pick(&periods) }
    }

    fn period(&mut self, of_cells: bool) -> f64 {
        if of_cells { self.cells } else { self.rest }
    }
}

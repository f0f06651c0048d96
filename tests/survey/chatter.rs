//! What else is on a bus: counters, checksums, text, flags, values of other things; in messages of their own and
//! beside the bank's values.

use crate::dice::Dice;
use crate::suite::{Place, Shape};
use cellwright::layout::{Field, Order};
use cellwright::model::Id;

/// How a place that is nothing of the bank behaves.
#[derive(Debug, Clone)]
pub(crate) enum Habit {
    Constant(u64),
    /// Bytes that every message begins with.
    Fill(u8),
    Counter,
    /// The sum of all other bytes.
    Sum,
    Flag(f64),
    Noise,
    Text,
    /// A value of some other thing: level, noise, drift, in shares of the range.
    Walk {
        now: f64,
        noise: f64,
        drift: f64,
    },
    Wave {
        level: f64,
        height: f64,
        period: f64,
    },
    /// On and off.
    Switch {
        low: u64,
        high: u64,
        on: bool,
    },
}

/// A place and what it does.
#[derive(Debug, Clone)]
pub(crate) struct Filler {
    pub(crate) place: Place,
    pub(crate) habit: Habit,
}

impl Filler {
    pub(crate) fn all(bytes: usize, pad: u8) -> Self {
        Self { place: Place { start: 0, bits: bytes.min(8) as u8 * 8, order: Order::Little }, habit: Habit::Fill(pad) }
    }

    /// A checksum in the byte at this bit.
    pub(crate) fn guard(bit: usize) -> Self {
        Self { place: Place { start: bit as u16, bits: 8, order: Order::Little }, habit: Habit::Sum }
    }

    /// Writes what stands there at this second, the `count`th time.
    pub(crate) fn write(&mut self, dice: &mut Dice, data: &mut [u8], count: u64, secs: f64) {
        let Place { start, bits, order } = self.place;
        let field = Field { start, len: bits, order, ..Field::plain(0, 1) };
        let top = field.mask();
        let scaled = |share: f64| (share.clamp(0.0, 1.0) * top as f64) as u64;
        let raw = match &mut self.habit {
            Habit::Fill(pad) => return data.fill(*pad),
            Habit::Sum => {
                let sum = data.iter().fold(0_u8, |sum, byte| sum.rotate_left(1) ^ byte);
                u64::from(sum)
            }
            Habit::Constant(raw) => *raw,
            Habit::Counter => count,
            Habit::Flag(share) => {
                if dice.chance(*share) {
                    dice.bits()
                } else {
                    0
                }
            }
            Habit::Noise => dice.bits(),
            Habit::Text => u64::from_le_bytes(*b"UNIT 7 A").rotate_left(8 * (count % 8) as u32),
            Habit::Walk { now, noise, drift } => {
                *now = (*now + *drift * dice.bell()).clamp(0.0, 1.0);
                scaled(*now + *noise * dice.bell())
            }
            Habit::Wave { level, height, period } => {
                scaled(*level + *height * (secs / *period * std::f64::consts::TAU).sin())
            }
            Habit::Switch { low, high, on } => {
                *on ^= dice.chance(0.02);
                if *on { *high } else { *low }
            }
        };
        field.put(data, raw & top);
    }
}

impl Habit {
    pub(crate) fn drawn(dice: &mut Dice, bits: u8) -> Self {
        if bits <= 2 {
            return if dice.chance(0.5) { Self::Constant(dice.bits()) } else { Self::Flag(dice.between(0.0, 0.3)) };
        }
        match dice.below(if bits >= 24 { 8 } else { 7 }) {
            0 => Self::Constant(dice.bits()),
            1 => Self::Counter,
            2 if dice.chance(0.3) => Self::Noise,
            2 | 3 => {
                let exponent = |dice: &mut Dice| 10_f64.powf(dice.between(-4.5, -1.5));
                Self::Walk { now: dice.share(), noise: exponent(dice), drift: exponent(dice) }
            }
            4 => {
                Self::Wave { level: dice.share(), height: dice.between(0.005, 0.3), period: dice.between(20.0, 4000.0) }
            }
            5 => Self::Switch { low: dice.bits(), high: dice.bits(), on: false },
            6 => Self::Walk { now: dice.share(), noise: 0.0, drift: 10_f64.powf(dice.between(-4.0, -2.5)) },
            _ => Self::Text,
        }
    }

    /// What stands beside a bank's values in its own messages: seldom something large.
    pub(crate) fn beside_a_bank(dice: &mut Dice, bits: u8) -> Self {
        if dice.chance(0.5) {
            Self::Constant(if dice.chance(0.7) { 0 } else { dice.bits() })
        } else {
            Self::drawn(dice, bits)
        }
    }
}

/// A message that has nothing to do with the bank.
#[derive(Debug, Clone)]
pub(crate) struct Talk {
    pub(crate) id: Id,
    pub(crate) bytes: usize,
    pub(crate) fillers: Vec<Filler>,
    pub(crate) period: f64,
}

/// Other messages with these shapes; ids that are taken are left alone.
pub(crate) fn talks(seed: u64, shapes: &[Shape], taken: &[Id]) -> Vec<Talk> {
    let mut dice = Dice::new(seed, 31);
    let mut ids: Vec<Id> = taken.to_vec();
    let mut talks = Vec::new();
    for _ in 0..8 + dice.below(18) {
        let shape = dice.pick(shapes);
        if ids.contains(&shape.id) {
            continue;
        }
        ids.push(shape.id);
        let mut fillers = vec![Filler::all(shape.bytes, if dice.chance(0.3) { 0xFF } else { 0 })];
        for place in &shape.places {
            fillers.push(Filler { place: *place, habit: Habit::drawn(&mut dice, place.bits) });
        }
        if dice.chance(0.15) {
            fillers.push(Filler::guard(shape.bytes * 8 - 8));
        }
        talks.push(Talk { id: shape.id, bytes: shape.bytes, fillers, period: *dice.pick(&[1.0, 2.0, 3.0, 5.0, 10.0]) });
    }
    talks
}

/// What other systems say that reads like a bank's: an id's neighbour with air and water that go with the day, and a
/// starter battery's voltage. `near` is an id of the bank.
pub(crate) fn decoys(seed: u64, near: Option<Id>, taken: &[Id]) -> Vec<Talk> {
    let mut dice = Dice::new(seed, 61);
    let id = |more: u16| match near.unwrap_or(Id::Standard(0x300)) {
        Id::Standard(id) => Id::Standard((id ^ more) & 0x7FF),
        Id::Extended(id) => Id::Extended(id ^ u32::from(more)),
    };
    let place = |number: u16| Place { start: 16 * number, bits: 16, order: Order::Little };
    let share = |celsius: f64| (celsius + 40.0) * 10.0 / 65_535.0; // tenths of a kelvin from -40 °C
    let warm = |dice: &mut Dice, number| {
        let level = share(dice.between(0.0, 30.0));
        let height = dice.between(5.0, 40.0) / 65_535.0;
        Filler { place: place(number), habit: Habit::Wave { level, height, period: dice.between(2e4, 9e4) } }
    };
    let volts = |dice: &mut Dice, number| {
        let now = dice.between(12.4, 13.8) * 1e3 / 65_535.0;
        Filler { place: place(number), habit: Habit::Walk { now, noise: 5e-5, drift: 2e-5 } }
    };
    let air: Vec<Filler> = (0..3).map(|number| warm(&mut dice, number)).collect();
    let starter: Vec<Filler> = (0..2).map(|number| volts(&mut dice, number)).collect();
    let talks = [(id(0x0C), air), (id(0x1C), starter)].into_iter().filter(|(id, _)| !taken.contains(id));
    talks.map(|(id, fillers)| Talk { id, bytes: 8, fillers, period: 2.0 }).collect()
}

//! A foreign bus at work: what its meters make of the bank's day, sent in the bus's own layout among its chatter.

use crate::chatter::{self, Talk};
use crate::day::{Day, PackNow};
use crate::dice::Dice;
use crate::layout::{Layout, Message};
use crate::suite::Shape;
use cellwright::model::{Frame, FrameKind, Id, Quantity, Slot, Stamp, Value};

/// First moment of a log.
const BEGIN: Stamp = Stamp::from_secs(1_772_323_200);

/// A foreign bus with a bank on it, or without.
pub(crate) struct Bus {
    pub(crate) seed: u64,
    pub(crate) layout: Option<Layout>,
    pub(crate) day: Day,
    pub(crate) talks: Vec<Talk>,
}

/// How well a bank measures itself.
struct Meter {
    cell: f64,
    volts: (f64, f64),
    amps: (f64, f64, f64),
    baseline: Vec<f64>,
    dice: Dice,
}

impl Bus {
    /// The bus of a seed. Every third takes its layout from the shapes of messages, the others draw their own.
    pub(crate) fn new(seed: u64, shaped: bool, shapes: &[Shape]) -> Self {
        let mut dice = Dice::new(seed, 1);
        let cells = *dice.pick(&[4, 4, 8, 16]);
        let packs = *dice.weighed(&[1, 2, 3], |packs| 1.0 / f64::from(*packs)) as usize;
        let layout =
            if shaped { Layout::shaped(seed, cells, packs, shapes) } else { Layout::drawn(seed, cells, packs) };
        let taken: Vec<Id> = layout.messages.iter().map(|message| message.id).collect();
        let mut talks = chatter::talks(seed, shapes, &taken);
        talks.extend(decoys(seed, &talks, &taken));
        Self { seed, day: Day::new(seed, cells, packs), talks, layout: Some(layout) }
    }

    /// A bus without a bank: the chatter alone, for an hour.
    pub(crate) fn empty(seed: u64, shapes: &[Shape]) -> Self {
        let day = Day { capacity: 100.0, air: 20.0, rows: vec![Vec::new(); 3600] };
        let mut talks = chatter::talks(seed, shapes, &[]);
        talks.extend(decoys(seed, &talks, &[]));
        Self { seed, layout: None, day, talks }
    }

    /// Everything that is sent, in order.
    pub(crate) fn frames(&self) -> Vec<(Stamp, Frame)> {
        let mut frames = Vec::new();
        let mut dice = Dice::new(self.seed, 41);
        let rows = self.rows();
        for message in self.layout.iter().flat_map(|layout| &layout.messages) {
            self.send(message, &rows, &mut dice, &mut frames);
        }
        for talk in &self.talks {
            let mut talk = talk.clone();
            let phase = dice.share() * talk.period;
            let count = ((self.day.rows.len() as f64 - phase) / talk.period).max(0.0) as u64;
            for number in 0..count {
                let secs = phase + number as f64 * talk.period;
                let mut data = [0; 64];
                let data = &mut data[..talk.bytes];
                talk.fillers.iter_mut().for_each(|filler| filler.write(&mut dice, data, number, secs));
                frames.push((late(&mut dice, secs), frame(talk.id, data)));
            }
        }
        frames.sort_by_key(|(stamp, _)| *stamp);
        frames
    }

    fn send(&self, message: &Message, rows: &[Vec<Measured>], dice: &mut Dice, frames: &mut Vec<(Stamp, Frame)>) {
        let phase = dice.share() * message.period;
        let mut fillers = message.fillers.clone();
        let count = ((rows.len() as f64 - phase) / message.period).max(0.0) as u64;
        for number in 0..count {
            let secs = phase + number as f64 * message.period;
            let Some(row) = rows.get(secs as usize) else { break };
            let mut data = [0; 64];
            let data = &mut data[..message.bytes];
            let (last, first) = match fillers.split_last_mut() {
                Some((last, first)) if matches!(last.habit, chatter::Habit::Sum) => (Some(last), first),
                _ => (None, &mut fillers[..]),
            };
            first.iter_mut().for_each(|filler| filler.write(dice, data, number, secs));
            if let Some((field, number)) = &message.selector {
                field.put(data, *number);
            }
            for part in &message.parts {
                let value = row.get(usize::from(part.slot.pack)).map_or(Value::Missing, |now| now.value(part.slot));
                part.field.put(data, part.field.raw(value));
            }
            last.into_iter().for_each(|filler| filler.write(dice, data, number, secs));
            frames.push((late(dice, secs), frame(message.id, data)));
        }
    }

    fn rows(&self) -> Vec<Vec<Measured>> {
        let Some(layout) = &self.layout else { return vec![Vec::new(); self.day.rows.len()] };
        let mut meters: Vec<Meter> = (0..layout.packs).map(|pack| Meter::new(self.seed, pack)).collect();
        let measure = |row: &Vec<PackNow>, meters: &mut Vec<Meter>| {
            row.iter().zip(meters).map(|(now, meter)| meter.measure(now)).collect()
        };
        self.day.rows.iter().map(|row| measure(row, &mut meters)).collect()
    }
}

/// What a pack says of itself.
#[derive(Debug, Clone)]
struct Measured {
    cells: Vec<f64>,
    volts: f64,
    amps: f64,
    soc: f64,
    celsius: Vec<f64>,
}

impl Measured {
    fn value(&self, slot: Slot) -> Value {
        let index = usize::from(slot.index);
        Value::Present(match slot.quantity {
            Quantity::CellVoltage => self.cells[index],
            Quantity::PackVoltage => self.volts,
            Quantity::Current => self.amps,
            Quantity::ReportedSoc => self.soc,
            _ => self.celsius[index],
        })
    }
}

impl Meter {
    fn new(seed: u64, pack: usize) -> Self {
        let mut dice = Dice::new(seed, 50 + pack as u64);
        Self {
            cell: dice.between(0.0003, 0.0012),
            volts: (dice.between(-0.001, 0.001), dice.between(0.001, 0.004)),
            amps: (dice.between(-0.005, 0.005), dice.between(-0.1, 0.1), dice.between(0.02, 0.15)),
            baseline: (0..8).map(|_| dice.between(-0.8, 0.8)).collect(),
            dice,
        }
    }

    fn measure(&mut self, now: &PackNow) -> Measured {
        let Self { cell, volts, amps, baseline, dice } = self;
        let sum: f64 = now.cells.iter().sum();
        let sensor = |(index, more): (usize, &f64)| {
            let at = now.celsius.get(index * now.cells.len() / baseline.len()).copied().unwrap_or_default();
            at + more
        };
        let felt: Vec<f64> = baseline.iter().enumerate().map(sensor).collect();
        Measured {
            cells: now.cells.iter().map(|volts| volts + *cell * dice.bell()).collect(),
            volts: sum * (1.0 + volts.0) + volts.1 * dice.bell(),
            amps: now.amps * (1.0 + amps.0) + amps.1 + amps.2 * dice.bell(),
            soc: now.soc.clamp(0.0, 1.0),
            celsius: felt.into_iter().map(|felt| felt + 0.03 * dice.bell()).collect(),
        }
    }
}

/// What reads like a bank's and is not, beside the other talk and the bank's own ids.
fn decoys(seed: u64, talks: &[Talk], taken: &[Id]) -> Vec<Talk> {
    let ids: Vec<Id> = talks.iter().map(|talk| talk.id).chain(taken.iter().copied()).collect();
    chatter::decoys(seed, taken.first().copied(), &ids)
}

/// A sender is late by some milliseconds.
fn late(dice: &mut Dice, secs: f64) -> Stamp {
    BEGIN.plus_secs(secs + 0.004 * dice.share())
}

fn frame(id: Id, data: &[u8]) -> Frame {
    let kind = if data.len() > 8 { FrameKind::Fd(4) } else { FrameKind::Data };
    Frame::new(id, kind, data).expect("a frame")
}

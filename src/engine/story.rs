//! For tests: a bank told as a story, and what the engine found of it.

#![allow(dead_code)] // what one rule's story does not need, another's does

use super::Engine;
use crate::model::bank::{PackSpec, Ratings, SensorRole, SensorSpec};
use crate::model::limits::Limits;
use crate::model::{Bank, Quantity, Slot, Snapshot, Stamp, Value};
use crate::unit::AmpHours;

/// An invented day on which every story begins.
pub(crate) const BEGIN: Stamp = Stamp::from_secs(1_800_000_000);

/// A bank whose values are told set by set.
pub(crate) struct Story {
    pub(crate) engine: Engine,
}

/// The values of one set, of pack 1 unless another is named.
pub(crate) struct Bus<'a> {
    engine: &'a mut Engine,
}

/// A pack of four cells, 100 Ah, with a case sensor and an electronics sensor.
pub(crate) fn four_cells() -> Bank {
    let mut spec = PackSpec {
        cells: Some(4),
        rated: Ratings { capacity: Some(AmpHours::of(100.0)), ..Ratings::default() },
        ..PackSpec::default()
    };
    spec.sensors[0] = SensorSpec { role: SensorRole::Case, cell: Some(1) };
    spec.sensors[1] = SensorSpec { role: SensorRole::Electronics, cell: None };
    Bank { packs: vec![spec] }
}

impl Story {
    pub(crate) fn new(bank: Bank) -> Self {
        Self { engine: Engine::new(Limits::default(), Some(bank)) }
    }

    /// Tells a set every `step` seconds from `from` on, up to but not including `to`.
    pub(crate) fn run(&mut self, from: f64, to: f64, step: f64, mut set: impl FnMut(f64, &mut Bus)) {
        let mut count = 0_u32;
        loop {
            let t = from + f64::from(count) * step;
            if t >= to - 1e-9 {
                break;
            }
            self.engine.advance(BEGIN.plus_secs(t));
            set(t, &mut Bus { engine: &mut self.engine });
            count += 1;
        }
        self.engine.close();
    }

    /// Lets time pass without a word.
    pub(crate) fn silence_until(&mut self, t: f64) {
        self.engine.advance(BEGIN.plus_secs(t));
    }

    pub(crate) fn snapshot(&self) -> Snapshot {
        self.engine.snapshot()
    }

    /// 'code severity subject from x s to y s[, active]', worst first.
    pub(crate) fn findings(&self) -> Vec<String> {
        let secs = |stamp: Stamp| stamp.since(BEGIN).round();
        let line = |f: crate::model::Finding| {
            let active = if f.active { ", active" } else { "" };
            format!(
                "{} {} {} from {} s to {} s{active}",
                f.code,
                f.severity.word(),
                f.subject,
                secs(f.first),
                secs(f.last)
            )
        };
        self.snapshot().findings.into_iter().map(line).collect()
    }

    /// The findings of one condition only.
    pub(crate) fn found_of(&self, code: &str) -> Vec<String> {
        self.findings().into_iter().filter(|line| line.starts_with(code)).collect()
    }

    /// Why a condition is not judged, if it is not.
    pub(crate) fn why_not(&self, code: &str) -> Option<String> {
        self.snapshot().not_judged.into_iter().find(|n| n.code == code).map(|n| n.why)
    }
}

impl Bus<'_> {
    pub(crate) fn put(&mut self, slot: Slot, value: Value) {
        self.engine.put(slot, value);
    }

    pub(crate) fn cells(&mut self, volts: &[f64]) {
        for (cell, volts) in volts.iter().enumerate() {
            self.put(Slot::at(0, Quantity::CellVoltage, cell as u8), Value::Present(*volts));
        }
    }

    pub(crate) fn current(&mut self, amps: f64) {
        self.one(Quantity::Current, amps);
    }

    /// Sensor 1 sits on the case, sensor 2 on the electronics.
    pub(crate) fn celsius(&mut self, sensor: u8, celsius: f64) {
        self.put(Slot::at(0, Quantity::Temperature, sensor), Value::Present(celsius));
    }

    /// A day on which the bank comes full, `offset` A too much on its current sensor: 3 A drawn until ten, 18 A of charge,
    /// held from half past eleven until two, and rest.
    pub(crate) fn day_of_full_charge(&mut self, t: f64, offset: f64) {
        let (volts, amps) = match t / 3600.0 % 24.0 {
            h if h < 10.0 => (3.28, -3.0),
            h if h < 11.5 => (3.40, 18.0),
            h if h < 14.0 => (3.55, (8.0 * (-(h - 11.5) / 0.75).exp()).max(0.3)),
            _ => (3.33, 0.0),
        };
        self.cells(&[volts; 4]);
        self.current(amps + offset);
    }

    pub(crate) fn one(&mut self, quantity: Quantity, number: f64) {
        self.put(Slot::of(0, quantity), Value::Present(number));
    }
}

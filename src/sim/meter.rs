//! What the sensors make of the truth: noise, offset, gain, resolution, and what goes wrong with them.

use super::pack::Pack;
use super::random::Random;
use super::scenario::{Fault, FaultKind};
use crate::model::Value;

/// What a pack reports of itself in one set of frames.
#[derive(Debug, Clone, Default)]
pub(super) struct Measured {
    /// Cells.
    pub(super) cells: Vec<Value>,
    /// Temperature sensors.
    pub(super) sensors: Vec<Value>,
    /// Current.
    pub(super) amps: Option<f64>,
    /// Pack voltage on the cells' side.
    pub(super) volts: Option<f64>,
    /// Voltage beyond the BMS.
    pub(super) bus: Option<f64>,
    /// The pack says nothing.
    pub(super) silent: bool,
}

/// A number to the resolution of its sensor; a resolution of 0 leaves it.
pub(super) fn to_step(number: f64, step: f64) -> f64 {
    if step > 0.0 { (number / step).round() * step } else { number }
}

impl Measured {
    /// Measures a pack; its cells stood at `volts` when they were read.
    pub(super) fn take(&mut self, pack: &Pack, volts: &[f64], bus: f64, random: &mut Random) {
        let meter = &pack.spec.meter;
        self.silent = false;
        self.cells.clear();
        if meter.bms_talks {
            let read = |volts: &f64| Value::Present(to_step(volts + meter.cell_noise * random.bell(), meter.cell_step));
            self.cells.extend(volts.iter().map(read));
        }
        self.sensors.clear();
        let feel = |felt: &f64| {
            let noisy = felt + meter.temperature_noise * random.bell();
            Value::Present(to_step(noisy, meter.temperature_step))
        };
        self.sensors.extend(pack.felt.iter().map(feel));
        let amps =
            (pack.amps + pack.unseen) * meter.current_gain + meter.current_offset + meter.current_noise * random.bell();
        self.amps = Some(to_step(amps, meter.current_step));
        self.volts = Some(to_step(pack.own_volts(), meter.pack_step).max(0.0));
        self.bus = meter.bms_talks.then(|| to_step(bus, meter.pack_step).max(0.0));
    }

    /// Puts a fault into effect that lasts now.
    pub(super) fn spoil(&mut self, fault: &Fault, at: &Spoiling) {
        let (part, size) = (fault.index(), fault.size);
        match fault.kind {
            FaultKind::SensorLost => self.sensor(part, |_| Value::Missing),
            FaultKind::SensorStuck => {
                let then = at.before.sensors.get(part).copied();
                self.sensor(part, |now| then.unwrap_or(Value::Present(now)));
            }
            FaultKind::SensorOffset => self.sensor(part, |now| Value::Present(now + size)),
            FaultKind::SensorInAir => {
                let there = |felt: f64| to_step(felt + size * (at.air - felt), at.pack.spec.meter.temperature_step);
                self.sensor(part, |now| Value::Present(there(now)));
            }
            FaultKind::SensorByHeat => {
                let more = size * (at.pack.amps / 100.0).powi(2);
                self.sensor(part, |now| Value::Present(to_step(now + more, at.pack.spec.meter.temperature_step)));
            }
            FaultKind::CellLost => self.cells.iter_mut().skip(part).take(1).for_each(|v| *v = Value::Missing),
            FaultKind::LeadOffset => self.lead(part, size, 0.0),
            FaultKind::LeadShared => self.lead(part, size, -size),
            FaultKind::LeadOpen => {
                // an input that hangs free wanders within some minutes; by how much is invented
                let size = size * (1.0 + 0.1 * (at.minute / 7.0).sin());
                self.lead(part, size, -size);
            }
            FaultKind::LeadsSwapped => self.swap_leads(part),
            FaultKind::LeadResistive => {
                let bleed = |index: usize| at.pack.cells.get(index).map_or(0.0, |cell| cell.bleed);
                let drop = size * (bleed(part) - bleed(part + 1));
                self.lead(part, -drop, drop);
            }
            FaultKind::PackSilent => self.silent = true,
            _ => self.amps = self.amps.map(|amps| spoil_amps(fault, amps)),
        }
    }

    fn sensor(&mut self, part: usize, reads: impl Fn(f64) -> Value) {
        if let Some(value) = self.sensors.get_mut(part)
            && let Value::Present(now) = *value
        {
            *value = reads(now);
        }
    }

    /// A cell and the next read so much too much.
    fn lead(&mut self, part: usize, own: f64, next: f64) {
        for (value, more) in self.cells.iter_mut().skip(part).zip([own, next]) {
            if let Value::Present(number) = value {
                *number += more;
            }
        }
    }

    /// The leads at both ends of the cell after `part` change places.
    fn swap_leads(&mut self, part: usize) {
        if let Some([Value::Present(below), Value::Present(cell), Value::Present(above)]) =
            self.cells.get_mut(part..part + 3)
        {
            (*below, *cell, *above) = (*below + *cell, -*cell, *above + *cell);
        }
    }
}

/// What a fault of the meter depends on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spoiling<'a> {
    /// The pack as it is.
    pub(super) pack: &'a Pack,
    /// What was reported in the set before.
    pub(super) before: &'a Measured,
    /// Air around the bank, °C.
    pub(super) air: f64,
    /// Minutes since the start.
    pub(super) minute: f64,
}

/// What a current sensor with a fault makes of what it read.
pub(super) fn spoil_amps(fault: &Fault, amps: f64) -> f64 {
    match fault.kind {
        FaultKind::CurrentOffset => amps + fault.size,
        FaultKind::CurrentGain => amps * (1.0 + fault.size / 100.0),
        FaultKind::CurrentDeadBand if amps.abs() < fault.size => 0.0,
        _ => amps,
    }
}

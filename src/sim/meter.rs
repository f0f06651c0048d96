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
    /// Measures pack `pack` (from 0).
    pub(super) fn take(&mut self, pack: &Pack, bus: f64, random: &mut Random) {
        let meter = &pack.spec.meter;
        self.silent = false;
        self.cells.clear();
        if meter.bms_talks {
            let read = |volts: &f64| Value::Present(to_step(volts + meter.cell_noise * random.bell(), meter.cell_step));
            self.cells.extend(pack.volts.iter().map(read));
        }
        self.sensors.clear();
        let feel = |felt: &f64| {
            let noisy = felt + meter.temperature_noise * random.bell();
            Value::Present(to_step(noisy, meter.temperature_step))
        };
        self.sensors.extend(pack.felt.iter().map(feel));
        let amps = pack.amps * meter.current_gain + meter.current_offset + meter.current_noise * random.bell();
        self.amps = Some(to_step(amps, meter.current_step));
        self.volts = Some(to_step(pack.own_volts(), meter.pack_step).max(0.0));
        self.bus = meter.bms_talks.then(|| to_step(bus, meter.pack_step).max(0.0));
    }

    /// Puts a fault into effect that lasts now; `before` is what was reported in the set before.
    pub(super) fn spoil(&mut self, fault: &Fault, before: &Measured) {
        let part = usize::from(fault.part).saturating_sub(1);
        let more = |value: &mut Value, more: f64| {
            if let Value::Present(number) = value {
                *number += more;
            }
        };
        match fault.kind {
            FaultKind::SensorLost => self.sensors.iter_mut().skip(part).take(1).for_each(|v| *v = Value::Missing),
            FaultKind::SensorStuck => {
                if let (Some(now), Some(then)) = (self.sensors.get_mut(part), before.sensors.get(part)) {
                    *now = *then;
                }
            }
            FaultKind::SensorOffset => self.sensors.iter_mut().skip(part).take(1).for_each(|v| more(v, fault.size)),
            FaultKind::CellLost => self.cells.iter_mut().skip(part).take(1).for_each(|v| *v = Value::Missing),
            FaultKind::LeadShared => {
                self.cells.iter_mut().skip(part).take(1).for_each(|v| more(v, fault.size));
                self.cells.iter_mut().skip(part + 1).take(1).for_each(|v| more(v, -fault.size));
            }
            FaultKind::CurrentOffset => self.amps = self.amps.map(|amps| amps + fault.size),
            FaultKind::PackSilent => self.silent = true,
            // the loss of frames is the wire's, the rest the bank's own
            FaultKind::FramesLost
            | FaultKind::Leak
            | FaultKind::Connection
            | FaultKind::BleederStuck
            | FaultKind::PackOff => {}
        }
    }
}

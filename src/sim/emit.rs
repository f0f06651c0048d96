//! What the simulated bank says: its values as frames of our own format, with each sender's counter.

use super::cell::Cell;
use super::charger::Charger;
use super::meter::{Measured, to_step};
use super::pack::Pack;
use super::scenario::Role;
use crate::layout::own::{BANK_SENDER, BEAT, OwnFrame, SENDERS, encode, frame_of, hello};
use crate::model::bank::{BalanceKind, SensorRole, SourceKind};
use crate::model::{Frame, Quantity as Q, Slot, Value};

/// Groups that a pack with a BMS that talks sends in each set, besides cells and temperatures.
const STATE: [u8; 2] = [0x31, 0x32];
/// Groups that tell what a pack allows now.
const LIMITS: [u8; 2] = [0x33, 0x34];
/// Groups that describe a pack.
const DESCRIPTION: [u8; 6] = [0x60, 0x61, 0x62, 0x63, 0x64, 0x65];
const CELLS: u8 = 0x10;
const TEMPERATURES: u8 = 0x20;
const POWER: u8 = 0x30;
const SENSORS: u8 = 0x68;
const LINKS: u8 = 0x70;
const BANK_POWER: u8 = 0x40;
const SOURCE: u8 = 0x48;
const BANK_DESCRIPTION: u8 = 0x50;
/// Cells, or sensors, that a frame carries.
const FOUR: usize = 4;

/// Which frames are due besides the values themselves.
#[derive(Debug, Clone, Copy)]
pub(super) struct Due {
    /// Hello and limits.
    pub(super) hello: bool,
    /// Descriptions.
    pub(super) describe: bool,
    /// Beat, states and sources: once a second, however dense the measurements are.
    pub(super) beat: bool,
    /// Seconds since the senders started.
    pub(super) uptime: f64,
}

/// Frames on their way, and how many each sender has sent.
#[derive(Debug, Clone)]
pub(super) struct Emitter {
    /// Frames of the set, in order.
    pub(super) frames: Vec<Frame>,
    sent: [u32; SENDERS],
}

impl Emitter {
    pub(super) fn new() -> Self {
        Self { frames: Vec::with_capacity(64), sent: [0; SENDERS] }
    }

    fn push(&mut self, sender: u8, frame: Frame) {
        self.frames.push(frame);
        if let Some(sent) = self.sent.get_mut(usize::from(sender)) {
            *sent = sent.wrapping_add(1);
        }
    }

    fn send(&mut self, sender: u8, group: u8, value: impl FnMut(Slot) -> Value) {
        if let Some((own, part)) = known(group) {
            self.push(sender, encode(own, part, sender, value));
        }
    }

    fn greet(&mut self, sender: u8, due: &Due) {
        if due.hello {
            self.push(sender, hello(sender));
        }
        if due.beat {
            let sent = self.sent.get(usize::from(sender)).copied().unwrap_or(0);
            self.send(sender, BEAT, |slot| match slot.quantity {
                Q::SenderFrames => Value::Present(f64::from(sent)),
                _ => Value::Present(due.uptime),
            });
        }
    }

    /// The set of a pack.
    pub(super) fn pack(&mut self, sender: u8, pack: &Pack, seen: &Measured, due: &Due) {
        if seen.silent {
            return;
        }
        self.greet(sender, due);
        if due.describe {
            DESCRIPTION.iter().for_each(|&group| self.send(sender, group, |slot| describe(pack, slot)));
            for part in 0..frames_for(pack.spec.sensors.len()) {
                self.send(sender, SENSORS + part, |slot| sensor(pack, slot));
            }
            let told = pack.spec.odd.iter().filter(|odd| odd.connection_known).map(|odd| odd.number).max();
            for part in 0..frames_for(usize::from(told.unwrap_or(0))) {
                self.send(sender, LINKS + part, |slot| link(pack, slot));
            }
        }
        for part in 0..frames_for(seen.cells.len()) {
            self.send(sender, CELLS + part, |slot| part_of(&seen.cells, slot));
        }
        for part in 0..frames_for(seen.sensors.len()) {
            self.send(sender, TEMPERATURES + part, |slot| part_of(&seen.sensors, slot));
        }
        self.send(sender, POWER, |slot| power(seen, slot));
        if pack.spec.meter.bms_talks {
            if due.beat {
                STATE.iter().for_each(|&group| self.send(sender, group, |slot| state(pack, slot)));
            }
            if due.hello {
                LIMITS.iter().for_each(|&group| self.send(sender, group, |slot| limit(pack, slot)));
            }
        }
    }

    /// The set of the whole bank. `shunt` is what one shunt for all packs reads: current and voltage.
    pub(super) fn bank(&mut self, packs: usize, chargers: &[Charger], shunt: Option<(f64, f64)>, due: &Due) {
        self.greet(BANK_SENDER, due);
        if due.describe {
            self.send(BANK_SENDER, BANK_DESCRIPTION, |_| Value::Present(packs as f64));
        }
        if let Some((amps, volts)) = shunt {
            self.send(BANK_SENDER, BANK_POWER, |slot| {
                Value::Present(if slot.quantity == Q::BankCurrent { amps } else { volts })
            });
        }
        for (group, charger) in (SOURCE..).zip(chargers).filter(|_| due.beat) {
            self.send(BANK_SENDER, group, |slot| source(charger, slot));
        }
    }
}

/// The frame of a group, looked up in a table that is made once.
fn known(group: u8) -> Option<(&'static OwnFrame, u8)> {
    static KNOWN: std::sync::LazyLock<Vec<Option<(&'static OwnFrame, u8)>>> =
        std::sync::LazyLock::new(|| (0..=u8::MAX).map(frame_of).collect());
    KNOWN.get(usize::from(group)).copied().flatten()
}

fn frames_for(count: usize) -> u8 {
    count.div_ceil(FOUR) as u8
}

fn part_of(values: &[Value], slot: Slot) -> Value {
    values.get(usize::from(slot.index)).copied().unwrap_or(Value::Missing)
}

fn maybe(number: Option<f64>) -> Value {
    number.map_or(Value::Missing, Value::Present)
}

fn flag(set: bool) -> Value {
    Value::Present(f64::from(u8::from(set)))
}

fn power(seen: &Measured, slot: Slot) -> Value {
    maybe(match slot.quantity {
        Q::Current => seen.amps,
        Q::PackVoltage => seen.volts,
        Q::BusVoltage => seen.bus,
        _ => None,
    })
}

fn state(pack: &Pack, slot: Slot) -> Value {
    match slot.quantity {
        Q::ChargePath => flag(pack.bms.charge),
        Q::DischargePath => flag(pack.bms.discharge),
        Q::HeaterOn if pack.spec.heater.is_some() => flag(pack.heating),
        Q::PreAlarm => flag(pack.bms.pre_alarm),
        Q::Balancing => flag(pack.cells.iter().any(Cell::is_told_bled)),
        Q::CellBalancing => match pack.cells.get(usize::from(slot.index)) {
            Some(cell) => flag(cell.is_told_bled()),
            None => Value::Missing,
        },
        Q::ReportedSoc => {
            let sum: f64 = pack.cells.iter().map(Cell::soc).sum();
            Value::Present(to_step((sum / pack.cells.len() as f64).clamp(0.0, 1.0), 0.01))
        }
        _ => Value::Missing,
    }
}

fn limit(pack: &Pack, slot: Slot) -> Value {
    let rules = &pack.spec.bms;
    maybe(match slot.quantity {
        Q::ChargeLimit => Some(if pack.bms.charge { pack.spec.label.charge } else { 0.0 }),
        Q::DischargeLimit => Some(if pack.bms.discharge { pack.spec.label.discharge } else { 0.0 }),
        Q::CellVoltageMax => Some(rules.over_volts),
        Q::CellVoltageMin => Some(rules.under_volts),
        Q::ChargeTempMin => rules.cold_charge,
        Q::ChargeTempMax => Some(rules.hot_charge),
        Q::DischargeTempMax => Some(rules.hot),
        _ => None,
    })
}

fn describe(pack: &Pack, slot: Slot) -> Value {
    let spec = &pack.spec;
    let (meter, label) = (&spec.meter, &spec.label);
    let of_cells = |number: f64| meter.bms_talks.then_some(number);
    maybe(match slot.quantity {
        Q::CellCount => Some(f64::from(spec.cells) + pack.told.0),
        Q::RatedCapacity => Some(spec.capacity * (1.0 + pack.told.1)),
        Q::RatedCharge => Some(label.charge),
        Q::RatedDischarge => Some(label.discharge),
        Q::WeakestPart => Some(label.weakest),
        Q::AllowedAbsorption => Some(label.absorption),
        Q::AllowedFloat => Some(label.float),
        Q::HeaterFitted => Some(f64::from(u8::from(spec.heater.is_some()))),
        Q::HeaterCurrent => spec.heater.as_ref().map(|heater| heater.watts / (3.3 * f64::from(spec.cells))),
        Q::BalanceKind => of_cells(f64::from(BalanceKind::from(spec.balance.kind).code())),
        Q::BalanceCurrent => of_cells(spec.balance.amps),
        Q::BalanceThreshold => of_cells(spec.balance.threshold),
        Q::CellVoltageStep => of_cells(meter.cell_step),
        Q::TemperatureStep => Some(meter.temperature_step),
        Q::CurrentStep => Some(meter.current_step),
        Q::PackVoltageStep => Some(meter.pack_step),
        Q::CellVoltageLow => of_cells(0.0),
        Q::CellVoltageHigh => of_cells(5.0),
        Q::TemperatureLow => Some(-40.0),
        Q::TemperatureHigh => Some(125.0),
        Q::CurrentLow => Some(-1000.0),
        Q::CurrentHigh => Some(1000.0),
        Q::PackVoltageLow => Some(0.0),
        Q::PackVoltageHigh => Some(120.0),
        _ => None,
    })
}

fn sensor(pack: &Pack, slot: Slot) -> Value {
    let Some(sensor) = pack.spec.sensors.get(usize::from(slot.index)) else { return Value::Missing };
    match slot.quantity {
        Q::SensorRole => Value::Present(f64::from(SensorRole::from(sensor.role).code())),
        Q::SensorCell if sensor.role == Role::Cell => Value::Present(f64::from(sensor.cell)),
        _ => Value::Missing,
    }
}

fn link(pack: &Pack, slot: Slot) -> Value {
    let mut told = pack.spec.odd.iter().filter(|odd| odd.connection_known);
    maybe(told.find(|odd| odd.number == slot.index + 1).map(|odd| odd.connection_milliohm))
}

fn source(charger: &Charger, slot: Slot) -> Value {
    maybe(match slot.quantity {
        Q::SourceKind => Some(f64::from(SourceKind::from(charger.spec.kind).code())),
        Q::SourceState => Some(f64::from(charger.state.code())),
        Q::SourceCurrent => Some(charger.amps),
        Q::SourceOffer => Some(charger.offer),
        _ => None,
    })
}

//! Our own frame format as data: `docs/frame-format.md` describes it, this table is it.
//!
//! Ids are 29 bits, J1939-shaped: priority 6, proprietary-B group 0xFF00 + `group`, address of the sender.
//! Addresses 0x80 to 0x8F send for packs 1 to 16, 0x90 for the whole bank.

use super::{CompiledMap, Field, Key, MapBuilder, MessageSpec};
use crate::model::{Frame, Id, MAX_PACKS, Quantity as Q, Slot, Value};
use std::ops::Range;

/// First four bytes of a hello: 'C', 'W', 'W', 'L' on the wire, as a little-endian word.
pub const MAGIC: u32 = 0x4C57_5743;
/// Version of the format in a hello.
pub const VERSION: u8 = 1;
/// Group of the hello: magic and version. Nothing of a sender counts before it.
pub const HELLO: u8 = 0x00;
/// Group of the beat: frames sent and time since start.
pub const BEAT: u8 = 0x01;
/// Address of the sender of pack 1.
pub const FIRST_ADDRESS: u8 = 0x80;
/// Number of senders: sixteen packs and the bank.
pub const SENDERS: usize = MAX_PACKS + 1;
/// Sender index of the whole bank.
pub const BANK_SENDER: u8 = MAX_PACKS as u8;

/// Who sends a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sender {
    /// Each pack for itself.
    Pack,
    /// One sender for the whole bank.
    Bank,
    /// Every sender.
    Any,
}

/// A field of a frame of our format.
#[derive(Debug, Clone, Copy)]
pub struct OwnField {
    /// What it carries.
    pub quantity: Q,
    /// Added to the first index of the frame.
    pub index: u8,
    /// Where it stands.
    pub field: Field,
}

/// A frame of our format.
#[derive(Debug, Clone, Copy)]
pub struct OwnFrame {
    /// Low byte of the group number.
    pub group: u8,
    /// Name in `decode`'s output.
    pub name: &'static str,
    /// Who sends it.
    pub sender: Sender,
    /// How many groups in a row carry it, each for the next cells, sensors or sources.
    pub repeat: u8,
    /// How many cells, sensors or sources each carries.
    pub step: u8,
    /// Its fields.
    pub fields: &'static [OwnField],
}

impl OwnFrame {
    /// Whether a sender (0 to 15: that pack; 16: the bank) sends it.
    #[must_use]
    pub fn is_sent_by(&self, sender: u8) -> bool {
        senders(self.sender).contains(&sender)
    }

    /// Where the values of the `part`th frame of its kind belong, as a sender sends it.
    pub fn slots(&self, part: u8, sender: u8) -> impl Iterator<Item = Slot> {
        self.fields.iter().map(move |own| slot(self, part, sender, own))
    }
}

const fn f(quantity: Q, index: u8, bits: Range<u16>, scale: f64, offset: f64) -> OwnField {
    OwnField { quantity, index, field: Field::own(bits.start, (bits.end - bits.start) as u8, scale, offset) }
}

const fn four(quantity: Q, scale: f64, offset: f64) -> [OwnField; 4] {
    [
        f(quantity, 0, 0..16, scale, offset),
        f(quantity, 1, 16..32, scale, offset),
        f(quantity, 2, 32..48, scale, offset),
        f(quantity, 3, 48..64, scale, offset),
    ]
}

const fn each_cell_two_bits() -> [OwnField; 32] {
    let mut fields = [f(Q::CellBalancing, 0, 0..2, 1.0, 0.0); 32];
    let mut cell = 1;
    while cell < 32 {
        fields[cell as usize] = f(Q::CellBalancing, cell, cell as u16 * 2..cell as u16 * 2 + 2, 1.0, 0.0);
        cell += 1;
    }
    fields
}

/// Every frame of the format but the hello, which carries no value.
pub static FRAMES: &[OwnFrame] = &[
    OwnFrame {
        group: BEAT,
        name: "beat",
        sender: Sender::Any,
        repeat: 1,
        step: 0,
        fields: &[f(Q::SenderFrames, 0, 0..32, 1.0, 0.0), f(Q::SenderUptime, 0, 32..64, 0.1, 0.0)],
    },
    OwnFrame {
        group: 0x10,
        name: "cell_voltages",
        sender: Sender::Pack,
        repeat: 8,
        step: 4,
        fields: &four(Q::CellVoltage, 1e-4, 0.0),
    },
    OwnFrame {
        group: 0x20,
        name: "temperatures",
        sender: Sender::Pack,
        repeat: 4,
        step: 4,
        fields: &four(Q::Temperature, 0.01, -100.0),
    },
    OwnFrame {
        group: 0x30,
        name: "pack_power",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::Current, 0, 0..32, 0.001, -2000.0),
            f(Q::PackVoltage, 0, 32..48, 0.002, 0.0),
            f(Q::BusVoltage, 0, 48..64, 0.002, 0.0),
        ],
    },
    OwnFrame {
        group: 0x31,
        name: "pack_state",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::ChargePath, 0, 0..2, 1.0, 0.0),
            f(Q::DischargePath, 0, 2..4, 1.0, 0.0),
            f(Q::HeaterOn, 0, 4..6, 1.0, 0.0),
            f(Q::PreAlarm, 0, 6..8, 1.0, 0.0),
            f(Q::Balancing, 0, 8..10, 1.0, 0.0),
            f(Q::ReportedSoc, 0, 16..32, 1e-4, 0.0),
        ],
    },
    OwnFrame {
        group: 0x32,
        name: "cell_balancing",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &each_cell_two_bits(),
    },
    OwnFrame {
        group: 0x33,
        name: "pack_limits",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::ChargeLimit, 0, 0..16, 0.1, 0.0),
            f(Q::DischargeLimit, 0, 16..32, 0.1, 0.0),
            f(Q::CellVoltageMax, 0, 32..48, 1e-4, 0.0),
            f(Q::CellVoltageMin, 0, 48..64, 1e-4, 0.0),
        ],
    },
    OwnFrame {
        group: 0x34,
        name: "pack_temperature_limits",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::ChargeTempMin, 0, 0..16, 0.01, -100.0),
            f(Q::ChargeTempMax, 0, 16..32, 0.01, -100.0),
            f(Q::DischargeTempMin, 0, 32..48, 0.01, -100.0),
            f(Q::DischargeTempMax, 0, 48..64, 0.01, -100.0),
        ],
    },
    OwnFrame {
        group: 0x40,
        name: "bank_power",
        sender: Sender::Bank,
        repeat: 1,
        step: 0,
        fields: &[f(Q::BankCurrent, 0, 0..32, 0.001, -5000.0), f(Q::BankVoltage, 0, 32..48, 0.002, 0.0)],
    },
    OwnFrame {
        group: 0x48,
        name: "charging_source",
        sender: Sender::Bank,
        repeat: 8,
        step: 1,
        fields: &[
            f(Q::SourceKind, 0, 0..4, 1.0, 0.0),
            f(Q::SourceState, 0, 4..8, 1.0, 0.0),
            f(Q::SourceCurrent, 0, 16..32, 0.1, -2000.0),
            f(Q::SourceOffer, 0, 32..48, 0.1, 0.0),
            f(Q::SourceVoltage, 0, 48..64, 0.002, 0.0),
        ],
    },
    OwnFrame {
        group: 0x50,
        name: "bank_description",
        sender: Sender::Bank,
        repeat: 1,
        step: 0,
        fields: &[f(Q::PackCount, 0, 0..8, 1.0, 0.0)],
    },
    OwnFrame {
        group: 0x60,
        name: "pack_ratings",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::CellCount, 0, 0..8, 1.0, 0.0),
            f(Q::RatedCapacity, 0, 16..32, 0.1, 0.0),
            f(Q::RatedCharge, 0, 32..48, 0.1, 0.0),
            f(Q::RatedDischarge, 0, 48..64, 0.1, 0.0),
        ],
    },
    OwnFrame {
        group: 0x61,
        name: "pack_path",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::WeakestPart, 0, 0..16, 0.1, 0.0),
            f(Q::AllowedAbsorption, 0, 16..32, 0.002, 0.0),
            f(Q::AllowedFloat, 0, 32..48, 0.002, 0.0),
            f(Q::HeaterFitted, 0, 48..50, 1.0, 0.0),
            f(Q::BalanceKind, 0, 52..56, 1.0, 0.0),
        ],
    },
    OwnFrame {
        group: 0x62,
        name: "pack_balance",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::HeaterCurrent, 0, 0..16, 0.1, 0.0),
            f(Q::BalanceCurrent, 0, 16..32, 0.001, 0.0),
            f(Q::BalanceThreshold, 0, 32..48, 1e-4, 0.0),
        ],
    },
    OwnFrame {
        group: 0x63,
        name: "resolution",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::CellVoltageStep, 0, 0..16, 1e-5, 0.0),
            f(Q::TemperatureStep, 0, 16..32, 0.001, 0.0),
            f(Q::CurrentStep, 0, 32..48, 0.001, 0.0),
            f(Q::PackVoltageStep, 0, 48..64, 1e-4, 0.0),
        ],
    },
    OwnFrame {
        group: 0x64,
        name: "range_of_cells_and_temperatures",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::CellVoltageLow, 0, 0..16, 1e-4, 0.0),
            f(Q::CellVoltageHigh, 0, 16..32, 1e-4, 0.0),
            f(Q::TemperatureLow, 0, 32..48, 0.01, -100.0),
            f(Q::TemperatureHigh, 0, 48..64, 0.01, -100.0),
        ],
    },
    OwnFrame {
        group: 0x65,
        name: "range_of_current_and_pack_voltage",
        sender: Sender::Pack,
        repeat: 1,
        step: 0,
        fields: &[
            f(Q::CurrentLow, 0, 0..16, 0.1, -2000.0),
            f(Q::CurrentHigh, 0, 16..32, 0.1, -2000.0),
            f(Q::PackVoltageLow, 0, 32..48, 0.002, 0.0),
            f(Q::PackVoltageHigh, 0, 48..64, 0.002, 0.0),
        ],
    },
    OwnFrame {
        group: 0x68,
        name: "sensors",
        sender: Sender::Pack,
        repeat: 4,
        step: 4,
        fields: &[
            f(Q::SensorRole, 0, 0..8, 1.0, 0.0),
            f(Q::SensorCell, 0, 8..16, 1.0, 0.0),
            f(Q::SensorRole, 1, 16..24, 1.0, 0.0),
            f(Q::SensorCell, 1, 24..32, 1.0, 0.0),
            f(Q::SensorRole, 2, 32..40, 1.0, 0.0),
            f(Q::SensorCell, 2, 40..48, 1.0, 0.0),
            f(Q::SensorRole, 3, 48..56, 1.0, 0.0),
            f(Q::SensorCell, 3, 56..64, 1.0, 0.0),
        ],
    },
    OwnFrame {
        group: 0x70,
        name: "known_links",
        sender: Sender::Pack,
        repeat: 8,
        step: 4,
        fields: &four(Q::LinkResistance, 0.001, 0.0),
    },
];

/// The 29-bit id of a group from a sender (0 to 15: that pack; 16: the bank).
#[must_use]
pub const fn id(group: u8, sender: u8) -> u32 {
    6 << 26 | 0xFF << 16 | (group as u32) << 8 | (FIRST_ADDRESS + sender) as u32
}

/// Group and sender of an id that has the shape of our format; whether the sender is one of ours, its hello tells.
#[must_use]
#[inline]
pub const fn split(id: Id) -> Option<(u8, u8)> {
    let Id::Extended(id) = id else { return None };
    let sender = (id & 0xFF) as u8;
    let ours = id >> 16 == 0x18FF && sender >= FIRST_ADDRESS && (sender as usize) < FIRST_ADDRESS as usize + SENDERS;
    if ours { Some(((id >> 8) as u8, sender - FIRST_ADDRESS)) } else { None }
}

/// The hello of a sender.
#[must_use]
pub fn hello(sender: u8) -> Frame {
    let magic = MAGIC.to_le_bytes();
    Frame::extended(id(HELLO, sender), [magic[0], magic[1], magic[2], magic[3], VERSION, 0xFF, 0xFF, 0xFF])
}

/// Whether a frame with a hello's id is a hello of this version.
#[must_use]
pub fn is_hello(frame: &Frame) -> bool {
    frame.len() == 8 && frame.word() & 0xFF_FFFF_FFFF == u64::from(MAGIC) | u64::from(VERSION) << 32
}

/// Writes the `part`th frame of its kind (0 for the first) of a sender; bits without a field are set.
#[must_use]
pub fn encode(frame: &OwnFrame, part: u8, sender: u8, mut value: impl FnMut(Slot) -> Value) -> Frame {
    let mut data = [0xFF; 8];
    for own in frame.fields {
        let slot = slot(frame, part, sender, own);
        own.field.put(&mut data, own.field.raw(value(slot)));
    }
    Frame::extended(id(frame.group + part, sender), data)
}

fn slot(frame: &OwnFrame, part: u8, sender: u8, own: &OwnField) -> Slot {
    let of_bank = matches!(frame.sender, Sender::Bank);
    Slot { pack: if of_bank { 0 } else { sender }, index: part * frame.step + own.index, quantity: own.quantity }
}

/// Frame of the format by its group, with its part.
#[must_use]
pub fn frame_of(group: u8) -> Option<(&'static OwnFrame, u8)> {
    FRAMES
        .iter()
        .find(|frame| group >= frame.group && group < frame.group + frame.repeat)
        .map(|frame| (frame, group - frame.group))
}

/// The format compiled for every sender.
#[must_use]
pub fn compile() -> CompiledMap {
    let mut map = MapBuilder::default();
    for frame in FRAMES {
        for sender in senders(frame.sender) {
            for part in 0..frame.repeat {
                let fields = frame.fields.iter().map(|own| (slot(frame, part, sender, own), own.field));
                let key = Key::Exact(Id::Extended(id(frame.group + part, sender)));
                let added = map.message(MessageSpec::plain(key, frame.name, fields));
                debug_assert!(added.is_ok(), "{} stands twice or does not fit", frame.name);
            }
        }
    }
    map.compile()
}

fn senders(sender: Sender) -> Range<u8> {
    match sender {
        Sender::Pack => 0..BANK_SENDER,
        Sender::Bank => BANK_SENDER..BANK_SENDER + 1,
        Sender::Any => 0..BANK_SENDER + 1,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_magic_spells_its_letters_on_the_wire() {
        assert_eq!(&hello(0).data()[..5], b"CWWL\x01");
        assert!(is_hello(&hello(3)));
        assert_eq!(hello(0).id.to_string(), "18FF0080");
    }

    #[test]
    fn no_two_fields_of_a_frame_share_a_bit_and_no_group_comes_twice() {
        let mut groups = vec![HELLO];
        for frame in FRAMES {
            groups.extend(frame.group..frame.group + frame.repeat);
            let mut used = 0u64;
            for own in frame.fields {
                let bits = own.field.mask() << own.field.start;
                assert_eq!(used & bits, 0, "{}", frame.name);
                used |= bits;
            }
        }
        let count = groups.len();
        groups.sort_unstable();
        groups.dedup();
        assert_eq!(groups.len(), count);
    }

    #[test]
    fn every_value_comes_back_through_the_compiled_map() {
        let map = compile();
        for frame in FRAMES {
            for sender in senders(frame.sender) {
                for part in 0..frame.repeat {
                    let sent = encode(frame, part, sender, |slot| Value::Present(middle(slot)));
                    let message = map.find(sent.id).expect("the id is in the map");
                    let mut seen = 0;
                    map.read(message, &sent, |slot, value| {
                        let Value::Present(number) = value else { panic!("{slot:?} is {value:?}") };
                        let step = frame.fields[0].field.scale.max(1.0);
                        assert!((number - middle(slot)).abs() <= step, "{slot:?}: {number}");
                        seen += 1;
                    });
                    assert_eq!(seen, frame.fields.len());
                    assert_eq!(split(sent.id), Some((frame.group + part, sender)));
                }
            }
        }
    }

    /// A number in the middle of what the quantity can be, small enough for every field.
    fn middle(slot: Slot) -> f64 {
        let (low, high) = slot.quantity.bounds();
        (low + (high - low) / 4.0).round().clamp(low, high)
    }
}

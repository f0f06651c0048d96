//! Whatever a device sends is read as it was meant, however its frames arrive.

use super::bus::{Bus, number, value};
use super::encoder::{
    broadcast, cell_detail, fast_packet, marine_battery, marine_soc, rv_c_1, rv_c_2, rv_c_5, rv_c_6, rv_c_11,
};
use cellwright::decode::transport::{Broadcasts, FastPackets, Sender};
use cellwright::decode::{Decoder, DecoderState, Settings};
use cellwright::model::{Dialect, Quantity as Q, Stamp, Value};
use proptest::prelude::*;

fn forced(dialect: Dialect) -> Bus {
    Bus::new(Settings { dialect: Some(dialect), ..Settings::default() })
}

/// The value is missing where it was, and else within half a count.
fn near(said: Option<Value>, meant: Option<f64>, half: f64) -> bool {
    match (said, meant) {
        (Some(Value::Missing), None) => true,
        (Some(Value::Present(said)), Some(meant)) => (said - meant).abs() <= half * 1.000_001,
        _ => false,
    }
}

fn maybe(low: f64, high: f64) -> impl Strategy<Value = Option<f64>> {
    prop::option::weighted(0.9, low..high)
}

proptest! {
    #[test]
    fn a_dc_source_is_read_as_meant(
        volts in maybe(0.0, 131.0), amps in maybe(-1999.0, 1999.0), celsius in maybe(-59.0, 199.0), soc in maybe(0.0, 1.0),
        soon: Option<bool>, paths: (Option<bool>, Option<bool>),
    ) {
        let flag = |flag: Option<bool>| flag.map(|flag| f64::from(u8::from(flag)));
        let mut bus = forced(Dialect::RvC);
        let said = bus.say(0x1_FFFD, 0x46, rv_c_1(1, 120, volts, amps));
        prop_assert!(near(value(&said, 0, Q::PackVoltage, 0), volts, 0.025), "{said:?}");
        prop_assert!(near(value(&said, 0, Q::Current, 0), amps, 0.0005), "{said:?}");
        let said = bus.say(0x1_FFFC, 0x46, rv_c_2(1, 120, celsius, soc));
        prop_assert!(near(value(&said, 0, Q::Temperature, 0), celsius, 0.015_625), "{said:?}");
        prop_assert!(near(value(&said, 0, Q::ReportedSoc, 0), soc, 0.0025), "{said:?}");
        let said = bus.say(0x1_FEC8, 0x46, rv_c_5(1, 120, volts));
        prop_assert!(volts.is_none() || near(value(&said, 0, Q::PackVoltage, 0), volts, 0.0005), "{said:?}");
        let said = bus.say(0x1_FEC7, 0x46, rv_c_6(1, 120, soon));
        prop_assert!(near(value(&said, 0, Q::PreAlarm, 0), flag(soon), 0.0), "{said:?}");
        let said = bus.say(0x1_FEA5, 0x46, rv_c_11(1, 120, paths.0, paths.1));
        prop_assert!(near(value(&said, 0, Q::DischargePath, 0), flag(paths.0), 0.0), "{said:?}");
        prop_assert!(near(value(&said, 0, Q::ChargePath, 0), flag(paths.1), 0.0), "{said:?}");
    }

    #[test]
    fn a_cell_is_read_as_meant(
        battery in 1u8..=16, cell in 1u8..=15, volts in 0.0f64..6.5, celsius in -39.0f64..199.0, bled: Option<bool>,
    ) {
        let said = Bus::found().say(0x1_FDDD, 0x46, cell_detail(battery, cell, Some(volts), Some(celsius), bled));
        let (pack, index) = (battery - 1, cell - 1);
        prop_assert!(near(value(&said, pack, Q::CellVoltage, index), Some(volts), 0.0005), "{said:?}");
        prop_assert!(near(value(&said, pack, Q::Temperature, cell), Some(celsius), 0.5), "{said:?}");
        let bled = bled.map(|bled| f64::from(u8::from(bled)));
        prop_assert!(near(value(&said, pack, Q::CellBalancing, index), bled, 0.0), "{said:?}");
        prop_assert_eq!(number(&said, pack, Q::SensorCell, cell), f64::from(cell));
    }

    #[test]
    fn a_vessels_battery_is_read_as_meant(
        volts in maybe(0.0, 131.0), amps in maybe(-1999.0, 1999.0), celsius in maybe(-59.0, 199.0), soc in maybe(0.0, 1.0),
    ) {
        let mut bus = forced(Dialect::Marine);
        let said = bus.say(0x1_F214, 0x10, marine_battery(3, volts, amps, celsius));
        prop_assert!(near(value(&said, 0, Q::PackVoltage, 0), volts, 0.005), "{said:?}");
        prop_assert!(near(value(&said, 0, Q::Current, 0), amps, 0.05), "{said:?}");
        prop_assert!(near(value(&said, 0, Q::Temperature, 0), celsius, 0.005), "{said:?}");
        let frames = fast_packet(5, &marine_soc(3, soc));
        prop_assert_eq!(bus.say(0x1_F212, 0x10, frames[0]), []);
        let said = bus.say(0x1_F212, 0x10, frames[1]);
        prop_assert!(near(value(&said, 0, Q::ReportedSoc, 0), soc, 0.005), "{said:?}");
    }
}

/// What happens to a frame on its way.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Way {
    Arrives,
    Lost,
    Twice,
    /// After the frame behind it.
    Late,
}

fn way() -> impl Strategy<Value = Way> {
    prop_oneof![12 => Just(Way::Arrives), 1 => Just(Way::Lost), 1 => Just(Way::Twice), 1 => Just(Way::Late)]
}

/// The frames as they arrive.
fn arrive<T: Clone>(frames: Vec<T>, ways: &[Way]) -> Vec<T> {
    let mut arrived: Vec<T> = Vec::new();
    let mut late: Option<T> = None;
    for (frame, way) in frames.into_iter().zip(ways.iter().cycle()) {
        match way {
            Way::Arrives => arrived.push(frame),
            Way::Lost => {}
            Way::Twice => arrived.extend([frame.clone(), frame]),
            Way::Late => {
                arrived.extend(late.replace(frame));
                continue;
            }
        }
        arrived.extend(late.take());
    }
    arrived.extend(late);
    arrived
}

/// Takes turns between senders.
fn interleaved<T: Clone>(senders: &[Vec<T>]) -> Vec<T> {
    let longest = senders.iter().map(Vec::len).max().unwrap_or(0);
    (0..longest).flat_map(|at| senders.iter().filter_map(move |frames| frames.get(at).cloned())).collect()
}

/// Messages of two senders: each carries its sender, its number and then what no other carries.
fn messages(address: u8, lengths: &[usize]) -> Vec<Vec<u8>> {
    let body = |(number, length): (usize, &usize)| {
        (0..*length).map(|at| (at as u8).wrapping_mul(7) ^ address ^ (number as u8).wrapping_mul(31)).collect()
    };
    lengths.iter().enumerate().map(body).collect()
}

proptest! {
    #[test]
    fn a_fast_packet_comes_whole_or_not_at_all(
        lengths in prop::collection::vec(9usize..=223, 1..20), ways in prop::collection::vec(way(), 1..200), dense: bool,
    ) {
        let mut sent = Vec::new();
        let mut streams = Vec::new();
        for address in [3, 4] {
            let all = messages(address, &lengths);
            let frames = all.iter().enumerate().flat_map(|(number, message)| fast_packet(number as u8, message));
            streams.push(arrive(frames.map(|frame| (address, frame)).collect(), &ways));
            sent.extend(all.into_iter().map(|message| (address, message)));
        }
        let mut packets = FastPackets::default();
        let mut came = Vec::new();
        let arrived = if dense { interleaved(&streams) } else { streams.concat() };
        for (step, (address, frame)) in arrived.into_iter().enumerate() {
            let at = Stamp::from_nanos(step as i64 * 1_000_000);
            came.extend(packets.take(at, Sender { channel: 0, address }, 0x1_F212, &frame).map(|data| (address, data)));
            prop_assert!(packets.is_in_bounds());
        }
        prop_assert!(came.iter().all(|message| sent.contains(message)), "a message that nobody sent");
        if !ways.contains(&Way::Lost) {
            prop_assert!(sent.iter().all(|message| came.contains(message)), "a message that got lost by itself");
        }
    }

    #[test]
    fn a_broadcast_comes_whole_or_not_at_all(
        lengths in prop::collection::vec(9usize..=1785, 1..5), ways in prop::collection::vec(way(), 1..300),
    ) {
        let mut sent = Vec::new();
        let mut streams = Vec::new();
        for address in [0x46, 0x80] {
            let all = messages(address, &lengths);
            // An announcement is not late: its packets follow it by at least 50 ms.
            let frames = all.iter().flat_map(|message| {
                let mut frames = broadcast(0xFEEB, message);
                let announcement = frames.remove(0);
                std::iter::once(announcement).chain(arrive(frames, &ways))
            });
            streams.push(frames.map(|frame| (address, frame)).collect::<Vec<_>>());
            sent.extend(all.into_iter().map(|message| (address, message)));
        }
        let mut broadcasts = Broadcasts::default();
        let mut came = Vec::new();
        for (step, (address, frame)) in interleaved(&streams).into_iter().enumerate() {
            let (at, sender) = (Stamp::from_nanos(step as i64 * 1_000_000), Sender { channel: 0, address });
            match frame {
                [0x20, _, _, _, 0xFF, 0xEB, 0xFE, 0] => broadcasts.announce(at, sender, &frame),
                _ => came.extend(broadcasts.packet(at, sender, &frame).map(|(_, data)| (address, data))),
            }
            prop_assert!(broadcasts.is_in_bounds());
        }
        prop_assert!(came.iter().all(|message| sent.contains(message)), "a message that nobody sent");
        if !ways.contains(&Way::Lost) {
            prop_assert_eq!(came.len(), sent.len());
        }
    }

    #[test]
    fn saved_and_restored_between_any_two_frames_says_the_same(cut in 0usize..40) {
        let mut frames = Vec::new();
        for number in 0..6_u8 {
            frames.push((0x1_F214_u32, marine_battery(0, Some(13.0), Some(f64::from(number)), None)));
            frames.extend(fast_packet(number, &marine_soc(0, Some(0.5))).into_iter().map(|frame| (0x1_F212, frame)));
        }
        let run = |cut: Option<usize>| {
            let mut bus = Bus::found();
            let mut said = Vec::new();
            for (at, (group, frame)) in frames.iter().enumerate() {
                if cut == Some(at) {
                    let bytes = saved(bus.decoder.state());
                    bus.decoder = Decoder::new(Settings::default()).with_state(restored(&bytes));
                }
                said.push(bus.say(*group, 0x10, *frame));
            }
            said
        };
        prop_assert_eq!(run(Some(cut)), run(None));
    }
}

fn saved(state: &DecoderState) -> Vec<u8> {
    postcard::to_stdvec(state).expect("plain data")
}

fn restored(bytes: &[u8]) -> DecoderState {
    postcard::from_bytes::<DecoderState>(bytes).expect("plain data").checked().expect("in bounds")
}

#[test]
fn a_group_that_comes_as_a_long_message_is_read_too() {
    let mut bus = forced(Dialect::RvC);
    let mut message = rv_c_1(1, 120, Some(13.25), Some(-4.0)).to_vec();
    message.extend([0xFF; 4]);
    let frames = broadcast(0x1_FFFD, &message);
    for frame in frames.iter().zip([0xECFF, 0xEBFF]) {
        assert_eq!(bus.say(frame.1, 0x46, *frame.0), []);
    }
    let said = bus.say(0xEBFF, 0x46, frames[2]);
    assert_eq!((number(&said, 0, Q::PackVoltage, 0), number(&said, 0, Q::Current, 0)), (13.25, -4.0));
}

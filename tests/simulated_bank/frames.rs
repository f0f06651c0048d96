//! What the simulated bank puts on the wire.

use cellwright::layout::own;
use cellwright::model::{Body, Frame, Input, Quantity as Q, Slot, Stamp, Value};
use cellwright::sim::{Options, SimError, Simulation};
use std::collections::BTreeMap;

fn run(name: &str, seed: u64, days: f64, sample: f64) -> Simulation {
    Simulation::new(name, Options { seed, days: Some(days), sample: Some(sample) }).unwrap()
}

fn frame(input: &Input) -> Option<Frame> {
    if let Body::Frame(frame) = input.body { Some(frame) } else { None }
}

fn values(frames: impl IntoIterator<Item = Frame>) -> BTreeMap<Slot, Value> {
    let map = own::compile();
    let mut values = BTreeMap::new();
    for frame in frames {
        if let Some(message) = map.find(frame.id) {
            map.read(message, &frame, |slot, value| {
                values.insert(slot, value);
            });
        }
    }
    values
}

#[test]
fn the_same_seed_gives_the_same_inputs_and_another_seed_others() {
    let inputs = |seed| run("cold-morning", seed, 0.02, 1.0).collect::<Vec<Input>>();
    assert_eq!(inputs(7), inputs(7));
    assert_ne!(inputs(7), inputs(8));
}

#[test]
fn stamps_rise_and_the_recording_is_closed_at_its_end() {
    for (sample, days) in [(0.2, 0.005), (1.0, 0.02), (60.0, 1.0)] {
        let simulation = run("cold-morning", 1, days, sample);
        let start = simulation.start();
        let inputs: Vec<Input> = simulation.collect();
        assert!(inputs.windows(2).all(|pair| pair[0].stamp < pair[1].stamp), "{sample}");
        let last = inputs.last().unwrap();
        assert_eq!((last.stamp, &last.body), (start.plus_secs(days * 86_400.0), &Body::Closing));
        assert_eq!(inputs.iter().filter(|input| input.body == Body::Closing).count(), 1);
    }
    assert_eq!(run("cold-morning", 1, 1.0, 1.0).start().to_string(), "2026-01-10T00:00:00.000000000Z");
}

#[test]
fn every_sender_says_hello_first_and_counts_its_frames() {
    let mut sent = BTreeMap::new();
    let mut hellos: BTreeMap<u8, Stamp> = BTreeMap::new();
    let map = own::compile();
    for input in run("cold-morning", 1, 0.02, 1.0) {
        let Some(frame) = frame(&input) else { continue };
        let (group, sender) = own::split(frame.id).unwrap();
        let count = sent.entry(sender).or_insert(0u32);
        if group == own::HELLO {
            assert!(own::is_hello(&frame));
            hellos.insert(sender, input.stamp);
        }
        let since = hellos.get(&sender).map(|hello| input.stamp.since(*hello));
        assert!(since.expect("a hello comes first") < 5.1);
        if group == own::BEAT {
            map.read(map.find(frame.id).unwrap(), &frame, |slot, value| match slot.quantity {
                Q::SenderFrames => assert_eq!(value, Value::Present(f64::from(*count))),
                _ => assert!(matches!(value, Value::Present(up) if up <= 1730.0)),
            });
        }
        *count += 1;
    }
    assert_eq!(sent.keys().copied().collect::<Vec<u8>>(), [0, own::BANK_SENDER]);
}

#[test]
fn the_frames_tell_the_truth_to_within_noise_and_resolution() {
    let mut simulation = run("cold-morning", 3, 0.34, 10.0);
    let mut set = Vec::new();
    let mut sets = 0;
    let mut truth = simulation.truth();
    while let Some(input) = simulation.next() {
        if simulation.seconds() > truth.secs {
            let seen = values(set.drain(..));
            let near = |slot: Slot, number: f64, within: f64| match seen.get(&slot) {
                Some(Value::Present(read)) => {
                    assert!((read - number).abs() <= within, "{slot:?}: {read}, not {number}")
                }
                other => panic!("{slot:?}: {other:?}"),
            };
            let pack = &truth.packs[0];
            for (index, cell) in (0..).zip(&pack.cells) {
                near(Slot::at(0, Q::CellVoltage, index), cell.volts, 3.0 * 0.0007 + 0.0006);
            }
            near(Slot::of(0, Q::Current), pack.amps, 3.0 * 0.03 + 0.026);
            near(Slot::of(0, Q::PackVoltage), pack.cells.iter().map(|cell| cell.volts).sum(), 0.007);
            near(Slot::of(0, Q::BusVoltage), truth.bus, 0.007);
            near(Slot::at(0, Q::Temperature, 0), pack.cells[0].celsius, 0.9);
            near(Slot::at(0, Q::SourceCurrent, 0), truth.sources[0], 0.06);
            near(Slot::of(0, Q::ChargePath), 1.0, 0.0);
            sets += 1;
            truth = simulation.truth();
        }
        set.extend(frame(&input));
    }
    assert_eq!(sets, 2937);
}

#[test]
fn the_bank_describes_itself() {
    let seen = values(run("cold-morning", 1, 0.0001, 1.0).filter_map(|input| frame(&input)));
    let read = |slot: Slot| seen.get(&slot).copied();
    for (slot, number) in [
        (Slot::of(0, Q::PackCount), 1.0),
        (Slot::of(0, Q::CellCount), 4.0),
        (Slot::of(0, Q::RatedCapacity), 200.0),
        (Slot::of(0, Q::HeaterFitted), 0.0),
        (Slot::of(0, Q::BalanceKind), 3.0),
        (Slot::at(0, Q::SensorRole, 1), 1.0),
        (Slot::at(0, Q::SensorCell, 1), 3.0),
        (Slot::of(0, Q::CellVoltageStep), 0.001),
    ] {
        let Some(Value::Present(found)) = read(slot) else { panic!("{slot:?}: {:?}", read(slot)) };
        assert!((found - number).abs() < 1e-9, "{slot:?}: {found}");
    }
    assert_eq!(read(Slot::at(0, Q::CellVoltage, 4)), None, "no frame for cells that there are not");
    assert_eq!(read(Slot::of(0, Q::HeaterCurrent)), Some(Value::Missing));
    assert_eq!(read(Slot::of(0, Q::ChargeTempMin)), Some(Value::Missing), "a BMS without a cold cut-off");
}

#[test]
fn a_shunt_says_nothing_of_cells_and_paths() {
    let seen = values(run("shunt-only", 1, 0.01, 1.0).filter_map(|input| frame(&input)));
    for quantity in [Q::CellVoltage, Q::ChargePath, Q::CellBalancing, Q::ChargeLimit] {
        assert!(seen.keys().all(|slot| slot.quantity != quantity), "{quantity:?}");
    }
    assert!(matches!(seen.get(&Slot::of(0, Q::PackVoltage)), Some(Value::Present(_))));
    assert_eq!(seen.get(&Slot::of(0, Q::BusVoltage)), Some(&Value::Missing));
    assert_eq!(seen.get(&Slot::of(0, Q::CellVoltageStep)), Some(&Value::Missing));
}

#[test]
fn a_lost_sensor_says_not_available_from_its_minute_on() {
    let map = own::compile();
    let simulation = run("lost-sensor", 1, 0.5, 10.0);
    let start = simulation.start();
    let lost = Slot::at(0, Q::Temperature, 1);
    let (mut before, mut after) = (0, 0);
    for input in simulation {
        let Some(frame) = frame(&input) else { continue };
        map.read(map.find(frame.id).unwrap_or(usize::MAX), &frame, |slot, value| {
            if slot == lost {
                let late = input.stamp.since(start) >= 615.0 * 60.0;
                assert_eq!(value == Value::Missing, late);
                if late { after += 1 } else { before += 1 }
            }
        });
    }
    assert_eq!((before, after), (3690, 630));
}

/// What goes into a cell is the pack's current less what the balancer and the cell's own leak take.
#[test]
fn no_charge_appears_or_is_lost() {
    let mut simulation = run("drifting-cell", 1, 0.6, 2.0);
    let start = simulation.truth();
    let mut counted = [0.0; 4];
    let mut before = start.clone();
    while simulation.next().is_some() {
        let now = simulation.truth();
        let hours = (now.secs - before.secs) / 3600.0;
        for (index, counted) in counted.iter_mut().enumerate() {
            let cell = &before.packs[0].cells[index];
            *counted += (now.packs[0].amps - cell.bleed - cell.leak) * hours;
        }
        before = now;
    }
    for (index, counted) in counted.iter().enumerate() {
        let moved = before.packs[0].cells[index].charge - start.packs[0].cells[index].charge;
        assert!((moved - counted).abs() < 1e-6, "cell {}: {moved} Ah, counted {counted} Ah", index + 1);
        assert!(moved > 30.0, "it was charged");
    }
}

#[test]
fn what_cannot_be_run_is_refused_in_words() {
    let refuse = |name: &str, days, sample| Simulation::new(name, Options { seed: 1, days, sample }).unwrap_err();
    let error = refuse("warm-morning", None, None);
    assert!(error.to_string().starts_with("no scenario is called 'warm-morning'; there are cold-morning, "), "{error}");
    assert_eq!(refuse("cold-morning", Some(0.0), None).to_string(), "days = 0: expected more than 0 and at most 3660");
    assert!(matches!(refuse("cold-morning", None, Some(f64::NAN)), SimError::Option { what: "sample", .. }));
}

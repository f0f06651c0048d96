//! One simulated bank, sent in four ways: in our own format, as RV-C, as IEC 61162-3 and through a foreign map that is
//! big-endian and multiplexed. What is found is the same, apart from what a format cannot carry: that is not known.
//!
//! The bank is described by a bank file in every run, since the standards do not describe one.

use super::bus::id;
use super::encoder::{cell_detail, fast_packet, marine_battery, marine_soc, rv_c_1, rv_c_2, rv_c_5, rv_c_6, rv_c_11};
use super::foreign::Foreign;
use cellwright::layout::own::{self, encode, frame_of, split};
use cellwright::layout::{CompiledMap, own as format};
use cellwright::model::bank::SensorSpec;
use cellwright::model::{
    Bank, Body, Frame, Input, MAX_SENSORS, Quantity as Q, SensorRole, Slot, Snapshot, Stamp, Value,
};
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::sim::{Options, Simulation};
use std::collections::BTreeMap;

/// What the bank last said, by slot.
type Said = BTreeMap<Slot, Value>;

const HOUSE: u8 = 1;
const BMS: u8 = 0x46;
const PRIORITY: u8 = 120;
/// Groups of our own format: the values of a set end with the pack's power, or the bank's.
const POWER: [u8; 2] = [0x30, 0x40];
const STATE: u8 = 0x31;

/// Each scenario as long as it takes until what it is about has been seen, days.
const LONG_ENOUGH: [(&str, f64); 5] = [
    ("cold-morning", 0.35),
    ("drifting-cell", 0.46),
    ("lost-sensor", 0.46),
    ("night-cutoff", 0.15),
    ("shunt-only", 0.2),
];

fn inputs(scenario: &str) -> Vec<Input> {
    let (_, days) = LONG_ENOUGH.iter().find(|(name, _)| *name == scenario).expect("a scenario of the list");
    // Two seconds apart, a BMS that cuts off is still seen to do so.
    let options = Options { seed: 1, days: Some(*days), sample: Some(2.0) };
    Simulation::new(scenario, options).expect("the scenario is there").collect()
}

fn run(setup: Setup, inputs: impl IntoIterator<Item = Input>) -> Snapshot {
    let mut pipeline = Pipeline::new(setup);
    for input in inputs {
        pipeline.push(&input);
    }
    pipeline.close();
    pipeline.snapshot()
}

/// The bank as it describes itself, for the bank file.
fn described(inputs: &[Input]) -> Bank {
    // It does so in the first minute.
    run(Setup::default(), inputs.iter().take(2000).cloned()).bank
}

fn filed(bank: &Bank) -> Setup {
    Setup { bank: Some(bank.clone()), ..Setup::default() }
}

/// Code, severity, pack, cell and sensor, whether it stands: what a finding says, without its figures.
fn found(snapshot: &Snapshot) -> Vec<String> {
    let line = |f: &cellwright::model::Finding| {
        format!(
            "{} {} {} x{}{}",
            f.code,
            f.severity.word(),
            f.subject,
            f.episodes,
            if f.active { ", active" } else { "" }
        )
    };
    let mut lines: Vec<String> = snapshot.findings.iter().map(line).collect();
    lines.sort();
    lines
}

/// The inputs with each frame of our format made into others; everything else stays.
fn sent_otherwise(inputs: &[Input], mut other: impl FnMut(&Frame, u8, &Said) -> Vec<Frame>) -> Vec<Input> {
    let map: CompiledMap = format::compile();
    let mut said = Said::new();
    let mut sent = Vec::new();
    for input in inputs {
        let Body::Frame(frame) = &input.body else {
            sent.push(input.clone());
            continue;
        };
        if let Some(message) = map.find(frame.id) {
            map.read(message, frame, |slot, value| {
                said.insert(slot, value);
            });
        }
        let group = split(frame.id).map_or(0, |(group, _)| group);
        let frames = other(frame, group, &said);
        sent.extend(frames.into_iter().map(|frame| Input { stamp: input.stamp, body: Body::Frame(frame) }));
    }
    sent
}

/// Our own format without what another cannot carry.
fn without(inputs: &[Input], carried: impl Fn(Slot) -> bool) -> Vec<Input> {
    sent_otherwise(inputs, |frame, group, said| {
        let Some((layout, part)) = frame_of(group).filter(|_| group != own::BEAT) else { return vec![*frame] };
        let Some((_, sender)) = split(frame.id) else { return vec![*frame] };
        let value = |slot: Slot| said.get(&slot).copied().filter(|_| carried(slot)).unwrap_or(Value::Missing);
        vec![encode(layout, part, sender, value)]
    })
}

fn number(said: &Said, quantity: Q, index: u8) -> Option<f64> {
    match said.get(&Slot::at(0, quantity, index)) {
        Some(Value::Present(number)) => Some(*number),
        _ => None,
    }
}

fn flag(said: &Said, quantity: Q, index: u8) -> Option<bool> {
    number(said, quantity, index).map(|number| number > 0.5)
}

/// Which of our sensors is which of RV-C's: that of the whole source is the first, that of cell n is n + 1.
fn sensor_of_rv_c(spec: &SensorSpec) -> Option<usize> {
    match (spec.role, spec.cell) {
        (SensorRole::Cell, Some(cell)) => Some(usize::from(cell) + 1),
        (SensorRole::Case, _) => Some(0),
        _ => None,
    }
}

/// The bank file of the same bank on RV-C: its sensors have other numbers, its temperatures are coarser.
fn file_of_rv_c(bank: &Bank) -> Bank {
    let mut bank = bank.clone();
    for pack in &mut bank.packs {
        let mut sensors = [SensorSpec::default(); MAX_SENSORS];
        for spec in &pack.sensors {
            if let Some(place) = sensor_of_rv_c(spec) {
                sensors[place] = *spec;
            }
        }
        pack.sensors = sensors;
    }
    bank
}

fn send(group: u32, data: [u8; 8]) -> Frame {
    Frame::extended(id(6, group, BMS), data)
}

/// The set of a pack as a BMS on RV-C sends it: every cell in detail, then the source.
fn as_rv_c<'a>(bank: &'a Bank) -> impl FnMut(&Frame, u8, &Said) -> Vec<Frame> + 'a {
    let pack = &bank.packs[0];
    let cells = pack.cells.unwrap_or(0);
    move |_, group, said| {
        let n = |quantity, index| number(said, quantity, index);
        if group == STATE {
            let paths = (flag(said, Q::DischargePath, 0), flag(said, Q::ChargePath, 0));
            return vec![
                send(0x1_FEC7, rv_c_6(HOUSE, PRIORITY, flag(said, Q::PreAlarm, 0))),
                send(0x1_FEA5, rv_c_11(HOUSE, PRIORITY, paths.0, paths.1)),
            ];
        }
        if !POWER.contains(&group) {
            return Vec::new();
        }
        let sensor = |place: usize| pack.sensors.iter().position(|spec| sensor_of_rv_c(spec) == Some(place));
        let celsius = |place: usize| sensor(place).and_then(|sensor| n(Q::Temperature, sensor as u8));
        let detail = (0..cells).map(|cell| {
            let volts = n(Q::CellVoltage, cell);
            let bled = flag(said, Q::CellBalancing, cell);
            send(0x1_FDDD, cell_detail(1, cell + 1, volts, celsius(usize::from(cell) + 1), bled))
        });
        let mut frames: Vec<Frame> = detail.collect();
        frames.extend([
            send(0x1_FFFC, rv_c_2(HOUSE, PRIORITY, celsius(0), n(Q::ReportedSoc, 0))),
            send(0x1_FEC8, rv_c_5(HOUSE, PRIORITY, n(Q::PackVoltage, 0))),
            send(0x1_FFFD, rv_c_1(HOUSE, PRIORITY, n(Q::PackVoltage, 0), n(Q::Current, 0))),
        ]);
        frames
    }
}

/// What RV-C carries of a pack.
fn on_rv_c(bank: &Bank) -> impl Fn(Slot) -> bool + '_ {
    |slot| match slot.quantity {
        Q::CellVoltage | Q::CellBalancing | Q::PackVoltage | Q::Current | Q::ReportedSoc => true,
        Q::ChargePath | Q::DischargePath | Q::PreAlarm => true,
        Q::Temperature => bank.packs[0].sensors.get(usize::from(slot.index)).and_then(sensor_of_rv_c).is_some(),
        _ => false,
    }
}

/// The set of a pack as a sender on IEC 61162-3 has it.
fn as_marine(number_of_message: &mut u8, said: &Said) -> Vec<Frame> {
    let n = |quantity, index| number(said, quantity, index);
    let mut frames =
        vec![send(0x1_F214, marine_battery(0, n(Q::PackVoltage, 0), n(Q::Current, 0), n(Q::Temperature, 0)))];
    *number_of_message = (*number_of_message + 1) % 8;
    let soc = fast_packet(*number_of_message, &marine_soc(0, n(Q::ReportedSoc, 0)));
    frames.extend(soc.into_iter().map(|frame| send(0x1_F212, frame)));
    frames
}

/// What IEC 61162-3 carries of a pack.
fn on_marine(slot: Slot) -> bool {
    match slot.quantity {
        Q::PackVoltage | Q::Current | Q::ReportedSoc => true,
        Q::Temperature => slot.index == 0,
        _ => false,
    }
}

/// Findings about sensors with the numbers that RV-C gives them.
fn renumbered(lines: Vec<String>, bank: &Bank) -> Vec<String> {
    let mut places: Vec<(usize, usize)> = Vec::new();
    for (sensor, spec) in bank.packs[0].sensors.iter().enumerate() {
        places.extend(sensor_of_rv_c(spec).map(|place| (sensor + 1, place + 1)));
    }
    let rename = |line: String| match places.iter().find(|(from, _)| line.contains(&format!("sensor {from} "))) {
        Some((from, to)) => line.replace(&format!("sensor {from} "), &format!("sensor {to} ")),
        None => line,
    };
    let mut lines: Vec<String> = lines.into_iter().map(rename).collect();
    lines.sort();
    lines
}

/// As RV-C: what is found, what of it our own format finds from the same values, and whether anything was lost.
fn through_rv_c(scenario: &str) -> (Snapshot, Vec<String>) {
    let own = inputs(scenario);
    let bank = described(&own);
    let file = file_of_rv_c(&bank);
    let sent = run(filed(&file), sent_otherwise(&own, as_rv_c(&bank)));
    let same_values = run(filed(&bank), without(&own, on_rv_c(&bank)));
    assert_eq!(found(&sent), renumbered(found(&same_values), &bank), "{scenario}");
    (sent, renumbered(found(&run(filed(&bank), own)), &bank))
}

#[test]
fn a_cold_morning_on_rv_c() {
    let (sent, all) = through_rv_c("cold-morning");
    assert_eq!(found(&sent), all, "nothing of this needs what the standard lacks");
    assert!(all.iter().any(|line| line.starts_with("cold-charge warning")), "{all:?}");
}

#[test]
fn a_drifting_cell_on_rv_c() {
    let (sent, all) = through_rv_c("drifting-cell");
    assert_eq!(found(&sent), all);
    assert!(all.iter().any(|line| line.starts_with("imbalance notice cell 3")), "{all:?}");
}

#[test]
fn a_lost_sensor_on_rv_c() {
    let (sent, all) = through_rv_c("lost-sensor");
    assert_eq!(found(&sent), all);
    assert!(all.iter().any(|line| line.starts_with("sensor-fault notice sensor 5")), "{all:?}");
}

#[test]
fn a_cut_off_at_night_on_rv_c() {
    let (sent, all) = through_rv_c("night-cutoff");
    assert_eq!(found(&sent), all);
    assert!(all.iter().any(|line| line.starts_with("bms-cutoff warning")), "{all:?}");
}

/// As IEC 61162-3: what is found, the same as our own format finds from the same values.
fn through_marine(scenario: &str) -> Snapshot {
    let own = inputs(scenario);
    let bank = described(&own);
    let mut message = 0;
    let sent = sent_otherwise(
        &own,
        |_, group, said| {
            if POWER.contains(&group) { as_marine(&mut message, said) } else { Vec::new() }
        },
    );
    let sent = run(filed(&bank), sent);
    let same_values = run(filed(&bank), without(&own, on_marine));
    assert_eq!(found(&sent), found(&same_values), "{scenario}");
    sent
}

#[test]
fn banks_on_a_vessel_without_their_cells() {
    for scenario in ["cold-morning", "drifting-cell", "night-cutoff"] {
        let sent = through_marine(scenario);
        assert!(sent.packs[0].cells.iter().all(|cell| cell.voltage.value.is_none()));
        let why = |code: &str| sent.not_judged.iter().any(|item| item.code == code);
        assert!(why("imbalance"), "{scenario}: {:?}", sent.not_judged);
    }
}

#[test]
fn a_bank_with_voltage_current_and_one_temperature_is_served() {
    let sent = through_marine("shunt-only");
    assert!(sent.findings.is_empty(), "{:?}", found(&sent));
    assert_eq!(sent.verdict.level.word(), "well", "{}", sent.verdict.text);
    let scope = cellwright::report::scope(&sent);
    assert!(scope.contains("pack voltage, current and 1 sensor show; the cells are not seen"), "{scope}");
}

/// Through a foreign map: the same findings at the same moments, and the same verdict.
fn through_a_foreign_map(scenario: &str) -> Vec<String> {
    let own = inputs(scenario);
    let bank = described(&own);
    let foreign = Foreign::new();
    let setup = Setup { map: Some(foreign.map()), ..filed(&bank) };
    let sent = run(setup, sent_otherwise(&own, |_, group, said| foreign.frames(group, said)));
    let direct = run(filed(&bank), own);
    let moments = |snapshot: &Snapshot| -> Vec<(Stamp, Stamp)> {
        snapshot.findings.iter().map(|found| (found.first, found.last)).collect()
    };
    assert_eq!(found(&sent), found(&direct), "{scenario}");
    assert_eq!(moments(&sent), moments(&direct), "{scenario}");
    assert_eq!(sent.verdict, direct.verdict, "{scenario}");
    found(&sent)
}

#[test]
fn a_cut_off_at_night_through_a_foreign_map() {
    let found = through_a_foreign_map("night-cutoff");
    assert!(found.iter().any(|line| line.starts_with("bms-cutoff warning")), "{found:?}");
}

#[test]
fn a_cold_morning_through_a_foreign_map() {
    let found = through_a_foreign_map("cold-morning");
    assert!(found.iter().any(|line| line.starts_with("cold-charge warning")), "{found:?}");
}

#[test]
fn a_bank_without_cells_through_a_foreign_map() {
    assert_eq!(through_a_foreign_map("shunt-only"), [""; 0]);
}

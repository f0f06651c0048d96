//! Every fault that a scenario can have does what its line in the list says, and nothing before its minute.

use cellwright::layout::own;
use cellwright::model::{Body, Quantity as Q, Slot, Value};
use cellwright::sim::{Options, Simulation, Truth};
use std::collections::BTreeMap;

const BANK: &str = r#"
    about = "a pack of eight cells, charged by day"
    start = "2026-01-01T00:00:00Z"
    days = 0.05
    sample = 2.0
    weather = { mean = 15, swing = 0 }
    load = [{ watts = 40 }]
    source = [{ kind = "shore", amps = 20, absorption = 28.4, float = 27.2 }]
    [[pack]]
    cells = 8
    capacity = 100
    soc = 0.5
    celsius = 15
    loss = 2
    spread = { capacity = 0, charge = 0, resistance = 0 }
    sensors = [{ role = "cell", cell = 1 }, { role = "cell", cell = 4 }]
    label = { charge = 50, discharge = 100, weakest = 100, absorption = 28.8, float = 27.6 }
    heater = { watts = 50, on_below = 30, off_above = 35 }
    balance = { kind = "bleed-above", amps = 0.1, threshold = 3.0 }
    meter = { cell_noise = 0, current_noise = 0, temperature_noise = 0 }
"#;

/// The last value of everything, and what is really so then, after `days` days.
fn run(bank: &str, faults: &str, days: f64) -> (BTreeMap<Slot, f64>, Truth) {
    let text = format!("{bank}\n{faults}");
    let options = Options { seed: 1, days: Some(days), sample: None };
    let mut simulation = Simulation::from_text(&text, options).unwrap();
    let map = own::compile();
    let mut values = BTreeMap::new();
    for input in &mut simulation {
        let Body::Frame(frame) = input.body else { continue };
        map.read(map.find(frame.id).unwrap_or(usize::MAX), &frame, |slot, value| match value {
            Value::Present(number) => drop(values.insert(slot, number)),
            _ => drop(values.remove(&slot)),
        });
    }
    (values, simulation.truth())
}

/// A fault from minute 36 on, half an hour before the end.
fn half_way(kind: &str, part: u8, size: f64) -> String {
    format!("[[fault]]\nkind = \"{kind}\"\npart = {part}\nsize = {size}\nfrom_minute = 36\n")
}

/// By how much a value differs from that of the same bank without the fault.
#[track_caller]
fn moves((kind, part, size): (&str, u8, f64), slot: Slot, (by, within): (f64, f64)) {
    let (sound, _) = run(BANK, "", 0.05);
    let (ill, _) = run(BANK, &half_way(kind, part, size), 0.05);
    let difference = ill[&slot] - sound[&slot];
    assert!((difference - by).abs() <= within, "{kind} {size}: {slot:?} moved by {difference}, not {by}");
    let (before, _) = run(BANK, &half_way(kind, part, size), 0.025 - 1e-4);
    let (sound, _) = run(BANK, "", 0.025 - 1e-4);
    assert_eq!(before, sound, "{kind} shows before its minute");
}

fn cell(index: u8) -> Slot {
    Slot::at(0, Q::CellVoltage, index)
}

const AMPS: Slot = Slot { pack: 0, quantity: Q::Current, index: 0 };

#[test]
fn what_is_reported_wrongly_moves_by_its_size() {
    moves(("lead-offset", 3, 0.020), cell(2), (0.020, 0.001));
    moves(("lead-offset", 3, 0.020), cell(3), (0.0, 0.0));
    moves(("lead-shared", 3, 0.030), cell(3), (-0.030, 0.001));
    moves(("lead-open", 3, 0.4), cell(2), (0.4, 0.041));
    moves(("lead-open", 3, 0.4), cell(3), (-0.4, 0.041));
    moves(("current-offset", 1, 0.6), AMPS, (0.6, 0.05));
    moves(("current-gain", 1, 5.0), AMPS, (0.83, 0.06));
    moves(("current-dead-band", 1, 50.0), AMPS, (-16.66, 0.1));
    moves(("sensor-offset", 2, 7.0), Slot::at(0, Q::Temperature, 1), (7.0, 0.1));
    moves(("sensor-by-heat", 2, 200.0), Slot::at(0, Q::Temperature, 1), (5.5, 0.3));
    moves(("described-cells", 1, -1.0), Slot::of(0, Q::CellCount), (-1.0, 0.0));
    moves(("described-capacity", 1, 20.0), Slot::of(0, Q::RatedCapacity), (20.0, 1e-9));
}

#[test]
fn a_sensor_in_the_air_and_a_sensor_that_is_stuck_no_longer_follow_the_cells() {
    let at = Slot::at(0, Q::Temperature, 1);
    let (sound, truth) = run(BANK, "", 0.05);
    assert!(truth.packs[0].felt[1] > 17.0 && (sound[&at] - truth.packs[0].felt[1]).abs() < 0.1);
    let (air, _) = run(BANK, &half_way("sensor-in-air", 2, 1.0), 0.05);
    assert!((air[&at] - 15.0).abs() < 0.1, "{}", air[&at]);
    let (stuck, _) = run(BANK, &half_way("sensor-stuck", 2, 0.0), 0.05);
    let (then, _) = run(BANK, "", 0.025);
    assert_eq!(stuck[&at], then[&at]);
    assert!(sound[&at] > then[&at] + 0.5);
}

#[test]
fn swapped_leads_read_double_and_negative_and_keep_the_sum() {
    let (sound, _) = run(BANK, "", 0.05);
    let simulation = format!("{BANK}\n[[fault]]\nkind = \"leads-swapped\"\npart = 2\n");
    let (ill, truth) = run(&simulation, "", 0.05);
    let volts = |index: u8| truth.packs[0].cells[usize::from(index)].volts;
    assert!((sound[&cell(1)] - volts(1)).abs() < 0.001);
    assert_eq!(ill.get(&cell(2)), None, "a voltage below zero is no number on the bus");
    assert!(ill.get(&cell(1)).is_none_or(|read| (read - 2.0 * volts(1)).abs() < 0.001));
    assert!((ill[&cell(4)] - volts(4)).abs() < 0.001);
}

#[test]
fn a_resistive_lead_shows_while_its_cell_is_bled_and_its_neighbour_is_not() {
    let bank = BANK.replace("\"bleed-above\", amps = 0.1, threshold = 3.0", "\"none\", amps = 0.1, threshold = 3.0");
    let lead = "[[fault]]\nkind = \"lead-resistive\"\npart = 3\nsize = 0.5\n";
    let bleed = "[[fault]]\nkind = \"bleeder-stuck\"\npart = 3\nsize = 0.1\n";
    let (quiet, truth) = run(&bank, lead, 0.01);
    assert!((quiet[&cell(2)] - truth.packs[0].cells[2].volts).abs() < 0.001);
    let (bled, truth) = run(&bank, &format!("{lead}{bleed}"), 0.01);
    assert!((bled[&cell(2)] - truth.packs[0].cells[2].volts + 0.050).abs() < 0.001);
    assert!((bled[&cell(3)] - truth.packs[0].cells[3].volts - 0.050).abs() < 0.001);
}

#[test]
fn a_bms_tells_that_it_bleeds_a_cell_whose_bleeder_is_dead() {
    let told = |values: &BTreeMap<Slot, f64>| (0..8).map(|i| values[&Slot::at(0, Q::CellBalancing, i)]).sum::<f64>();
    let (values, truth) = run(BANK, &half_way("bleeder-dead", 3, 0.0), 0.05);
    assert_eq!((told(&values), truth.packs[0].cells[2].bleed), (8.0, 0.0), "its switch is on, and nothing flows");
    let idle = BANK.replace("threshold = 3.0", "threshold = 3.6");
    let (values, truth) = run(&idle, &half_way("bleeder-stuck", 3, 0.3), 0.05);
    assert_eq!((told(&values), truth.packs[0].cells[2].bleed), (1.0, 0.3));
}

#[test]
fn what_is_wrong_with_a_cell_shows_in_the_truth() {
    let truth = |kind: &str, size: f64| run(BANK, &half_way(kind, 3, size), 0.05).1.packs.remove(0).cells;
    let sound = run(BANK, "", 0.05).1.packs.remove(0).cells;
    let charge = |kind: &str, size: f64| truth(kind, size)[2].charge - sound[2].charge;
    assert!((charge("out-of-balance", 4.0) - 4.0).abs() < 0.01);
    assert!((charge("out-of-balance", -4.0) + 4.0).abs() < 0.01);
    assert!((charge("small-cell", 10.0) + 10.0).abs() < 0.01);
    assert!((truth("small-cell", 10.0)[2].capacity - 90.0).abs() < 1e-9);
    assert!((charge("leak", 0.5) + 0.30).abs() < 0.02, "0.5 A for 36 minutes");
    assert!((truth("connection", 0.7)[2].connection - 0.7e-3).abs() < 1e-12);
    assert!((truth("bleeder-stuck", 0.3)[2].bleed - 0.3).abs() < 1e-12);
    assert_eq!(truth("bleeder-dead", 0.0).map_bleed(), [0.1, 0.1, 0.0, 0.1, 0.1, 0.1, 0.1, 0.1]);
    assert!(truth("fade", 20.0).iter().all(|cell| (cell.capacity - 80.0).abs() < 1e-9));
    assert!(truth("resistance-rise", 50.0).iter().all(|cell| (cell.ohms_at_25 - 1.5e-3).abs() < 1e-9));
    let half = truth("parallel-gone", 0.5);
    assert!(half.iter().all(|cell| (cell.capacity - 50.0).abs() < 1e-9 && (cell.ohms_at_25 - 2e-3).abs() < 1e-9));
}

trait Bled {
    fn map_bleed(&self) -> Vec<f64>;
}

impl Bled for Vec<cellwright::sim::CellTruth> {
    fn map_bleed(&self) -> Vec<f64> {
        self.iter().map(|cell| cell.bleed).collect()
    }
}

#[test]
fn what_is_wrong_around_the_cells_shows_in_the_truth() {
    let truth = |kind: &str, size: f64| run(BANK, &half_way(kind, 1, size), 0.05).1;
    let sound = run(BANK, "", 0.05).1;
    assert!((truth("outer-resistance", 5.0).packs[0].path - 6.5e-3).abs() < 1e-12);
    assert!((truth("heater-weak", 60.0).packs[0].heater_watts - 20.0).abs() < 1e-9);
    assert!((truth("air", -12.0).air - 3.0).abs() < 1e-9);
    let standby = truth("standby", 54.0);
    assert!((standby.load - sound.load - 2.0).abs() < 0.05 && standby.packs[0].unseen == 0.0);
    let hidden = truth("bypass", 54.0);
    assert!((hidden.load - standby.load).abs() < 1e-6 && (hidden.packs[0].unseen - 2.0).abs() < 0.05);
    let seen = run(BANK, &half_way("bypass", 1, 54.0), 0.05).0[&AMPS];
    assert!((seen - hidden.packs[0].amps - hidden.packs[0].unseen).abs() < 0.05);
    let refused = truth("charge-refused", 0.0);
    assert!(!refused.packs[0].charge && refused.packs[0].discharge && refused.packs[0].amps == 0.0);
    let cut = truth("cut-out", 0.0);
    assert!(!cut.packs[0].charge && !cut.packs[0].discharge && cut.packs[0].amps == 0.0);
}

#[test]
fn a_charger_goes_wrong_by_its_size() {
    let set = |kind: &str, size: f64| run(BANK, &half_way(kind, 1, size), 0.05).1.set_volts[0].unwrap();
    assert!((set("absorption-high", 0.5) - 28.9).abs() < 1e-9);
    assert!((set("equalise", 31.0) - 31.0).abs() < 1e-9);
    assert!((set("compensation", -36.0) - 28.76).abs() < 1e-9, "10 K below 25 °C");
    let full = BANK.replace("soc = 0.5", "soc = 1.0").replace("amps = 20,", "amps = 20, tail = 5,");
    let float = run(&full, &half_way("float-high", 1, 0.6), 0.05).1;
    assert!((float.set_volts[0].unwrap() - 27.8).abs() < 1e-9);
    let strong = run(BANK, &half_way("source-amps", 1, 15.0), 0.05).1;
    assert!((strong.sources[0] - 35.0).abs() < 1e-9);
}

#[test]
fn a_connection_that_grows_comes_by_the_day_and_two_faults_do_not_disturb_each_other() {
    let pair = "[[fault]]\nkind = \"connection\"\npart = 2\nsize = 1.0\nover_days = 2\n\
                [[fault]]\nkind = \"small-cell\"\npart = 2\nsize = 8\n";
    let cell = |days: f64| run(&BANK.replace("sample = 2.0", "sample = 60"), pair, days).1.packs[0].cells[1].clone();
    let (half, whole) = (cell(1.0), cell(2.5));
    assert!((half.connection - 0.5e-3).abs() < 2e-6, "{}", half.connection);
    assert!((whole.connection - 1.0e-3).abs() < 1e-12);
    assert!((whole.capacity - 92.0).abs() < 1e-9);
}

/// A step of the load between two sets shows in a current that was read after it and not in cells read before.
#[test]
fn cells_may_be_read_earlier_than_the_current() {
    let bank = |earlier: f64| {
        BANK.replace("load = [{ watts = 40 }]", "load = [{ watts = 1500, on = [{ from = 0.0238, to = 1 }] }]")
            .replace("sample = 2.0", "sample = 10.0")
            .replace("meter = {", &format!("meter = {{ cells_earlier = {earlier},"))
    };
    // the set at 90 s: the load came within the four seconds before
    let days = 90.5 / 86_400.0;
    let (at_once, truth) = run(&bank(0.0), "", days);
    let (earlier, late) = run(&bank(4.0), "", days);
    assert!((truth.packs[0].amps - late.packs[0].amps).abs() < 2.0);
    assert!((earlier[&AMPS] - at_once[&AMPS]).abs() < 2.0);
    let first = |values: &BTreeMap<Slot, f64>| values[&cell(0)];
    assert!(first(&earlier) - first(&at_once) > 0.03, "{} {}", first(&earlier), first(&at_once));
}

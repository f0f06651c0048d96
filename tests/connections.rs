//! Many invented banks whose connections are known: what is estimated lies within its own bounds, the bounds are tight, and
//! no healthy bank is told that it has a poor connection, a bad lead or a wrong description.

use cellwright::model::Estimate;
use cellwright::model::Snapshot;
use cellwright::pipeline::{Pipeline, Setup};
use cellwright::sim::{Options, Simulation, Truth};

/// How a bank differs from others.
#[derive(Debug, Clone, Copy)]
struct Kind {
    seed: u64,
    capacity: f64,
    cells: u8,
    sample: f64,
    cell_step: f64,
    current_step: f64,
    noise: f64,
    celsius: f64,
    /// Connection of one cell, mΩ.
    connection: f64,
    days: f64,
    /// Cell voltages are older than the current, s.
    earlier: f64,
}

/// A number from 0 to 1 that depends on seed and place alone.
fn draw(seed: u64, place: u64) -> f64 {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ place.wrapping_mul(0xD1B5_4A32_D192_ED03);
    for _ in 0..3 {
        state ^= state >> 29;
        state = state.wrapping_mul(0xBF58_476D_1CE4_E5B9);
        state ^= state >> 32;
    }
    (state >> 11) as f64 / (1_u64 << 53) as f64
}

fn choose<T: Copy>(seed: u64, place: u64, from: &[T]) -> T {
    from[(draw(seed, place) * from.len() as f64) as usize % from.len()]
}

fn kind(seed: u64) -> Kind {
    let sample = choose(seed, 1, &[1.0, 2.0, 10.0, 60.0]);
    Kind {
        seed,
        capacity: choose(seed, 2, &[50.0, 100.0, 200.0, 300.0]),
        cells: choose(seed, 3, &[4, 4, 8, 16]),
        sample,
        cell_step: choose(seed, 4, &[0.001, 0.001, 0.01]),
        current_step: choose(seed, 5, &[0.01, 0.1]),
        noise: choose(seed, 6, &[0.0, 0.0005, 0.001]),
        celsius: choose(seed, 7, &[-5.0, 5.0, 15.0, 25.0]),
        connection: choose(seed, 8, &[0.0, 0.0, 0.4, 0.8, 2.0]),
        days: if sample < 5.0 { 1.0 } else { 4.0 },
        earlier: choose(seed, 9, &[0.0, 0.0, 0.3]),
    }
}

fn scenario(kind: &Kind, extra: &str) -> String {
    let c = kind.capacity;
    let packs_volts = 3.2 * f64::from(kind.cells);
    let watts = |rate: f64| rate * c * packs_volts;
    let per_cell = |volts: f64| volts / 4.0 * f64::from(kind.cells);
    format!(
        r#"
about = "an invented bank with a known connection"
start = "2026-05-09T00:00:00Z"
days = {days}
sample = {sample}

[weather]
mean = {celsius}
swing = 3.0

[[pack]]
capacity = {c}
soc = 0.85
cells = {cells}
loss = 2.0
sensors = [{{ role = "cell", cell = 2 }}, {{ role = "case", cell = 3 }}]
label = {{ charge = {half}, discharge = {c}, weakest = {c}, absorption = {absorption}, float = {float} }}
meter = {{ cell_step = {cell_step}, current_step = {current_step}, cell_noise = {noise}, cells_earlier = {earlier} }}
cell = [{{ number = 3, connection_milliohm = {connection} }}]

[[source]]
kind = "shore"
amps = {charger}
absorption = {absorption}
float = {float}
tail = {tail}
on = [{{ from = 14.0, to = 20.0, moves = 30.0 }}]

[[load]]
watts = {fridge}
cycle_minutes = 37.0
duty = 0.4

[[load]]
watts = {kettle}
on = [{{ from = 7.5, to = 7.8, moves = 15.0 }}, {{ from = 12.2, to = 12.6, moves = 20.0 }}, {{ from = 21.0, to = 21.3, moves = 20.0 }}]

[[load]]
watts = {heater}
cycle_minutes = 23.0
duty = 0.3
on = [{{ from = 1.0, to = 5.0, moves = 20.0 }}]
{extra}
"#,
        days = kind.days,
        sample = kind.sample,
        celsius = kind.celsius,
        cells = kind.cells,
        half = c / 2.0,
        absorption = per_cell(14.2),
        float = per_cell(13.5),
        cell_step = kind.cell_step,
        current_step = kind.current_step,
        noise = kind.noise,
        earlier = kind.earlier,
        connection = kind.connection,
        charger = if kind.celsius < 10.0 { 0.04 * c } else { 0.2 * c },
        tail = 0.04 * c,
        fridge = watts(0.03),
        kettle = watts(0.5),
        heater = watts(0.12),
    )
}

fn run(kind: &Kind, extra: &str) -> (Snapshot, Truth) {
    let options = Options { seed: kind.seed, days: None, sample: None };
    let mut bank = Simulation::from_text(&scenario(kind, extra), options).unwrap();
    let mut pipeline = Pipeline::new(Setup::default());
    for input in bank.by_ref() {
        pipeline.push(&input);
    }
    (pipeline.snapshot(), bank.truth())
}

fn row<'a>(snapshot: &'a Snapshot, name: &str, cell: Option<u8>) -> &'a Estimate {
    snapshot.estimates.iter().find(|row| row.name == name && row.subject.cell == cell).unwrap()
}

const MINE: [&str; 3] = ["high-resistance-connection", "balance-lead-fault", "bank-description"];

fn mine(snapshot: &Snapshot) -> Vec<String> {
    let of = |f: &&cellwright::model::Finding| MINE.contains(&f.code);
    let line = |f: &cellwright::model::Finding| format!("{} {} {}: {}", f.code, f.severity.word(), f.subject, f.text);
    snapshot.findings.iter().filter(of).map(line).collect()
}

#[test]
fn what_is_estimated_lies_within_its_bounds_and_healthy_banks_hear_nothing() {
    let banks: u64 = std::env::var("CELLWRIGHT_BANKS").ok().and_then(|n| n.parse().ok()).unwrap_or(10);
    let (mut known, mut inside, mut widths, mut wrong) = (0_u32, 0_u32, Vec::new(), Vec::new());
    let (mut whole, mut whole_inside) = (0_u32, 0_u32);
    for seed in 1..=banks {
        let kind = kind(seed);
        let (snapshot, truth) = run(&kind, "");
        let pack = &truth.packs[0];
        let middle = |mut ohms: Vec<f64>| {
            ohms.sort_by(f64::total_cmp);
            0.5 * (ohms[(ohms.len() - 1) / 2] + ohms[ohms.len() / 2])
        };
        let own = middle(pack.cells.iter().map(|cell| cell.ohms_at_25 * 1e3).collect());
        for (index, cell) in pack.cells.iter().enumerate() {
            let row = row(&snapshot, "connection_mohm", Some(index as u8));
            if let (Some(value), Some(low), Some(high)) = (row.value, row.low, row.high) {
                known += 1;
                let real = cell.connection * 1e3;
                let holds = (low..=high).contains(&real);
                inside += u32::from(holds);
                widths.push((high - low) / 2.0 / (0.2_f64).max(0.2 * own * 2.0));
                if !holds {
                    println!("{kind:?} cell {index}: {value:.3} [{low:.3}, {high:.3}], really {real:.3}; own {own:.2}");
                }
            }
            let row = self::row(&snapshot, "cell_resistance_mohm", Some(index as u8));
            if let (Some(value), Some(low), Some(high)) = (row.value, row.low, row.high) {
                whole += 1;
                let real = (cell.ohms_at_25 + cell.connection) * 1e3;
                whole_inside += u32::from((low..=high).contains(&real));
                if !(low..=high).contains(&real) {
                    println!("{kind:?} cell {index}: whole {value:.3} [{low:.3}, {high:.3}], really {real:.3}");
                }
            }
        }
        let found = mine(&snapshot);
        let plain = kind.connection >= 0.8 && kind.connection > 0.35 * own * ratio(kind.celsius);
        let expected =
            found.iter().all(|line| line.contains("high-resistance-connection") && line.contains("cell 3 of"));
        if !expected || (kind.connection == 0.0 && !found.is_empty()) {
            wrong.push(format!("{kind:?}: {found:?}"));
        }
        if plain && found.is_empty() {
            println!("missed: {kind:?} {:?}", row(&snapshot, "connection_mohm", Some(2)));
        }
    }
    widths.sort_by(f64::total_cmp);
    println!(
        "{inside} of {known} connections within their bounds, half widths over what is allowed: median {:.2}; {whole_inside} of {whole} resistances",
        widths.get(widths.len() / 2).copied().unwrap_or(0.0)
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(known >= 12 && f64::from(inside) >= 0.95 * f64::from(known), "{inside} of {known}");
}

fn ratio(celsius: f64) -> f64 {
    1.0 + 0.05 * (25.0 - celsius)
}

/// A bank in which nothing is wrong but what `extra` says.
fn with(extra: &str, days: f64, sample: f64) -> Vec<String> {
    let kind = Kind {
        seed: 5,
        capacity: 100.0,
        cells: 4,
        sample,
        cell_step: 0.001,
        current_step: 0.01,
        noise: 0.0003,
        celsius: 22.0,
        connection: 0.0,
        days,
        earlier: 0.0,
    };
    mine(&run(&kind, extra).0)
}

fn begins(found: &[String], with: &str) {
    assert!(found.len() == 1 && found[0].starts_with(with), "expected only {with}: {found:#?}");
}

#[test]
fn a_joint_that_works_loose_within_a_day_is_found_at_its_cell() {
    let found = with("[[fault]]\nkind = \"connection\"\npart = 2\nsize = 0.8\nfrom_minute = 700.0", 2.0, 2.0);
    begins(&found, "high-resistance-connection notice cell 2 of pack 1");
    let found = with("[[fault]]\nkind = \"connection\"\npart = 2\nsize = 3.0\nfrom_minute = 0.0", 4.0, 60.0);
    begins(&found, "high-resistance-connection warning cell 2 of pack 1");
}

#[test]
fn each_fault_of_a_lead_is_told_as_what_it_is() {
    let fault =
        |kind: &str, size: f64| format!("[[fault]]\nkind = \"{kind}\"\npart = 2\nsize = {size}\nfrom_minute = 60.0");
    begins(
        &with(&fault("lead-offset", 0.03), 2.0, 10.0),
        "balance-lead-fault notice cell 2 of pack 1: Cell 2 of pack 1 reads 30 mV more",
    );
    begins(&with(&fault("lead-open", 0.9), 1.0, 10.0), "balance-lead-fault warning cell 2 of pack 1");
    let shared = with(&fault("lead-shared", 0.06), 1.0, 10.0);
    assert!(
        shared.iter().all(|line| line.starts_with("balance-lead-fault notice cell")) && !shared.is_empty(),
        "{shared:#?}"
    );
}

#[test]
fn a_load_that_bypasses_the_sensor_and_a_bank_described_too_small_are_found() {
    let hidden = "[[fault]]\nkind = \"bypass\"\nsize = 250.0\nfrom_minute = 60.0\nto_minute = 63.0\n";
    let hidden = (0..12).map(|k| {
        hidden.replace("60.0", &format!("{}.0", 60 + 100 * k)).replace("63.0", &format!("{}.0", 66 + 100 * k))
    });
    begins(&with(&hidden.collect::<String>(), 2.0, 1.0), "bank-description notice pack 1");
    let small = with("[[fault]]\nkind = \"described-capacity\"\nsize = -60.0", 4.0, 10.0);
    assert!(small.iter().any(|line| line.starts_with("bank-description notice pack 1")), "{small:#?}");
    let gone = with("[[fault]]\nkind = \"parallel-gone\"\nsize = 0.5\nfrom_minute = 720.0", 2.0, 1.0);
    begins(&gone, "bank-description warning pack 1");
}

//! Banks drawn for the properties: two days of a pack in which something is wrong.

use cellwright::model::Input;
use cellwright::sim::{Options, Simulation};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// What is wrong, of a plain size: kind, cell (or sensor or source), size, and the condition that tells of it; with
/// what stands in the place of the size the share of the capacity that it is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wrong {
    /// As scenarios call it.
    pub(crate) kind: &'static str,
    /// From 1.
    pub(crate) part: u8,
    /// For 100 Ah and four cells.
    size: f64,
    /// By which power of the capacity the size grows: 1 for Ah and A, -1 for mΩ, 0 for the rest.
    power: i32,
    /// Condition that tells of it; empty where the bank is healthy.
    pub(crate) code: &'static str,
}

const fn wrong(kind: &'static str, part: u8, size: f64, power: i32, code: &'static str) -> Wrong {
    Wrong { kind, part, size, power, code }
}

/// Every fault that is drawn, and none.
pub(crate) const WRONG: [Wrong; 14] = [
    wrong("", 0, 0.0, 0, ""),
    wrong("out-of-balance", 3, 7.0, 1, "bms-cutoff"), // a cell so far ahead ends the charge before the others are near
    wrong("out-of-balance", 2, -6.0, 1, "imbalance"),
    wrong("small-cell", 2, 26.0, 0, "low-capacity-cell"),
    wrong("connection", 1, 2.5, -1, "high-resistance-connection"),
    wrong("lead-offset", 3, 0.05, 0, "balance-lead-fault"),
    wrong("lead-open", 2, 0.9, 0, "balance-lead-fault"),
    wrong("absorption-high", 1, 0.6, 0, "charger-profile"),
    wrong("sensor-lost", 1, 1.0, 0, "sensor-fault"),
    wrong("sensor-by-heat", 1, 900.0, -2, "temperature-spread"),
    wrong("cut-out", 1, 1.0, 0, "bms-cutoff"),
    wrong("pack-silent", 1, 1.0, 0, "stale-data"),
    wrong("air", 1, -18.0, 0, "cold-charge"),
    wrong("air", 1, 36.0, 0, "overtemperature"),
];

/// A bank to be run.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bank {
    /// What is wrong with it.
    pub(crate) wrong: Wrong,
    /// Cells in series: four or eight.
    pub(crate) cells: u8,
    /// Rated capacity, Ah: from 50 on, where 2 % of it are more than the dead-band of an ampere.
    pub(crate) capacity: f64,
    /// Drawn down to the lower knee each day; else half of it.
    pub(crate) deep: bool,
    /// Seconds between sets.
    pub(crate) sample: f64,
    /// Weather, differences between cells, noise.
    pub(crate) seed: u64,
}

/// Few cases, always the same; with `PROPTEST_CASES` so many, every time others.
pub(crate) fn few() -> ProptestConfig {
    let told = std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok());
    let rng_seed = if told.is_some() { RngSeed::Random } else { RngSeed::Fixed(26) };
    ProptestConfig { cases: told.unwrap_or(10), rng_seed, failure_persistence: None, ..ProptestConfig::default() }
}

/// Any bank.
pub(crate) fn banks() -> impl Strategy<Value = Bank> {
    let (fault, cells) = (0..WRONG.len(), prop_oneof![Just(4u8), Just(8)]);
    let sample = prop_oneof![Just(15.0), Just(30.0), Just(60.0)];
    (fault, cells, 5..40u32, sample, 1..1000u64).prop_map(|(fault, cells, tens, sample, seed)| Bank {
        sample,
        seed,
        ..Bank::of(WRONG[fault], cells, f64::from(tens * 10))
    })
}

impl Bank {
    fn of(wrong: Wrong, cells: u8, capacity: f64) -> Self {
        Self { wrong, cells, capacity, deep: wrong.kind == "small-cell", sample: 30.0, seed: 7 }
    }

    /// The same without what is wrong.
    pub(crate) fn healthy(self) -> Self {
        Self { wrong: WRONG[0], ..self }
    }

    /// Everything that its bus says.
    pub(crate) fn inputs(&self) -> Vec<Input> {
        let options = Options { seed: self.seed, days: Some(2.0), sample: Some(self.sample) };
        Simulation::from_text(&self.text(), options).expect("the drawn bank is a scenario").collect()
    }

    fn text(&self) -> String {
        let (four, of) = (f64::from(self.cells) / 4.0, |share: f64| share * self.capacity);
        let load = |share: f64| of(share) * 13.1 * four;
        let sensors: Vec<String> =
            (1..=self.cells).map(|cell| format!("{{ role = \"cell\", cell = {cell} }}")).collect();
        format!(
            "about = \"a bank drawn for a property\"\nstart = \"2026-03-02T00:00:00Z\"\ndays = 2\nsample = 20\n\
             [weather]\nmean = 18\nswing = 3\n\
             [[pack]]\ncells = {}\ncapacity = {}\nsoc = 0.55\nloss = {}\nsensors = [{}]\n\
             label = {{ charge = {}, discharge = {}, weakest = {}, absorption = {}, float = {} }}\n\
             balance = {{ kind = \"bleed-highest\", amps = {}, threshold = 3.42 }}\n\
             [[source]]\nkind = \"shore\"\namps = {}\nabsorption = {}\nfloat = {}\nabsorption_hours = 2\ntail = {}\n\
             on = [{{ from = 0, to = 9, moves = 10 }}]\n\
             [[load]]\nwatts = {}\n\
             [[load]]\nwatts = {}\non = [{{ from = 11, to = 14 }}, {{ from = 14.3, to = {} }}]\n\
             [[load]]\nwatts = {}\non = [{{ from = 10, to = 13 }}]\ncycle_minutes = 12\nduty = 0.4\n{}",
            self.cells,
            self.capacity,
            1.5 * four,
            sensors.join(", "),
            of(0.5),
            of(1.0),
            of(1.2),
            14.4 * four,
            13.6 * four,
            of(0.0006),
            of(0.22),
            14.2 * four,
            13.5 * four,
            of(0.03),
            load(0.002),
            load(0.14),
            if self.deep { 16.8 } else { 15.0 },
            load(0.06),
            self.fault(four),
        )
    }

    fn fault(&self, four: f64) -> String {
        let Wrong { kind, part, size, power, .. } = self.wrong;
        if kind.is_empty() {
            return String::new();
        }
        let scale = if kind == "absorption-high" { four } else { (self.capacity / 100.0).powi(power) };
        let from = if matches!(kind, "cut-out" | "pack-silent" | "sensor-lost") { 780 } else { 0 };
        format!("[[fault]]\nkind = \"{kind}\"\npart = {part}\nsize = {}\nfrom_minute = {from}\n", size * scale)
    }
}

/// Properties over banks in which nothing is found would prove nothing.
#[test]
fn what_is_wrong_with_a_drawn_bank_is_told() {
    let mut missed = Vec::new();
    for wrong in WRONG {
        let bank = Bank::of(wrong, if wrong.kind == "small-cell" { 8 } else { 4 }, 100.0);
        let told = super::told::judged(&bank.inputs(), super::told::plain());
        let codes: Vec<&str> = told.findings.iter().map(|finding| finding.code).collect();
        if wrong.code.is_empty() {
            assert_eq!(codes, [""; 0], "the healthy bank");
        } else if !codes.contains(&wrong.code) {
            missed.push(format!("{wrong:?}: {codes:?}"));
        }
    }
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

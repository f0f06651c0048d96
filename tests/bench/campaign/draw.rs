//! Draws a bank: what it is, how it is seen, how it lives, what is wrong with it. All from a seed.

use super::dice::Dice;
use super::faults::{KINDS, Kind, Needs, Unit};
use super::life::{Life, Scale};
use super::pairs;

/// What a bank is drawn to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sort {
    /// Nothing is wrong.
    Healthy,
    /// Nothing is wrong, but it looks a little like it.
    NearMiss,
    /// One fault.
    Single,
    /// Two.
    Pair,
}

/// A fault as it was drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Drawn {
    /// What.
    pub(crate) kind: &'static Kind,
    /// 0 harmless, 1 small, 2 plain.
    pub(crate) grade: usize,
    /// As the scenario takes it.
    pub(crate) size: f64,
    /// Pack and cell (or sensor), from 0.
    pub(crate) pack: u8,
    pub(crate) part: u8,
    /// Seconds after the start at which it comes.
    pub(crate) from: f64,
}

/// A bank to be run.
#[derive(Debug, Clone)]
pub(crate) struct Plan {
    /// Its seed, from which all else follows.
    pub(crate) seed: u64,
    /// What it is drawn to be.
    pub(crate) sort: Sort,
    /// The near miss, or the faults in words.
    pub(crate) about: String,
    /// Cells in series, packs, capacity of a pack.
    pub(crate) cells: u8,
    pub(crate) packs: u8,
    pub(crate) capacity: f64,
    /// Seconds between sets, days.
    pub(crate) sample: f64,
    pub(crate) days: f64,
    /// Resolution of cell voltages and current, noise of each.
    pub(crate) steps: (f64, f64),
    pub(crate) noise: (f64, f64),
    /// What the current sensor reads too much, as every sensor does a little, A.
    pub(crate) offset: f64,
    /// Cell voltages are read.
    pub(crate) cells_told: bool,
    /// Loss of heat of a pack, W/K.
    pub(crate) loss: f64,
    /// The faults.
    pub(crate) faults: Vec<Drawn>,
    /// The scenario.
    pub(crate) text: String,
}

/// Draws for a second fault at most: some lives know one fault only.
const TRIES: usize = 50;
/// Near misses: name, life, days, and mean and swing of the weather.
const NEAR: &[(&str, Life, f64, (f64, f64))] = &[
    ("one overnight hold", Life::Hold, 1.5, (20.0, 3.0)),
    ("a hot afternoon", Life::Van, 2.0, (34.0, 7.0)),
    ("balancing at work", Life::Hold, 6.0, (20.0, 3.0)),
    ("deep sag under load", Life::Deep, 2.0, (20.0, 3.0)),
    ("cold discharge", Life::Van, 1.0, (-6.0, 2.0)),
    ("slow solar at 3 °C", Life::Van, 2.0, (4.0, 1.0)),
    ("13.5 V float for two months", Life::Float, 61.0, (20.0, 3.0)),
    ("a full bank at rest for two months", Life::Full, 61.0, (20.0, 3.0)),
];

/// Seconds between sets and longest log, days, with how often each is drawn.
pub(super) const PACES: &[(f64, f64)] = &[
    (0.2, 0.7),
    (1.0, 2.5),
    (1.0, 2.5),
    (2.0, 5.0),
    (2.0, 5.0),
    (10.0, 20.0),
    (10.0, 20.0),
    (60.0, 61.0),
    (60.0, 61.0),
];

fn pace(dice: &mut Dice, days: f64) -> (f64, f64) {
    loop {
        let (sample, most) = dice.pick(PACES);
        if most >= days {
            return (sample, dice.from(days.max(0.35 * most), (0.65 * most).max(1.02 * days)));
        }
    }
}

/// A bank while it is drawn.
pub(super) struct Drawing {
    pub(super) dice: Dice,
    pub(super) plan: Plan,
    pub(super) life: Life,
    pub(super) scale: Scale,
    /// Mean and swing of the weather, and by how much days differ, K.
    pub(super) weather: (f64, f64, f64),
    pub(super) soc: f64,
    pub(super) heater: bool,
}

/// Draws bank `number` of a campaign.
pub(crate) fn draw(campaign: u64, number: u64) -> Plan {
    let mut dice = Dice::new(campaign, number);
    let seed = dice.next();
    let sort = match number % 6 {
        0 | 3 => {
            if dice.chance(0.6) {
                Sort::Healthy
            } else {
                Sort::NearMiss
            }
        }
        1 | 4 => Sort::Single,
        2 => Sort::Pair,
        _ => {
            if dice.chance(0.5) {
                Sort::Single
            } else {
                Sort::Pair
            }
        }
    };
    let cells = dice.pick(&[4u8, 4, 4, 8, 16]);
    let packs = if cells == 16 { dice.pick(&[1u8, 1, 2]) } else { dice.pick(&[1u8, 1, 2, 3]) };
    let capacity = (dice.from(50f64.ln(), 400f64.ln()).exp() / 5.0).round() * 5.0;
    let scale =
        Scale { capacity: capacity * f64::from(packs), four: f64::from(cells) / 4.0, volts: (14.2, 13.5), slow: false };
    let plan = Plan {
        seed,
        sort,
        about: String::new(),
        cells,
        packs,
        capacity,
        sample: 1.0,
        days: 1.0,
        steps: (dice.pick(&[0.001, 0.001, 0.001, 0.002, 0.005, 0.010]), dice.pick(&[0.01, 0.05, 0.05, 0.1])),
        noise: (dice.from(0.0003, 0.0015), dice.from(0.01, 0.05)),
        offset: dice.from(-0.08, 0.08),
        cells_told: true,
        loss: 0.0,
        faults: Vec::new(),
        text: String::new(),
    };
    let life = dice.pick(&[Life::Van, Life::Van, Life::Shore, Life::Shore, Life::Deep, Life::Store]);
    let weather = (dice.from(15.0, 26.0), dice.from(1.0, 4.0), 1.0);
    let soc = dice.from(0.5, 0.85);
    let mut drawing = Drawing { dice, plan, life, scale, weather, soc, heater: false };
    match sort {
        Sort::Healthy => drawing.healthy(),
        Sort::NearMiss => drawing.near_miss(),
        Sort::Single => drawing.faulty(1),
        Sort::Pair => drawing.faulty(2),
    }
    drawing.finish()
}

impl Drawing {
    fn healthy(&mut self) {
        let least = if self.life == Life::Store { 12.0 } else { 0.3 };
        (self.plan.sample, self.plan.days) = pace(&mut self.dice, least);
        self.plan.cells_told = self.dice.chance(0.9);
        self.plan.about = format!("healthy, {:?}", self.life).to_lowercase();
    }

    fn near_miss(&mut self) {
        let (name, life, days, weather) = self.dice.pick(NEAR);
        self.life = life;
        self.weather = (weather.0, weather.1, 1.0);
        (self.plan.sample, self.plan.days) = pace(&mut self.dice, days);
        match name {
            "one overnight hold" => self.plan.days = 1.6,
            "a hot afternoon" => self.plan.days = self.plan.days.min(2.5),
            "deep sag under load" => self.plan.days = self.plan.days.min(8.0),
            _ => {}
        }
        if weather.0 < 10.0 {
            self.plan.days = self.plan.days.min(12.0);
        }
        self.plan.about = name.to_owned();
    }

    fn faulty(&mut self, count: usize) {
        let first = self.fault(None);
        self.life = first.kind.life;
        let mut drawn = vec![first];
        for _ in 0..TRIES {
            if drawn.len() >= count {
                break;
            }
            let second = self.fault(Some(first.kind.life));
            if pairs::go_together(&first, &second) {
                drawn.push(second);
            }
        }
        let days = pairs::days_of(&drawn);
        // some faults show only in sets that come often; then it is the shorter log that shows them
        let slowest = drawn.iter().map(|one| one.kind.slowest()).fold(f64::INFINITY, f64::min);
        loop {
            (self.plan.sample, self.plan.days) = pace(&mut self.dice, days);
            if self.plan.sample <= slowest {
                break;
            }
        }
        let alone = drawn.len() == 1;
        for fault in &mut drawn {
            if matches!(fault.kind.needs, Needs::HalfWay | Needs::OnAndOff) {
                fault.from = (0.45 * self.plan.days * 86_400.0 / 60.0).round() * 60.0;
            }
            if let Needs::AtHour(hour) = fault.kind.needs {
                fault.from = (pairs::last_day(self.plan.days, alone) * 24.0 + hour) * 3600.0;
            }
            self.prepare(fault.kind, fault.grade);
        }
        // what is lost over the run is lost before all ends
        let end = drawn.iter().filter(|one| one.kind.ends_all()).map(|one| one.from).reduce(f64::min);
        let hours = end.unwrap_or(self.plan.days * 86_400.0) / 3600.0;
        for fault in drawn.iter_mut().filter(|fault| fault.kind.unit == Unit::OfRun) {
            fault.size /= hours;
        }
        let told: Vec<String> = drawn.iter().map(|one| format!("{} {:.3}", one.kind.name, one.size)).collect();
        self.plan.about = told.join(" and ");
        self.plan.faults = drawn;
    }

    /// Draws a fault that can show in a life.
    fn fault(&mut self, life: Option<Life>) -> Drawn {
        let kinds: Vec<&'static Kind> = KINDS
            .iter()
            .filter(|kind| life.is_none_or(|life| kind.lives(life)))
            .filter(|kind| kind.needs != Needs::Packs || self.plan.packs > 1)
            .filter(|kind| kind.needs != Needs::NoCells || life.is_none())
            // other packs would feed the load through the sensor
            .filter(|kind| kind.name != "bypass" || self.plan.packs == 1)
            .filter(|kind| self.plan.capacity >= kind.least_capacity())
            .collect();
        let kind = self.dice.pick(&kinds);
        let grade = self.dice.pick(&[0, 1, 1, 2, 2]);
        let base = kind.sizes[grade] * self.dice.from(0.95, 1.15);
        let size = match kind.unit {
            _ if matches!(kind.name, "described-cells" | "equalise" | "parallel-gone" | "sensor-in-air")
                || kind.needs == Needs::Weather =>
            {
                kind.sizes[grade]
            }
            // no heater lacks more than all
            _ if kind.name == "heater-weak" => base.min(100.0),
            Unit::Plain => base,
            Unit::OfCapacity => base / 100.0 * self.plan.capacity * if self.dice.chance(0.5) { 1.0 } else { -1.0 },
            Unit::OfRun => base / 100.0 * self.plan.capacity,
            Unit::PerFour => base,
            Unit::MilliohmOf100 => base * 100.0 / self.plan.capacity * f64::from(self.plan.cells) / 4.0,
            Unit::OfOffset => base * (0.5f64).max(self.plan.capacity / 300.0),
            Unit::KelvinDeep => base * (100.0 / (0.18 * self.plan.capacity)).powi(2),
            Unit::BeyondStep => base + 0.5 * self.plan.steps.0,
            Unit::OfPower => base * 1e-3 * self.plan.capacity * 3.3 * f64::from(self.plan.cells),
        };
        let size = if matches!(kind.unit, Unit::PerFour) { size * self.scale.four } else { size };
        let pack = self.dice.pick(&[0, 1, 2]) % self.plan.packs;
        let part = match kind.name {
            name if name.starts_with("sensor") => 1,
            // three cells in a row read wrong
            "leads-swapped" => (self.dice.next() % u64::from(self.plan.cells - 2)) as u8,
            name if name.starts_with("lead") => self.dice.pick(&[0, 1]),
            "absorption-high" | "float-high" | "equalise" | "compensation" | "source-amps" => 0,
            _ => (self.dice.next() % u64::from(self.plan.cells)) as u8,
        };
        let first = kind.needs == Needs::Packs && kind.name == "outer-resistance";
        let pack = if first { 0 } else { pack };
        Drawn { kind, grade, size, pack, part, from: 0.0 }
    }

    /// What a fault needs besides.
    fn prepare(&mut self, kind: &Kind, grade: usize) {
        match kind.needs {
            Needs::Weather => self.weather = (kind.sizes[grade], 2.0, 1.0),
            // days and nights that differ by far; for a voltage that follows the temperature it is the nights
            Needs::Swing => self.weather = (19.0, 12.0, 1.0),
            Needs::Nights => self.weather = (17.0, 2.0, 12.0),
            Needs::Heater => {
                self.weather = (-2.0, 2.0, 1.0);
                self.heater = true;
            }
            Needs::NoCells => self.plan.cells_told = false,
            Needs::Weak => self.scale.volts = (13.25, 13.2),
            // high enough to balance, and not so high that the cell that is not bled ends every charge
            Needs::Imbalance => self.scale.volts = (13.95 - 0.01 * f64::from(self.plan.cells), 13.5),
            _ => {}
        }
        // its siblings must move for one that stands still to be seen
        if kind.name == "sensor-stuck" {
            self.weather.1 = 8.0;
        }
        // at the currents of a large charger the charge ends before the knee tells what it has to
        self.scale.slow |= matches!(kind.name, "out-of-balance" | "equalise" | "bleeder-dead");
    }
}

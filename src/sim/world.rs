//! The whole of a scenario in motion: weather, packs, sources, loads, stepped through time.

use super::bus::{Bars, Branch, Feed, Network};
use super::cell::Pace;
use super::charger::Charger;
use super::day::{air, runs, sun};
use super::pack::Pack;
use super::random::{Random, fate};
use super::scenario::{FaultKind, Kind, Load, Place, Scenario};

/// Labels of what the seed decides: sources and loads are told apart from these on.
const SOURCES: u64 = 100;
const LOADS: u64 = 200;
/// Stream of random numbers for the differences between cells.
const CELLS: u64 = 1;
/// Longest step while something happens, seconds.
const BUSY_STEP: f64 = 2.0;
/// Loads go off below this voltage of the bus, and come back when it has been above the other for a minute.
const LOADS_OFF: f64 = 8.0;
const LOADS_BACK: (f64, f64) = (11.0, 60.0);
/// Share of the capacity that may pass in a longer step.
const QUIET_SHARE: f64 = 2e-4;

/// The bank and what is around it.
#[derive(Debug, Clone)]
pub(super) struct World {
    scenario: Scenario,
    seed: u64,
    /// Seconds since the start.
    pub(super) secs: f64,
    /// The packs.
    pub(super) packs: Vec<Pack>,
    /// The sources.
    pub(super) chargers: Vec<Charger>,
    /// Voltage of the bus.
    pub(super) bus: f64,
    /// Current of the loads, A.
    pub(super) load: f64,
    /// Air around the bank, °C.
    pub(super) air: f64,
    /// Loads have gone off for want of voltage; seconds for which there has been enough again.
    dark: Option<f64>,
    /// How much of each fault has come.
    suffering: Vec<f64>,
    /// What is wrong around the packs.
    wrong: Wrong,
    network: Network,
    branches: Vec<Branch>,
    amps: Vec<f64>,
    pace: Pace,
}

/// What is wrong around the packs.
#[derive(Debug, Clone, Copy, Default)]
struct Wrong {
    /// Air warmer by this much, K.
    air: f64,
    /// More is drawn all the time, W.
    standby: f64,
}

impl World {
    /// The world at the start of a scenario.
    pub(super) fn new(scenario: &Scenario, seed: u64) -> Self {
        let mut random = Random::new(seed, CELLS);
        let air = air(&scenario.weather, seed, 0.0);
        let packs: Vec<Pack> = scenario.packs.iter().map(|spec| Pack::new(spec, air, &mut random)).collect();
        let bus = packs.first().map_or(0.0, Pack::own_volts);
        Self {
            seed,
            secs: 0.0,
            chargers: scenario.sources.iter().map(Charger::new).collect(),
            bus,
            load: 0.0,
            air,
            dark: None,
            suffering: vec![0.0; scenario.faults.len()],
            wrong: Wrong::default(),
            network: Network::default(),
            branches: Vec::new(),
            amps: vec![0.0; packs.len()],
            pace: Pace::of(BUSY_STEP),
            packs,
            scenario: scenario.clone(),
        }
    }

    /// Goes on to a moment, in steps as short as what happens asks for.
    pub(super) fn go_to(&mut self, secs: f64) {
        while secs - self.secs > 1e-6 {
            let left = secs - self.secs;
            let most = self.longest_step();
            let steps = (left / most).ceil().max(1.0);
            self.step(left / steps);
        }
    }

    /// The longest step that is fine now.
    fn longest_step(&self) -> f64 {
        let of_pack = |pack: &Pack| {
            let quiet = QUIET_SHARE * 3600.0 * pack.spec.capacity / pack.amps.abs().max(1e-6);
            if pack.is_near_a_limit() { BUSY_STEP } else { quiet.max(BUSY_STEP) }
        };
        self.packs.iter().map(of_pack).fold(f64::INFINITY, f64::min)
    }

    fn step(&mut self, secs: f64) {
        if (secs - self.pace.secs).abs() > 1e-9 {
            self.pace = Pace::of(secs);
        }
        self.look_at_the_faults();
        self.air = air(&self.scenario.weather, self.seed, self.secs) + self.wrong.air;
        self.look_at_the_clock();
        self.branches.clear();
        for pack in &self.packs {
            self.branches.push(Branch { line: pack.line(&self.pace), paths: pack.paths() });
        }
        let joint = &self.scenario.joint;
        let bars = Bars { link: joint.link_milliohm * 1e-3, diagonal: joint.diagonal };
        let feed = Feed { chargers: &self.chargers, load: self.load, guess: self.bus };
        self.bus = self.network.settle(&self.branches, bars, feed, &mut self.amps);
        for (pack, &amps) in self.packs.iter_mut().zip(&self.amps) {
            pack.step(amps, &self.pace, self.air);
        }
        let into_bank: f64 = self.amps.iter().sum();
        for charger in &mut self.chargers {
            charger.step(self.bus, into_bank, secs);
        }
        self.look_at_the_bus(secs);
        self.secs += secs;
    }

    /// What sources offer and loads draw from now on.
    fn look_at_the_clock(&mut self) {
        let sun = sun(&self.scenario.weather, self.seed, self.secs);
        for (index, charger) in self.chargers.iter_mut().enumerate() {
            let on = runs(&charger.spec.on, self.seed, SOURCES + index as u64, self.secs);
            let share = if charger.spec.kind == Kind::Solar { sun } else { 1.0 };
            let offer = if on { charger.spec.amps * share } else { 0.0 };
            charger.offers(offer);
            charger.feel(self.air);
        }
        let loads = self.scenario.loads.iter().enumerate();
        let watts: f64 = loads.map(|(index, load)| power(load, self.seed, LOADS + index as u64, self.secs)).sum();
        let heaters: f64 = self.packs.iter().map(Pack::heater_watts).sum();
        let per_watt = if self.dark.is_some() { 0.0 } else { 1.0 / self.bus.max(LOADS_OFF * self.scale()) };
        self.load = (watts + self.wrong.standby + heaters) * per_watt;
        self.packs.iter_mut().for_each(|pack| pack.unseen = pack.unseen_watts * per_watt);
    }

    /// Faults of the bank itself begin, grow and end.
    fn look_at_the_faults(&mut self) {
        for (fault, so_far) in self.scenario.faults.iter().zip(&mut self.suffering) {
            let share = fault.share(self.secs / 60.0);
            let more = share - *so_far;
            if more == 0.0 {
                continue;
            }
            *so_far = share;
            let pack = self.packs.get_mut(usize::from(fault.pack).saturating_sub(1));
            match fault.kind.place() {
                Place::Pack => pack.into_iter().for_each(|pack| pack.suffer(fault, more)),
                Place::Source => {
                    self.chargers.get_mut(fault.index()).into_iter().for_each(|one| one.suffer(fault, more));
                }
                Place::World => match fault.kind {
                    FaultKind::Air => self.wrong.air += more * fault.size,
                    FaultKind::Standby => self.wrong.standby += more * fault.size,
                    FaultKind::Link => self.scenario.joint.link_milliohm += more * fault.size,
                    _ => {
                        self.wrong.standby += more * fault.size;
                        pack.into_iter().for_each(|pack| pack.unseen_watts += more * fault.size);
                    }
                },
                Place::Meter | Place::Wire => {}
            }
        }
    }

    /// What voltages of a bank of four cells are to be multiplied by.
    fn scale(&self) -> f64 {
        self.packs.first().map_or(1.0, |pack| f64::from(pack.spec.cells) / 4.0)
    }

    /// Whether loads have gone off, by the voltage after a step.
    fn look_at_the_bus(&mut self, secs: f64) {
        let scale = self.scale();
        self.dark = match self.dark {
            None => (self.bus < LOADS_OFF * scale).then_some(0.0),
            Some(_) if self.bus < LOADS_BACK.0 * scale => Some(0.0),
            Some(fine) if fine + secs < LOADS_BACK.1 => Some(fine + secs),
            Some(_) => None,
        };
    }
}

/// Power of a load now, W.
fn power(load: &Load, seed: u64, what: u64, secs: f64) -> f64 {
    let on = load.watts != 0.0 && runs(&load.on, seed, what, secs);
    if !on {
        return 0.0;
    }
    if load.cycle_minutes <= 0.0 {
        return load.watts;
    }
    let cycles = secs / 60.0 / load.cycle_minutes + fate(seed, what, -1);
    if cycles.fract() < load.duty { load.watts } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::SourceState;
    use crate::sim::library::parse;

    /// 100 Ah on a charger of 30 A from midnight to eight o'clock, with a standby draw of 3 W.
    fn charged(float: &str) -> World {
        let text = format!(
            r#"
            about = ""
            start = "2026-01-01T00:00:00Z"
            days = 3
            sample = 10
            weather = {{ mean = 20, swing = 0 }}
            load = [{{ watts = 3 }}]
            [[pack]]
            capacity = 100
            soc = 0.6
            loss = 1.5
            sensors = []
            label = {{ charge = 50, discharge = 100, weakest = 100, absorption = 14.4, float = 13.8 }}
            [[source]]
            kind = "shore"
            amps = 30
            absorption = 14.4
            tail = 4
            on = [{{ from = 0, to = 8, days = [0] }}]
            {float}
            "#
        );
        World::new(&parse(&text).unwrap(), 1)
    }

    #[test]
    fn a_charger_goes_through_its_states_and_off_at_its_hour() {
        let mut world = charged("float = 13.5");
        let mut seen = Vec::new();
        for minute in 0..600 {
            world.go_to(f64::from(minute) * 60.0 + 1.0);
            let state = world.chargers[0].state;
            if seen.last() != Some(&state) {
                seen.push(state);
            }
            if state == SourceState::Bulk {
                assert!((world.chargers[0].amps - 30.0).abs() < 1e-9);
            }
        }
        assert_eq!(seen, [SourceState::Bulk, SourceState::Absorption, SourceState::Float, SourceState::Off]);
        let soc = world.packs[0].cells[0].soc();
        assert!((0.96..1.0).contains(&soc), "{soc}");
    }

    /// Common practice, no source: after a full charge four cells fall to about 13.6 V, about 13.4 V, then rest near 13.3 V.
    #[test]
    fn a_full_bank_falls_back_when_the_charger_goes_off() {
        let mut world = charged("");
        let mut hour = 0.0;
        while world.chargers[0].state != SourceState::Off || hour < 0.1 {
            hour += 1.0 / 60.0;
            world.go_to(hour * 3600.0);
        }
        let mut after = |hours: f64| {
            world.go_to((hour + hours) * 3600.0);
            world.bus
        };
        let volts = [after(0.2), after(1.0), after(12.0), after(40.0)];
        assert!((13.5..13.9).contains(&volts[0]) && (13.4..13.7).contains(&volts[1]), "{volts:?}");
        assert!((13.28..13.45).contains(&volts[2]) && (13.25..13.40).contains(&volts[3]), "{volts:?}");
    }
}

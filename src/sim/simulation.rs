//! A scenario that runs: from the physical model to stamped frames, set by set.

use super::emit::{Due, Emitter};
use super::meter::{Measured, Spoiling, spoil_amps, to_step};
use super::random::Random;
use super::scenario::{FaultKind, Place, Scenario};
use super::world::World;
use super::{cases, library, scenarios, truth};
use crate::model::{Body, Input, Stamp};

/// Stream of random numbers for noise, and for frames that are lost.
const NOISE: u64 = 2;
const LOSS: u64 = 3;
/// Hello and limits come at least this often, seconds, or with each set.
const HELLO_SECS: f64 = 5.0;
/// When sets are sparse, descriptions come this often, seconds.
const DESCRIBE_SECS: f64 = 600.0;
/// Cells that are read at one moment, where they are read earlier than the current.
const FOUR: usize = 4;
/// Between two frames of a set, seconds: what a frame takes at 250 kbit/s.
const FRAME_SECS: f64 = 0.6e-3;

/// How to run a scenario.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Options {
    /// Decides weather, differences between cells, and noise.
    pub seed: u64,
    /// Days, more than 0 and at most 3660; the scenario's own unless given.
    pub days: Option<f64>,
    /// Seconds between sets of frames, 0.1 to 3600; the scenario's own unless given.
    pub sample: Option<f64>,
}

/// Why a scenario cannot be run.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SimError {
    /// There is no such scenario.
    #[error("no scenario is called '{name}'; there are {known}")]
    Unknown {
        /// What was asked for.
        name: String,
        /// Names of those that there are.
        known: String,
    },
    /// A number that makes no sense.
    #[error("{what} = {found}: expected {expected}")]
    Option {
        /// Which option.
        what: &'static str,
        /// What was given.
        found: f64,
        /// What it can be.
        expected: &'static str,
    },
    /// The scenario's text is broken.
    #[error("scenario '{name}': {why}")]
    Broken {
        /// Scenario.
        name: String,
        /// What is wrong.
        why: String,
    },
}

/// A scenario that runs: an iterator over everything that its bus says, ending with the closing stamp.
#[derive(Debug, Clone)]
pub struct Simulation {
    scenario: Scenario,
    world: World,
    start: Stamp,
    end: f64,
    sample: f64,
    set: u64,
    emitter: Emitter,
    /// Next frame of the set, its moment, and the seconds to the one after it.
    next: usize,
    moment: f64,
    gap: f64,
    measured: Vec<(Measured, Measured)>,
    /// Cell voltages at the moment at which they were read.
    volts: Vec<Vec<f64>>,
    noise: Random,
    loss: Random,
    closed: bool,
}

impl Simulation {
    /// A scenario at its start.
    ///
    /// # Errors
    /// [`SimError`] when there is no such scenario or an option makes no sense.
    pub fn new(name: &str, options: Options) -> Result<Self, SimError> {
        let known = || scenarios().iter().chain(cases()).map(|info| info.name).collect::<Vec<_>>().join(", ");
        let unknown = || SimError::Unknown { name: crate::model::clean(name, 60), known: known() };
        let broken = |why: String| SimError::Broken { name: name.to_owned(), why };
        let scenario = library::find(name).ok_or_else(unknown)?.map_err(|error| broken(error.to_string()))?;
        Self::begun(name, scenario, options)
    }

    fn begun(name: &str, scenario: Scenario, options: Options) -> Result<Self, SimError> {
        let broken = |why: String| SimError::Broken { name: name.to_owned(), why };
        let start: jiff::Timestamp = scenario.start.parse().map_err(|error| broken(format!("start: {error}")))?;
        Self::of(scenario, Stamp::from_secs(start.as_second()), options)
    }

    /// A scenario of one's own from its text (TOML; the files of `src/sim/scenario/` show the form) at its start.
    ///
    /// # Errors
    /// [`SimError`] when the text is no scenario or an option makes no sense.
    pub fn from_text(text: &str, options: Options) -> Result<Self, SimError> {
        const NAME: &str = "of one's own";
        let broken = |why: String| SimError::Broken { name: NAME.to_owned(), why };
        let scenario = library::parse(text).map_err(|error| broken(error.to_string()))?;
        Self::begun(NAME, scenario, options)
    }

    fn of(scenario: Scenario, start: Stamp, options: Options) -> Result<Self, SimError> {
        let days = options.days.unwrap_or(scenario.days);
        if !(days > 0.0 && days <= 3660.0) {
            return Err(SimError::Option { what: "days", found: days, expected: "more than 0 and at most 3660" });
        }
        let sample = options.sample.unwrap_or(scenario.sample);
        if !(0.1..=3600.0).contains(&sample) {
            return Err(SimError::Option { what: "sample", found: sample, expected: "0.1 to 3600 s" });
        }
        let world = World::new(&scenario, options.seed);
        Ok(Self {
            start,
            end: days * 86_400.0,
            sample,
            set: 0,
            emitter: Emitter::new(),
            next: 0,
            moment: 0.0,
            gap: FRAME_SECS,
            measured: world.packs.iter().map(|_| <(Measured, Measured)>::default()).collect(),
            volts: vec![Vec::new(); world.packs.len()],
            noise: Random::new(options.seed, NOISE),
            loss: Random::new(options.seed, LOSS),
            closed: false,
            world,
            scenario,
        })
    }

    /// Moment of the first set.
    #[must_use]
    pub fn start(&self) -> Stamp {
        self.start
    }

    /// Seconds from the start to the last set.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.world.secs
    }

    /// What is really so at the moment of the last set, for tests.
    #[must_use]
    pub fn truth(&self) -> truth::Truth {
        truth::of(&self.world)
    }

    /// Goes on to the next set and makes its frames. False when the scenario is over.
    fn next_set(&mut self) -> bool {
        let secs = self.set as f64 * self.sample;
        if secs >= self.end {
            return false;
        }
        self.read_cells(secs);
        self.emitter.frames.clear();
        let due = self.due(secs);
        self.measure(secs / 60.0);
        for ((sender, pack), (seen, _)) in (0..).zip(&self.world.packs).zip(&self.measured) {
            self.emitter.pack(sender, pack, seen, &due);
        }
        let shunt = self.scenario.joint.shunt.then(|| self.shunt(secs / 60.0));
        self.emitter.bank(self.world.packs.len(), &self.world.chargers, shunt, &due);
        self.lose(secs / 60.0);
        self.next = 0;
        self.moment = due.uptime;
        self.gap = FRAME_SECS.min(0.8 * self.sample / self.emitter.frames.len().max(1) as f64);
        self.set += 1;
        true
    }

    fn due(&mut self, secs: f64) -> Due {
        let every = |period: f64| self.set.is_multiple_of((period / self.sample).round().max(1.0) as u64);
        let describe = if self.sample > HELLO_SECS { DESCRIBE_SECS } else { HELLO_SECS };
        let (hello, describe, beat) = (every(HELLO_SECS), every(describe), every(1.0));
        // a computer is late by up to a millisecond or two
        let late = 1e-3 * (1.0 + self.noise.even()).min(0.05 * self.sample * 1e3);
        Due { hello, describe, beat, uptime: secs + late }
    }

    /// Goes on to the moment of a set. Cells may be read earlier than the current, four by four.
    fn read_cells(&mut self, secs: f64) {
        self.volts.iter_mut().for_each(Vec::clear);
        let before = self.world.packs.iter().map(|pack| pack.spec.meter.cells_earlier).fold(0.0, f64::max);
        let most = self.world.packs.iter().map(|pack| pack.volts.len()).max().unwrap_or(0);
        for first in (0..most).step_by(FOUR).filter(|_| before > 0.0) {
            self.world.go_to(secs - before.min(self.sample) * (1.0 - first as f64 / most as f64));
            self.note_cells(FOUR);
        }
        self.world.go_to(secs);
        self.note_cells(most);
    }

    /// Reads so many cells more of each pack.
    fn note_cells(&mut self, count: usize) {
        for (read, pack) in self.volts.iter_mut().zip(&self.world.packs) {
            let from = read.len();
            read.extend(pack.volts.iter().skip(from).take(count));
        }
    }

    fn measure(&mut self, minute: f64) {
        let world = &self.world;
        for (index, (pack, (seen, before))) in world.packs.iter().zip(&mut self.measured).enumerate() {
            std::mem::swap(seen, before);
            let volts = self.volts.get(index).map_or(&pack.volts[..], Vec::as_slice);
            seen.take(pack, volts, world.bus, &mut self.noise);
            let of_pack = self.scenario.faults.iter().filter(|fault| usize::from(fault.pack) == index + 1);
            let at = Spoiling { pack, before, air: world.air, minute };
            of_pack
                .filter(|fault| fault.kind.place() == Place::Meter && fault.lasts(minute))
                .for_each(|fault| seen.spoil(fault, &at));
        }
    }

    /// What one shunt for all packs reads; it is as good, and as bad, as that of the first pack.
    fn shunt(&mut self, minute: f64) -> (f64, f64) {
        let amps: f64 = self.world.packs.iter().map(|pack| pack.amps + pack.unseen).sum();
        let Some(meter) = self.world.packs.first().map(|pack| &pack.spec.meter) else { return (amps, self.world.bus) };
        let read = amps * meter.current_gain + meter.current_offset + meter.current_noise * self.noise.bell();
        let lasting = self.scenario.faults.iter().filter(|fault| fault.pack == 1 && fault.lasts(minute));
        let read = lasting.fold(to_step(read, meter.current_step), |amps, fault| spoil_amps(fault, amps));
        (read, to_step(self.world.bus, meter.pack_step))
    }

    fn lose(&mut self, minute: f64) {
        let losses = self.scenario.faults.iter().filter(|fault| fault.kind == FaultKind::FramesLost);
        for fault in losses.filter(|fault| fault.lasts(minute)) {
            let (loss, share) = (&mut self.loss, 1.0 / fault.size.max(1.0));
            self.emitter.frames.retain(|_| 0.5 * (loss.even() + 1.0) >= share);
        }
    }
}

impl Iterator for Simulation {
    type Item = Input;

    fn next(&mut self) -> Option<Input> {
        loop {
            if let Some(frame) = self.emitter.frames.get(self.next) {
                let stamp = self.start.plus_nanos((self.moment * 1e9) as i64);
                self.next += 1;
                self.moment += self.gap;
                return Some(Input { stamp, body: Body::Frame(*frame) });
            }
            if self.closed {
                return None;
            }
            if !self.next_set() {
                self.closed = true;
                let stamp = self.start.plus_nanos((self.end * 1e9) as i64);
                return Some(Input { stamp, body: Body::Closing });
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::layout::own;
    use crate::model::{Quantity as Q, Value};

    const THREE_PACKS: &str = r#"
        about = "three packs"
        start = "2026-01-01T00:00:00Z"
        days = 0.02
        sample = 2.0
        weather = { mean = 20, swing = 0 }
        joint = { link_milliohm = 0.3, diagonal = true, shunt = true }
        load = [{ watts = 2000 }]
    "#;
    const PACK: &str = r#"
        [[pack]]
        cells = 16
        capacity = 100
        soc = 0.7
        loss = 2
        sensors = [{ role = "cell", cell = 1 }]
        label = { charge = 50, discharge = 100, weakest = 100, absorption = 57.6, float = 54 }
    "#;

    fn run(faults: &str) -> Simulation {
        let text = [THREE_PACKS, PACK, PACK, PACK, faults].concat();
        let scenario = library::parse(&text).unwrap();
        Simulation::of(scenario, Stamp::default(), Options::default()).unwrap()
    }

    /// The last number of each quantity of each sender.
    fn last(simulation: Simulation, quantity: Q) -> Vec<f64> {
        let map = own::compile();
        let mut numbers = std::collections::BTreeMap::new();
        for input in simulation {
            let Body::Frame(frame) = input.body else { continue };
            map.read(map.find(frame.id).unwrap_or(usize::MAX), &frame, |slot, value| {
                if let (true, Value::Present(number)) = (slot.quantity == quantity, value) {
                    numbers.insert((slot.pack, slot.index), number);
                }
            });
        }
        numbers.into_values().collect()
    }

    #[test]
    fn packs_in_parallel_each_speak_for_themselves_and_their_currents_add_up() {
        let amps = last(run(""), Q::Current);
        let bank = last(run(""), Q::BankCurrent);
        assert_eq!((amps.len(), bank.len()), (3, 1));
        assert!((amps.iter().sum::<f64>() - bank[0]).abs() < 0.4, "{amps:?} {bank:?}");
        assert!((bank[0] + 2000.0 / 52.5).abs() < 1.0, "{bank:?}");
        assert!(amps.iter().all(|amps| *amps < -10.0));
        assert_eq!(last(run(""), Q::CellVoltage).len(), 48);
    }

    #[test]
    fn a_pack_that_is_switched_off_leaves_its_share_to_the_others() {
        let amps = last(run("[[fault]]\nkind = \"pack-off\"\npack = 2\nfrom_minute = 10\n"), Q::Current);
        assert!(amps[1].abs() < 0.15 && amps[0] < -17.0 && amps[2] < -17.0, "{amps:?}");
    }

    #[test]
    fn a_connection_that_goes_bad_shows_in_its_cell_alone_and_only_while_it_is_bad() {
        let fault = |to: f64| {
            format!("[[fault]]\nkind = \"connection\"\npart = 3\nsize = 2.0\nfrom_minute = 10\nto_minute = {to}\n")
        };
        let lower = |to: f64| {
            let volts = last(run(&fault(to)), Q::CellVoltage);
            volts[0] - volts[2]
        };
        assert!((lower(90.0) - 12.6 * 2e-3).abs() < 0.006, "{}", lower(90.0));
        assert!(lower(20.0).abs() < 0.006);
    }

    #[test]
    fn a_silent_pack_sends_nothing_and_lost_frames_leave_holes_in_the_count() {
        let frames = |faults: &str| run(faults).filter(|input| matches!(input.body, Body::Frame(_))).count();
        let all = frames("");
        let silent = frames("[[fault]]\nkind = \"pack-silent\"\npack = 1\nfrom_minute = 0\n");
        assert!(silent * 10 > all * 6 && silent * 10 < all * 8, "{silent} of {all}");
        let lossy = frames("[[fault]]\nkind = \"frames-lost\"\nsize = 50\nfrom_minute = 0\n");
        let share = 1.0 - lossy as f64 / all as f64;
        assert!((0.015..0.025).contains(&share), "{share}");
    }
}

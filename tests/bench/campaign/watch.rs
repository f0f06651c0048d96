//! What really happens to a bank, from the simulator's truth alone: exposures with their holds, and tallies.
//!
//! Each exposure is watched twice: clearly beyond its limit (it must be found), and near it (it may be found).

use super::cold::{plating, sheet};
use super::draw::Plan;
use super::evidence::Evidence;
use super::sharing::Sharing;
use cellwright::model::finding::Severity::{self, Notice, Urgent, Warning};
use cellwright::sim::{CellTruth, PackTruth, Truth};

/// A condition that must hold without a break.
#[derive(Debug, Clone, Copy, Default)]
struct Hold {
    since: Option<f64>,
    /// Moment from which it had held for long enough, seconds.
    done: Option<f64>,
}

/// What an exposure asks of a finding.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Line {
    pub(crate) code: &'static str,
    pub(crate) severity: Severity,
    /// It must be found; else it only may.
    pub(crate) must: bool,
    hold: Hold,
}

impl Line {
    /// Moment from which it must (or may) be found.
    pub(crate) fn from(&self) -> Option<f64> {
        self.hold.done
    }
}

/// A pack and what has happened to it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Watch {
    lines: Vec<Line>,
    cursor: usize,
    /// Seconds of the last look.
    at: f64,
    /// Furthest that the cells ever stood apart at the top, % of the capacity.
    pub(crate) apart: f64,
    /// Hours held at 3.55 V a cell and more, clearly and nearly; at 3.475 to 3.55.
    pub(crate) held: [f64; 3],
    /// Hours hotter than 38 °C.
    pub(crate) hot: f64,
    /// Moments at which all cells stood in the upper knee while charging slowly: one a rise. And at the bottom.
    pub(crate) tops: Vec<f64>,
    pub(crate) bottoms: Vec<f64>,
    /// Lowest and highest temperature of the coldest cell at those of the top, °C.
    pub(crate) top_celsius: (f64, f64),
    /// Those of them at which the current was still that at which the first cell had come.
    pub(crate) clean_tops: u32,
    first_rate: f64,
    in_first: bool,
    in_knee: bool,
    at_bottom: bool,
    /// Steps of the current on the plateau: sum of their squares (A²), count of those that are large, largest.
    pub(crate) squares: f64,
    pub(crate) steps: u32,
    last_amps: f64,
    /// 10-min RMS, largest, A.
    pub(crate) rms: f64,
    square: f64,
    /// Lowest and highest state of charge, largest and smallest current while 0.15..0.9.
    pub(crate) soc: (f64, f64),
    pub(crate) amps: (f64, f64),
    /// Seconds on the plateau below 0.08C without a break, longest.
    pub(crate) quiet: f64,
    quiet_for: f64,
    /// Hours with the heater on.
    pub(crate) heated: f64,
    /// How often balancing of some cells and not of others began.
    pub(crate) bleeds: u32,
    bleeding: bool,
    /// Largest change of a cell's voltage that a load the sensor does not see made a minute after any that it saw, V, and
    /// how many.
    pub(crate) hidden: (f64, u32),
    last_unseen: f64,
    /// What its sensor saw last, A, and when that last changed, s.
    last_seen: (f64, f64),
    /// Seconds during which some cells were bled and others not.
    pub(crate) bled: f64,
    /// Days since it was last full, largest; throughput since, in cycles; and by the mild word of full.
    full_at: [f64; 2],
    full_through: [f64; 2],
    /// Path opened while a current flowed that the sensor sees, and at all.
    closed: bool,
    last_current: f64,
    /// Which pack, from 0.
    pack: u8,
    sharing: Sharing,
    /// What single conditions ask for.
    pub(crate) evidence: Evidence,
}

pub(super) fn low(cells: &[CellTruth], get: impl Fn(&CellTruth) -> f64) -> f64 {
    cells.iter().map(get).fold(f64::INFINITY, f64::min)
}

pub(super) fn high(cells: &[CellTruth], get: impl Fn(&CellTruth) -> f64) -> f64 {
    cells.iter().map(get).fold(f64::NEG_INFINITY, f64::max)
}

impl Watch {
    /// A pack at the start.
    pub(crate) fn new(pack: u8) -> Self {
        Self { pack, closed: true, soc: (9.0, -9.0), amps: (1e9, -1e9), top_celsius: (1e9, -1e9), ..Self::default() }
    }

    /// One exposure, at its place in the order of all.
    fn line(&mut self, code: &'static str, severity: Severity, must: bool, (holds, secs): (bool, f64)) {
        let at = self.at;
        if self.cursor == self.lines.len() {
            self.lines.push(Line { code, severity, must, hold: Hold::default() });
        }
        let hold = &mut self.lines[self.cursor].hold;
        self.cursor += 1;
        if holds {
            let since = *hold.since.get_or_insert(at);
            if at - since >= secs {
                hold.done.get_or_insert(at);
            }
        } else {
            hold.since = None;
        }
    }

    /// A limit for one number: clearly above for `secs` must, nearly above at any moment may.
    fn above(
        &mut self,
        code: &'static str,
        severity: Severity,
        (number, near): (f64, f64),
        (limit, margin, secs): (f64, f64, f64),
    ) {
        self.line(code, severity, true, (number > limit + margin, secs));
        self.line(code, severity, false, (near > limit - margin, 0.0));
    }

    /// Furthest that its share lay off that of its capacity, points.
    pub(crate) fn off_share(&self) -> f64 {
        self.sharing.most
    }

    /// Every exposure.
    pub(crate) fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// What the run gave of what the rule asks for, in words.
    pub(crate) fn told(&self) -> String {
        format!(
            "{} tops ({} clean), {} bottoms, {} steps, {:.1} A rms, SOC {:.2} to {:.2}, {:.1} h bled, {:.1} h quiet, {:.0} min lag, \
             {:.1} to {:.1} °C at the top, {}",
            self.tops.len(),
            self.clean_tops,
            self.bottoms.len(),
            self.steps,
            self.rms,
            self.soc.0,
            self.soc.1,
            self.bled / 3600.0,
            self.quiet / 3600.0,
            self.evidence.lag_secs() / 60.0,
            self.top_celsius.0,
            self.top_celsius.1,
            self.evidence.told()
        )
    }

    /// Looks at a pack.
    pub(crate) fn look(&mut self, truth: &Truth, pack: &PackTruth, plan: &Plan) {
        let secs = truth.secs - self.at;
        self.at = truth.secs;
        self.cursor = 0;
        if secs <= 0.0 && self.at > 0.0 {
            return;
        }
        let missing = |cell: &CellTruth| cell.capacity - cell.charge;
        let apart = high(&pack.cells, missing) - low(&pack.cells, missing);
        self.apart = self.apart.max(100.0 * apart / pack.rated);
        self.tally(pack, plan, secs);
        self.sharing.look(truth, pack, secs);
        self.heat_and_cold(pack, plan);
        self.volts(pack);
        self.paths(pack, truth);
        self.fullness(pack, secs);
        self.knees(pack);
        self.last_amps = pack.amps;
    }

    fn tally(&mut self, pack: &PackTruth, plan: &Plan, secs: f64) {
        let (rate, cells) = (pack.amps / pack.rated, &pack.cells);
        let mean = cells.iter().map(|cell| cell.volts).sum::<f64>() / cells.len() as f64;
        let hours = secs / 3600.0;
        if rate.abs() < 0.045 && mean > 3.56 {
            self.held[0] += hours;
        }
        if rate.abs() < 0.06 && mean > 3.53 {
            self.held[1] += hours;
        }
        if rate.abs() < 0.06 && mean > 3.465 {
            self.held[2] += hours;
        }
        if high(cells, |cell| cell.celsius) > 38.0 {
            self.hot += hours;
        }
        let keep = (-secs / 600.0).exp();
        self.square = self.square * keep + (1.0 - keep) * pack.amps * pack.amps;
        self.rms = self.rms.max(self.square.sqrt());
        let soc = low(cells, |cell| cell.soc);
        self.soc = (self.soc.0.min(soc), self.soc.1.max(soc));
        if (0.15..0.9).contains(&soc) {
            self.amps = (self.amps.0.min(pack.amps), self.amps.1.max(pack.amps));
        }
        let step = (pack.amps - self.last_amps).abs();
        let large =
            step > 0.05 * pack.rated && high(cells, |cell| cell.volts) < 3.38 && low(cells, |cell| cell.soc) > 0.1;
        if large {
            self.steps += 1;
            self.squares += step * step;
        }
        self.evidence.look(pack, secs);
        self.evidence.look_after(pack, plan, (self.at, self.pack), large.then_some(step));
        let quiet = rate.abs() < 0.08 && (0.2..0.9).contains(&soc);
        self.quiet_for = if quiet { self.quiet_for + secs } else { 0.0 };
        self.quiet = self.quiet.max(self.quiet_for);
        let bleeding = high(cells, |cell| cell.bleed) > low(cells, |cell| cell.bleed) + 1e-6;
        if bleeding {
            self.bled += secs;
        }
        self.bleeds += u32::from(bleeding && !self.bleeding);
        self.bleeding = bleeding;
        self.heated += if pack.heating { hours } else { 0.0 };
        // what its sensor sees changes too where other packs take a part of the load
        let seen = pack.amps + pack.unseen;
        let moved = (seen - self.last_seen.0).abs() > 0.01 * pack.rated;
        let hidden = (pack.unseen - self.last_unseen).abs() * low(cells, |cell| cell.ohms);
        let flat = high(cells, |cell| cell.volts) < 3.38 && low(cells, |cell| cell.volts) > 3.2;
        if hidden > 0.001 && flat && !moved && self.at - self.last_seen.1 > 70.0 {
            self.hidden = (self.hidden.0.max(hidden), self.hidden.1 + 1);
        }
        self.last_seen = (seen, if moved { self.at } else { self.last_seen.1 });
        self.last_unseen = pack.unseen;
    }

    fn heat_and_cold(&mut self, pack: &PackTruth, plan: &Plan) {
        let rate = pack.amps / pack.rated;
        let felt = |which: fn(f64, f64) -> f64, start: f64| pack.felt.iter().copied().fold(start, which);
        let (cold, hot) = (felt(f64::min, 99.0), felt(f64::max, -99.0));
        let (cold, coldest) = (cold + 1.0, low(&pack.cells, |cell| cell.celsius).min(cold) - 3.0);
        let hottest = high(&pack.cells, |cell| cell.celsius).max(hot);
        let (sure, near) = (0.96 * rate - 0.3 / pack.rated, 1.05 * rate + (0.3 + plan.offset.abs()) / pack.rated);
        let charging = sure > 0.03 && !pack.heating && pack.charge;
        let maybe = near > 0.01;
        self.line("cold-charge", Notice, true, (charging && cold < 15.0 && sure > sheet(cold), 1200.0));
        self.line("cold-charge", Notice, false, (maybe && coldest < 15.0 && near > sheet(coldest), 300.0));
        self.line("cold-charge", Warning, true, (charging && cold < 15.0 && sure > plating(cold), 300.0));
        self.line("cold-charge", Warning, false, (maybe && coldest < 15.0 && near > plating(coldest), 20.0));
        self.line("cold-charge", Urgent, true, (charging && cold < 15.0 && sure > 2.0 * plating(cold), 240.0));
        self.line("cold-charge", Urgent, false, (maybe && coldest < 15.0 && near > 2.0 * plating(coldest), 0.0));
        let charging = |number: f64, on: bool| if on { number } else { -99.0 };
        let pair = (charging(hot, sure > 0.03), charging(hottest, near > 0.0));
        self.above("overtemperature", Notice, pair, (45.0, 1.0, 600.0));
        self.above("overtemperature", Warning, pair, (50.0, 1.0, 600.0));
        self.above("overtemperature", Urgent, pair, (55.0, 1.0, 600.0));
        self.above("overtemperature", Warning, (hot, hottest), (55.0, 1.0, 600.0));
        self.above("overtemperature", Urgent, (hot, hottest), (60.0, 1.0, 600.0));
        let limit = if rate > 0.0 { sheet(hot.max(15.0)).min(0.5) } else { 1.0 };
        let ratio = |rate: f64| rate.abs() / limit.max(0.01);
        self.line("over-current", Warning, true, (ratio(rate) > 1.10 && hot > 16.0, 240.0));
        self.line("over-current", Warning, false, (ratio(near.max(rate.abs())) > 0.93, 0.0));
        self.line("over-current", Urgent, false, (ratio(near.max(rate.abs())) > 1.9, 0.0));
    }

    fn volts(&mut self, pack: &PackTruth) {
        let cells = &pack.cells;
        let mean = cells.iter().map(|cell| cell.volts).sum::<f64>() / cells.len() as f64;
        let top = high(cells, |cell| cell.volts);
        self.above("cell-overvoltage", Notice, (top, top), (3.70, 0.015, 300.0));
        self.above("cell-overvoltage", Notice, (mean, mean), (3.66, 0.012, 300.0));
        self.above("cell-overvoltage", Warning, (top, top), (3.80, 0.015, 120.0));
        self.above("cell-overvoltage", Urgent, (top, top), (3.90, 0.015, 120.0));
        let sag = -pack.amps.min(0.0);
        let bare = -low(cells, |cell| cell.volts + sag * cell.ohms * 2.5);
        let near = -low(cells, |cell| cell.volts);
        self.above("cell-undervoltage", Notice, (bare, near), (-2.80, 0.03, 240.0));
        self.above("cell-undervoltage", Warning, (bare, near), (-2.50, 0.03, 240.0));
        self.above("cell-undervoltage", Urgent, (bare, near), (-2.00, 0.03, 240.0));
        let rest = pack.amps.abs() < 0.008 * pack.rated;
        let lowest = low(cells, |cell| cell.volts);
        self.line("left-empty", Notice, true, (rest && lowest < 2.97, 30.0 * 3600.0));
        self.line("left-empty", Notice, false, (lowest < 3.05, 18.0 * 3600.0));
        self.line("left-empty", Warning, true, (rest && lowest < 2.77, 30.0 * 3600.0));
        self.line("left-empty", Warning, false, (lowest < 2.85, 18.0 * 3600.0));
        let deep = low(cells, |cell| cell.open_circuit);
        self.line("low-in-storage", Notice, true, (rest && deep < 3.17, 30.0 * 3600.0));
        self.line("low-in-storage", Warning, true, (rest && deep < 3.10, 30.0 * 3600.0));
        let idle = pack.amps < 0.012 * pack.rated && pack.amps > -0.06 * pack.rated;
        let soc = low(cells, |cell| cell.soc);
        let draw = (-pack.amps).max(0.0) + 0.06 + 0.0002 * pack.rated;
        let days = |least: f64| (soc - least) * pack.rated / 24.0 / draw;
        self.line("low-in-storage", Notice, false, (idle && days(0.30) < 32.0, 36.0 * 3600.0));
        self.line("low-in-storage", Warning, false, (idle && days(0.30) < 9.0, 36.0 * 3600.0));
    }

    fn paths(&mut self, pack: &PackTruth, truth: &Truth) {
        let closed = pack.charge && pack.discharge && !pack.off;
        let opened = self.closed && !closed;
        self.line("bms-cutoff", Warning, true, (opened && self.last_current.abs() > 0.07 * pack.rated, 0.0));
        self.line("bms-cutoff", Warning, false, (!closed, 0.0));
        (self.closed, self.last_current) = (closed, pack.amps + pack.unseen);
        let n = pack.cells.len() as f64;
        // what the cells are charged to, whatever the current, as long as the sensor shows that it charges
        let mean = pack.cells.iter().map(|cell| cell.volts).sum::<f64>() / n;
        let held = if pack.charge && pack.amps > 0.3 + 0.005 * pack.rated { mean } else { 0.0 };
        self.line("charger-profile", Notice, true, (held > 3.60 + 0.040 + 0.015, 1200.0));
        self.line("charger-profile", Notice, false, (truth.bus / n > 3.60 + 0.03, 60.0));
        self.line("charger-profile", Warning, true, (held > 3.66 + 0.015, 180.0));
        self.line("charger-profile", Warning, false, (truth.bus / n > 3.655, 60.0));
        let (first, rest) = truth.packs.split_first().map_or((0.0, 0.0), |(one, all)| {
            (one.amps / one.rated, all.iter().map(|one| one.amps / one.rated).sum::<f64>())
        });
        let opposite = truth.packs.iter().any(|one| one.amps > 0.07 * one.rated)
            && truth.packs.iter().any(|one| one.amps < -0.07 * one.rated);
        let whole = (first + rest).abs() / truth.packs.len() as f64;
        self.line("unequal-sharing", Warning, true, (opposite && whole < 0.01, 3600.0));
        let mild = truth.packs.iter().any(|one| one.amps > 0.04 * one.rated)
            && truth.packs.iter().any(|one| one.amps < -0.04 * one.rated);
        self.line("unequal-sharing", Warning, false, (mild, 900.0));
    }

    fn fullness(&mut self, pack: &PackTruth, secs: f64) {
        let cells = &pack.cells;
        let mean = cells.iter().map(|cell| cell.volts).sum::<f64>() / cells.len() as f64;
        let rate = pack.amps / pack.rated;
        let through = rate.abs() * secs / 7200.0;
        // what might be taken for full at all, and what anybody calls full
        let words = [mean > 3.38 && rate > -0.02, mean > 3.45 && rate > 0.0 && rate < 0.035];
        for (index, full) in words.into_iter().enumerate() {
            self.full_through[index] += through;
            if full {
                (self.full_at[index], self.full_through[index]) = (self.at, 0.0);
            }
        }
        let (at, full_at, passed) = (self.at, self.full_at, self.full_through);
        let days = |index: usize| (at - full_at[index]) / 86_400.0;
        // a day of what a sensor may read where nothing flows, in cycles
        let sensor = 24.0 * (0.1f64).max(0.001 * pack.rated) / pack.rated;
        self.line("not-fully-charged", Notice, true, (days(0) > 31.5 && passed[0] > 1.7 + sensor * days(0), 0.0));
        self.line("not-fully-charged", Notice, false, (days(1) > 29.0 && passed[1] > 1.3, 0.0));
        self.line("hot-exposure", Notice, true, (self.hot > 80.0, 0.0));
        self.line("hot-exposure", Notice, false, (self.hot > 60.0, 0.0));
        self.line("hot-exposure", Warning, false, (self.hot > 120.0, 0.0));
        self.line("prolonged-high-float", Notice, true, (self.held[0] > 270.0, 0.0));
        self.line("prolonged-high-float", Notice, false, (self.held[1] > 155.0 || self.held[2] > 650.0, 0.0));
        self.line("prolonged-high-float", Warning, true, (self.held[0] > 800.0, 0.0));
        self.line("prolonged-high-float", Warning, false, (self.held[1] > 600.0, 0.0));
    }

    fn knees(&mut self, pack: &PackTruth) {
        let cells = &pack.cells;
        let rate = pack.amps / pack.rated;
        let warm = low(cells, |cell| cell.celsius) > 4.0;
        // less what the current adds, at once and slowly
        let knee = low(cells, |cell| cell.volts) - 0.25 * rate.max(0.0) > 3.41 && rate < 0.35 && rate > 0.0 && warm;
        let first = high(cells, |cell| cell.volts) - 0.25 * rate.max(0.0) > 3.41 && rate > 0.0;
        if first && !self.in_first {
            self.first_rate = rate;
        }
        self.in_first = first || (self.in_first && high(cells, |cell| cell.volts) > 3.36);
        if knee && !self.in_knee {
            self.tops.push(self.at);
            self.clean_tops += u32::from((rate - self.first_rate).abs() < 0.06);
            self.evidence.top(cells);
            let celsius = low(cells, |cell| cell.celsius);
            self.top_celsius = (self.top_celsius.0.min(celsius), self.top_celsius.1.max(celsius));
        }
        let bottom = low(cells, |cell| cell.volts) < 3.02 && rate < 0.0;
        if bottom && !self.at_bottom {
            self.bottoms.push(self.at);
            self.evidence.bottom(self.at, cells);
        }
        // once a rise, once a fall
        self.in_knee = knee || (self.in_knee && low(cells, |cell| cell.volts) > 3.36);
        self.at_bottom = bottom || (self.at_bottom && low(cells, |cell| cell.volts) < 3.20);
    }
}

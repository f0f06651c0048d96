//! The bus: which voltage it takes, and how the packs share the current.
//!
//! Packs hang on two bars, plus and minus, with a link between neighbours. Loads and sources sit at pack 1's
//! end of the plus bar, and at the same or (diagonal) the other end of the minus bar.

use super::cell::Line;
use super::charger::Charger;

/// What a pack lets through.
#[derive(Debug, Clone, Copy)]
pub(super) struct Branch {
    /// Its voltage over its current.
    pub(super) line: Line,
    /// May be charged, may be discharged.
    pub(super) paths: (bool, bool),
}

/// How the packs are joined.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bars {
    /// Resistance of a link of one bar, ohm.
    pub(super) link: f64,
    /// Minus is taken off at the other end.
    pub(super) diagonal: bool,
}

/// Packs as the bus sees them, in order; keeps its working memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Network {
    matrix: Vec<f64>,
    open: Vec<bool>,
    /// Current of each pack at 0 V, and more per volt (A, A/V).
    answer: Vec<(f64, f64)>,
}

impl Network {
    /// Currents of the packs at a voltage of the bus, as a line each: packs whose BMS refuses the direction of
    /// their current are cut out, one after another.
    fn respond(&mut self, packs: &[Branch], bars: Bars, bus: f64) {
        self.open.clear();
        self.open.extend(packs.iter().map(|pack| pack.paths == (false, false)));
        for _ in 0..=packs.len() {
            self.solve(packs, bars);
            let mut refused = false;
            for ((pack, open), answer) in packs.iter().zip(&mut self.open).zip(&self.answer) {
                let amps = answer.0 + answer.1 * bus;
                let allowed = if amps > 0.0 { pack.paths.0 } else { pack.paths.1 };
                if !*open && !allowed && amps.abs() > 1e-9 {
                    *open = true;
                    refused = true;
                }
            }
            if !refused {
                break;
            }
        }
    }

    /// Kirchhoff: for each closed pack k, the bus voltage is its own voltage plus what the links drop on the way.
    /// The drop on a link is carried by every pack beyond it, so two packs share the links that both ways use.
    fn solve(&mut self, packs: &[Branch], bars: Bars) {
        let n = packs.len();
        self.answer.clear();
        self.answer.resize(n, (0.0, 0.0));
        if let [pack] = packs {
            if let (Some(answer), Some(false)) = (self.answer.first_mut(), self.open.first()) {
                *answer = (-pack.line.volts / pack.line.ohms, 1.0 / pack.line.ohms);
            }
            return;
        }
        // unknowns: the currents; two right-hand sides: −E and 1
        let width = n + 2;
        self.matrix.clear();
        self.matrix.resize(n * width, 0.0);
        for (k, pack) in packs.iter().enumerate() {
            let Some(row) = self.matrix.get_mut(k * width..(k + 1) * width) else { continue };
            for (m, entry) in row.iter_mut().enumerate().take(n) {
                let plus = k.min(m);
                let minus = if bars.diagonal { n - 1 - k.max(m) } else { plus };
                *entry = bars.link * (plus + minus) as f64 + if k == m { pack.line.ohms } else { 0.0 };
                // a pack that is cut out carries nothing
                if (self.open.get(k) == Some(&true) || self.open.get(m) == Some(&true)) && k != m {
                    *entry = 0.0;
                }
            }
            if let (Some(false), [.., volts, one]) = (self.open.get(k), row) {
                (*volts, *one) = (-pack.line.volts, 1.0);
            }
        }
        eliminate(&mut self.matrix, n);
        for (k, answer) in self.answer.iter_mut().enumerate() {
            let row = k * width;
            let solved = (self.matrix.get(row + n), self.matrix.get(row + n + 1));
            if let (Some(&at_zero), Some(&per_volt)) = solved {
                *answer = (at_zero, per_volt);
            }
        }
    }

    /// Sum of the currents at a voltage, and its slope.
    fn total(&self, bus: f64) -> (f64, f64) {
        self.answer
            .iter()
            .fold((0.0, 0.0), |(amps, slope), (at_zero, per_volt)| (amps + at_zero + per_volt * bus, slope + per_volt))
    }

    /// Finds the voltage of the bus at which packs take what sources give and loads leave. Writes the packs'
    /// currents. A bus that nothing feeds is at 0 V.
    pub(super) fn settle(&mut self, packs: &[Branch], bars: Bars, feed: Feed<'_>, amps: &mut [f64]) -> f64 {
        let (mut low, mut high) = (0.0, 1000.0);
        let mut bus = feed.guess.max(1.0);
        for _ in 0..80 {
            self.respond(packs, bars, bus);
            let (into, slope) = self.total(bus);
            let (given, fall) = feed.given(bus);
            let excess = into - given;
            if excess > 0.0 {
                high = bus
            } else {
                low = bus
            }
            let slope = slope + fall;
            let step = if slope > 1e-9 { bus - excess / slope } else { f64::NAN };
            let next = if step > low && step < high { step } else { 0.5 * (low + high) };
            let done = (next - bus).abs() < 1e-7;
            bus = next;
            if done || high < 0.1 {
                break;
            }
        }
        self.respond(packs, bars, bus);
        let dead = bus < 0.5;
        for (amps, answer) in amps.iter_mut().zip(&self.answer) {
            *amps = if dead { 0.0 } else { answer.0 + answer.1 * bus };
        }
        if dead { 0.0 } else { bus }
    }
}

/// What feeds and loads the bus.
#[derive(Debug, Clone, Copy)]
pub(super) struct Feed<'a> {
    /// The sources.
    pub(super) chargers: &'a [Charger],
    /// Current of the loads, A.
    pub(super) load: f64,
    /// The last voltage.
    pub(super) guess: f64,
}

impl Feed<'_> {
    /// What sources give beyond what loads take at a voltage, and how much less per volt more. Loads are fed
    /// in proportion below 5 V, so that a dead bus is a dead bus.
    fn given(&self, bus: f64) -> (f64, f64) {
        let (load, more) = if bus < 5.0 { (self.load * bus / 5.0, self.load / 5.0) } else { (self.load, 0.0) };
        // a milliampere per volt of everything that is never quite off
        let (load, more) = (load + 1e-3 * bus, more + 1e-3);
        self.chargers
            .iter()
            .map(|charger| charger.output(bus))
            .fold((-load, more), |sum, out| (sum.0 + out.0, sum.1 + out.1))
    }
}

/// Gauss–Jordan without pivoting: the matrix is symmetric and its diagonal positive and largest in size.
fn eliminate(matrix: &mut [f64], n: usize) {
    let width = n + 2;
    for k in 0..n {
        let Some(pivot) = matrix.get(k * width..(k + 1) * width).map(<[f64]>::to_vec) else { return };
        let scale = pivot.get(k).map_or(0.0, |p| 1.0 / p);
        for m in 0..n {
            let Some(row) = matrix.get_mut(m * width..(m + 1) * width) else { return };
            let factor = if m == k { 1.0 - scale } else { row.get(k).map_or(0.0, |first| first * scale) };
            for (entry, above) in row.iter_mut().zip(&pivot) {
                *entry -= factor * above;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shares(diagonal: bool, link: f64) -> Vec<f64> {
        let pack = Branch { line: Line { volts: 13.2, ohms: 0.010 }, paths: (true, true) };
        let mut network = Network::default();
        let mut amps = [0.0; 4];
        let feed = Feed { chargers: &[], load: 100.0, guess: 13.0 };
        network.settle(&[pack; 4], Bars { link, diagonal }, feed, &mut amps);
        let total: f64 = amps.iter().sum();
        assert!((total + 100.0).abs() < 0.1, "{total}");
        amps.iter().map(|a| (a / total * 100.0).round()).collect()
    }

    /// Four packs of 10 mΩ on links of 0.6 mΩ: the shares that a ladder of resistors gives.
    #[test]
    fn packs_share_by_where_the_cables_are_taken_off() {
        assert_eq!(shares(false, 0.6e-3), [34.0, 26.0, 21.0, 19.0]);
        assert_eq!(shares(true, 0.6e-3), [26.0, 24.0, 24.0, 26.0]);
    }

    #[test]
    fn a_pack_that_refuses_is_cut_out_and_a_bus_that_nothing_feeds_is_dead() {
        let open = Branch { line: Line { volts: 13.0, ohms: 0.01 }, paths: (true, false) };
        let shut = Branch { line: Line { volts: 13.2, ohms: 0.01 }, paths: (true, true) };
        let bars = Bars { link: 0.0003, diagonal: false };
        let feed = Feed { chargers: &[], load: 20.0, guess: 13.0 };
        let mut network = Network::default();
        let mut amps = [0.0; 2];
        let bus = network.settle(&[open, shut], bars, feed, &mut amps);
        assert!(amps[0] == 0.0 && (amps[1] + 20.0).abs() < 0.05 && bus > 12.9, "{amps:?} {bus}");
        let bus = network.settle(&[open], bars, feed, &mut amps[..1]);
        assert_eq!((bus, amps[0]), (0.0, 0.0));
    }
}

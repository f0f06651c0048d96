//! What a scenario really does to its bank, reckoned from the truth alone with the limits as they are documented.

use cellwright::sim::{Options, PackTruth, Simulation};

/// Largest and longest exposures of a run, and the minute at which each began.
#[derive(Debug, Clone, Default)]
pub(crate) struct Exposure {
    /// Charge rate over the plating limit, below 15 °C.
    pub(crate) plating: Longest,
    /// Charge rate over the sheet limit, below 15 °C.
    pub(crate) sheet: Longest,
    /// Charging above 45 °C, and above 50 °C.
    pub(crate) hot: [Longest; 2],
    /// Spread above 50 mV in the knee at tail current.
    pub(crate) spread: Longest,
    /// Mean cell from 3.55 V on at less than 0.05C: hours in all, and the minute at which 168 h are full.
    pub(crate) held: (f64, Option<f64>),
    /// Lowest cell below 2.8 V without its sag.
    pub(crate) low: Longest,
    /// A path opened: how often, first minute.
    pub(crate) cuts: (u32, Option<f64>),
    /// Extremes: cell voltage, voltage without sag, temperature, charge rate over plating limit, discharge rate.
    pub(crate) highest: f64,
    pub(crate) lowest: f64,
    pub(crate) hottest: f64,
    pub(crate) hottest_charging: f64,
    pub(crate) plating_ratio: f64,
    pub(crate) discharge_rate: f64,
    pub(crate) spread_volts: f64,
}

/// The longest unbroken time (minutes) of a condition, and the minute at which it first held.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Longest {
    pub(crate) minutes: f64,
    pub(crate) first: Option<f64>,
    since: Option<f64>,
}

impl Longest {
    /// Whether it held at the end.
    pub(crate) fn at_the_end(&self) -> bool {
        self.since.is_some()
    }

    fn note(&mut self, minute: f64, holds: bool) {
        if !holds {
            self.since = None;
            return;
        }
        let since = *self.since.get_or_insert(minute);
        self.first.get_or_insert(minute);
        self.minutes = self.minutes.max(minute - since);
    }
}

/// Runs a scenario and reckons.
pub(crate) fn of(name: &str, seed: u64, sample: f64) -> Exposure {
    let mut simulation = Simulation::new(name, Options { seed, days: None, sample: Some(sample) }).unwrap();
    let mut seen = Exposure { lowest: 9.0, hottest: -99.0, hottest_charging: -99.0, ..Exposure::default() };
    let mut last = -1.0;
    let mut closed = true;
    while simulation.next().is_some() {
        let secs = simulation.seconds();
        if secs > last {
            let truth = simulation.truth();
            seen.look(secs / 60.0, secs - last.max(0.0), &truth.packs[0], &mut closed);
            last = secs;
        }
    }
    seen
}

/// 0.20C at −4 °C, 31 kJ/mol.
pub(crate) fn plating_limit(celsius: f64) -> f64 {
    0.20 * (-31_000.0 / 8.3145 * (1.0 / (celsius + 273.15) - 1.0 / 269.15)).exp()
}

/// Straight lines between the points of the sheet.
pub(crate) fn sheet_limit(celsius: f64) -> f64 {
    let points =
        [(0.0, 0.05), (5.0, 0.10), (10.0, 0.16), (15.0, 0.33), (20.0, 0.5), (45.0, 0.5), (50.0, 0.3), (55.0, 0.1)];
    if celsius < 0.0 {
        return 0.0;
    }
    let line = |pair: &[(f64, f64)]| {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        (celsius <= x1).then(|| y0 + (y1 - y0) * (celsius - x0) / (x1 - x0))
    };
    points.windows(2).find_map(line).unwrap_or(0.0)
}

impl Exposure {
    fn look(&mut self, minute: f64, secs: f64, pack: &PackTruth, closed: &mut bool) {
        let cells = &pack.cells;
        let rate = pack.amps / pack.rated;
        let low = |get: fn(&cellwright::sim::CellTruth) -> f64| cells.iter().map(get).fold(f64::INFINITY, f64::min);
        let high = |get: fn(&cellwright::sim::CellTruth) -> f64| cells.iter().map(get).fold(-99.0, f64::max);
        let mean = cells.iter().map(|cell| cell.volts).sum::<f64>() / cells.len() as f64;
        let (cold, hot) = (low(|c| c.celsius), high(|c| c.celsius));
        let charging = rate > 0.02;
        let sag = -pack.amps.min(0.0);
        let lowest = cells.iter().map(|c| c.volts + sag * c.ohms).fold(f64::INFINITY, f64::min);
        let spread = high(|c| c.volts) - low(|c| c.volts);
        self.plating.note(minute, charging && cold < 15.0 && rate > plating_limit(cold));
        self.sheet.note(minute, charging && cold < 15.0 && rate > sheet_limit(cold));
        self.hot[0].note(minute, charging && hot > 45.0);
        self.hot[1].note(minute, charging && hot > 50.0);
        let knee = mean > 3.40 && mean < 3.50 && rate.abs() < 0.05;
        self.spread.note(minute, knee && spread > 0.05);
        self.low.note(minute, lowest < 2.8);
        if mean >= 3.55 && rate.abs() < 0.05 {
            self.held.0 += secs / 3600.0;
            if self.held.0 >= 168.0 {
                self.held.1.get_or_insert(minute);
            }
        }
        let shut = pack.charge && pack.discharge;
        if *closed && !shut {
            self.cuts.0 += 1;
            self.cuts.1.get_or_insert(minute);
        }
        *closed = shut;
        self.highest = self.highest.max(high(|c| c.volts));
        self.lowest = self.lowest.min(lowest);
        self.hottest = self.hottest.max(hot);
        self.hottest_charging = if charging { self.hottest_charging.max(hot) } else { self.hottest_charging };
        if charging && cold < 15.0 {
            self.plating_ratio = self.plating_ratio.max(rate / plating_limit(cold));
        }
        self.discharge_rate = self.discharge_rate.max(-rate);
        if knee {
            self.spread_volts = self.spread_volts.max(spread);
        }
    }
}

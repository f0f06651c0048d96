//! Voltages that a charger really held, and how they went with the temperature: what shows a compensation.

use cellwright::sim::PackTruth;

/// A voltage stands within this, V per cell, ...
const STANDS: f64 = 0.015;
/// ... at a current below this, C, from this voltage on, V per cell, for so long, s.
const SMALL: f64 = 0.095;
const FROM: f64 = 3.38;
const LONG: f64 = 720.0;
/// A charge ends when nothing has charged for so long, s, ...
const ENDS: f64 = 2000.0;
/// ... by less than this, C.
const NOTHING: f64 = 0.002;

/// The charges of a pack.
#[derive(Debug, Clone, Default)]
pub(super) struct Held {
    /// Lowest and highest voltage of what stands, its seconds, and sums of voltage and temperature over them.
    stand: Option<[f64; 5]>,
    /// Highest that stood in this charge: voltage and temperature.
    best: Option<(f64, f64)>,
    idle: f64,
    past: Vec<(f64, f64)>,
}

impl Held {
    /// Looks at a pack whose mean cell stands at `mean`.
    pub(super) fn look(&mut self, pack: &PackTruth, mean: f64, secs: f64) {
        let rate = pack.amps / pack.rated;
        let celsius = pack.felt.iter().sum::<f64>() / pack.felt.len().max(1) as f64;
        let small = rate > NOTHING && rate < SMALL && mean > FROM && pack.charge;
        self.stand = small.then(|| {
            let [low, high, long, volts, warmth] = self.stand.unwrap_or([mean, mean, 0.0, 0.0, 0.0]);
            let (low, high) = (low.min(mean), high.max(mean));
            if high - low > STANDS {
                return [mean, mean, 0.0, 0.0, 0.0];
            }
            [low, high, long + secs, volts + mean * secs, warmth + celsius * secs]
        });
        if let Some([_, _, long, volts, warmth]) = self.stand.filter(|stand| stand[2] >= LONG)
            && self.best.is_none_or(|best| volts / long >= best.0 - STANDS)
        {
            self.best = Some((volts / long, warmth / long));
        }
        self.idle = if rate > NOTHING { 0.0 } else { self.idle + secs };
        if self.idle > ENDS {
            self.past.extend(self.best.take());
        }
    }

    /// How the voltages held go with the temperature, when five charges over 13 K show it: mV a cell and kelvin, and how
    /// far they lie from one line, mV a cell (root mean square), and their correlation.
    pub(super) fn slope(&self) -> Option<(f64, f64, f64)> {
        let count = self.past.len() as f64;
        let ends = |get: fn(f64, f64) -> f64, start| self.past.iter().map(|one| one.1).fold(start, get);
        let span = ends(f64::max, f64::MIN) - ends(f64::min, f64::MAX);
        if self.past.len() < 5 || span < 13.0 {
            return None;
        }
        let mean = |get: &dyn Fn(&(f64, f64)) -> f64| self.past.iter().map(get).sum::<f64>() / count;
        let (volts, celsius) = (mean(&|one| one.0), mean(&|one| one.1));
        let both = mean(&|one| (one.0 - volts) * (one.1 - celsius));
        let squares = (mean(&|one| (one.0 - volts).powi(2)), mean(&|one| (one.1 - celsius).powi(2)));
        let slope = both / squares.1;
        let off = (squares.0 - slope * both).max(0.0).sqrt();
        Some((slope * 1e3, off * 1e3, both / (squares.0 * squares.1).sqrt().max(1e-12)))
    }
}

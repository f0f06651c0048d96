//! How packs really share the current of their bank, over stretches in which a fifth of its capacity moves one way.

use cellwright::sim::{PackTruth, Truth};

/// Shares are taken from this current of the bank on, C, over so much of its capacity: the documented figures.
const FROM: f64 = 0.05;
const STRETCH: f64 = 0.20;

/// The share of one pack.
#[derive(Debug, Clone, Default)]
pub(super) struct Sharing {
    /// What went through the pack and through the bank, Ah: charging, drawing.
    moved: [(f64, f64); 2],
    /// Furthest that a stretch lay off the share of the capacity, points.
    pub(super) most: f64,
}

impl Sharing {
    /// Looks at a pack of a bank.
    pub(super) fn look(&mut self, truth: &Truth, pack: &PackTruth, secs: f64) {
        let sum = |get: fn(&PackTruth) -> f64| truth.packs.iter().map(get).sum::<f64>();
        let (amps, rated) = (sum(|one| one.amps), sum(|one| one.rated));
        let open = truth.packs.iter().any(|one| !one.charge || !one.discharge);
        if open || amps.abs() < FROM * rated {
            return;
        }
        let moved = &mut self.moved[usize::from(amps < 0.0)];
        moved.0 += pack.amps * secs / 3600.0;
        moved.1 += amps * secs / 3600.0;
        if moved.1.abs() >= STRETCH * rated {
            self.most = self.most.max(100.0 * (moved.0 / moved.1 - pack.rated / rated).abs());
            *moved = (0.0, 0.0);
        }
    }
}

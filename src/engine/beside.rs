//! What a tick asks beside the pack itself: the charging sources, the bank's own shunt, the other packs.

use super::view::{self, CurrentNow};
use super::{Engine, gauge};
use crate::model::bank::{PackSpec, SourceState};
use crate::model::limits::LimitId;
use crate::model::{Quantity, Stamp};

impl Engine {
    /// Whether every charging source that reports a state says 'off'; none when none reports one.
    pub(super) fn chargers_off(&self, now: Stamp) -> Option<bool> {
        let periods = self.limits.get(LimitId::StalePeriods);
        let place = Quantity::SourceState as usize - Quantity::SourceKind as usize;
        let states = self.state.sources.iter().filter_map(|source| source[place].now(now, periods));
        let off = f64::from(SourceState::Off.code());
        states.fold(None, |all, state| Some(all.unwrap_or(true) && state == off))
    }

    /// This pack's share of the bank's current, by rated capacity, when no pack measures its own.
    pub(super) fn share(&self, index: usize, now: Stamp) -> Option<CurrentNow> {
        if self.packs.iter().any(|pack| pack.gauge(Quantity::Current).count() > 0) {
            return None;
        }
        let whole = view::own_current(&self.state.current, now, self.limits.get(LimitId::StalePeriods))?;
        let capacity = |spec: &PackSpec| spec.rated.capacity.map(|c| c.get());
        let total: f64 = self.bank.packs.iter().filter_map(capacity).sum();
        let share = match self.bank.packs.get(index).and_then(capacity) {
            Some(own) => own / total,
            None if self.packs.len() == 1 => 1.0,
            None => return None,
        };
        let scale = |e: gauge::Extremes| gauge::Extremes {
            low: e.low * share,
            low2: e.low2 * share,
            high: e.high * share,
            high2: e.high2 * share,
        };
        Some(CurrentNow { amps: whole.amps * share, recent: scale(whole.recent), shared: true, ..whole })
    }

    /// Current of the packs beside this one, A, as far as they are heard.
    pub(super) fn others(&self, index: usize, now: Stamp) -> Option<f64> {
        let periods = self.limits.get(LimitId::StalePeriods);
        let others = self.packs.iter().enumerate().filter(|(other, _)| *other != index);
        let amps = others.filter_map(|(_, pack)| pack.gauge(Quantity::Current).now(now, periods));
        amps.reduce(|sum, amps| sum + amps)
    }
}

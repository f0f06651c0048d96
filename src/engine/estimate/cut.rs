//! Whether a BMS cut its pack off: current that falls to nothing at once, and a proof that no switch of a load did it.

use super::around::Around;
use crate::engine::view::View;
use crate::model::Stamp;
use crate::model::bank::SourceKind;
use crate::model::limits::LimitId;
use serde::{Deserialize, Serialize};

/// A proof may come so many seconds after the fall (and before it, where a path is reported first).
const WATCH_SECS: f64 = 10.0;
/// Ticks in which voltages or other packs must show it: one wrong reading is no proof.
const TICKS: u8 = 2;
/// Part of the lost current that the other packs must have taken over.
const TAKEN_OVER: f64 = 0.5;
/// Room for the jitter of readings in 'within two seconds'.
pub const JITTER: f64 = 1.1;

/// Current that fell to nothing at once, and how the pack stood just before.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fall {
    /// When.
    pub at: Stamp,
    /// The current before, A, positive charging.
    pub amps: f64,
    /// Lowest and highest cell just before, V.
    pub volts: Option<(f64, f64)>,
    /// Coldest and hottest sensor that counts, °C.
    pub celsius: Option<(f64, f64)>,
    /// Whether the BMS had announced it.
    pub pre_alarm: Option<bool>,
    /// An alternator was heard charging.
    pub alternator: bool,
    /// The readings were too far apart for anything but a reported path.
    slow: bool,
    /// Seconds for which a proof is waited for.
    watch: f64,
    /// Bus less cells just before, V.
    apart: Option<f64>,
    /// Current of the other packs just before, A.
    others: Option<f64>,
    /// Ticks in which voltages or other packs showed it.
    shown: u8,
}

/// What proves that a path opened.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Proof {
    /// It is reported open after it was reported closed.
    Path,
    /// Cells and bus are apart by so many volts.
    Apart(f64),
    /// The other packs took the current over.
    Others,
}

/// What is known of cut-offs.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Cut {
    /// When the charge path and the discharge path were last seen to open.
    opened: [Option<Stamp>; 2],
    /// When the current was last above the limit, and how much, A.
    strong: Option<(Stamp, f64)>,
    others: Option<f64>,
    fall: Option<Fall>,
    /// The cut-off that stands now.
    pub now: Option<(Fall, Proof)>,
}

impl Cut {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, around: &Around) {
        let before = around.before;
        let paths = [
            (before.switches.charge_path, view.switches.charge_path),
            (before.switches.discharge_path, view.switches.discharge_path),
        ];
        for (opened, path) in self.opened.iter_mut().zip(paths) {
            if path == (Some(true), Some(false)) {
                *opened = Some(view.now);
            }
        }
        self.follow(view, around);
        self.look_for_proof(view, around);
        self.look_for_return(view, around);
        self.others = around.others;
    }

    /// Whether other packs are heard, which would take the current over.
    #[must_use]
    pub fn has_others(&self) -> bool {
        self.others.is_some()
    }

    /// Forgets the current before: one that falls because another sensor reads it was not cut off.
    pub fn forget_current(&mut self) {
        (self.strong, self.others, self.fall) = (None, None, None);
    }

    /// Follows the current and notes a fall.
    fn follow(&mut self, view: &View, around: &Around) {
        let (Some(current), Some(capacity)) = (view.current, view.capacity) else {
            (self.strong, self.fall) = (None, None);
            return;
        };
        let strong = self.strong;
        if current.amps.abs() > capacity * around.limits.get(LimitId::CutoffFrom) {
            self.strong = Some((view.now, current.amps));
        }
        let Some((at, amps)) = strong else { return };
        if amps.signum() * current.amps > view.dead_band(around.limits) {
            return;
        }
        self.strong = self.strong.filter(|(at, _)| *at == view.now);
        let slow = view.now.since(at) > around.limits.get(LimitId::CutoffSeconds) * JITTER;
        if slow && at != around.before.now {
            return;
        }
        self.fall = Some(fall(view, around, amps, (slow, self.others)));
    }

    fn look_for_proof(&mut self, view: &View, around: &Around) {
        let Some(fall) = &mut self.fall else { return };
        if view.now.since(fall.at) > fall.watch {
            self.fall = None;
            return;
        }
        let quiet = view.current.is_some_and(|now| now.amps.abs() <= view.dead_band(around.limits));
        let (opened, path) = match fall.amps > 0.0 {
            true => (self.opened[0], view.switches.charge_path),
            false => (self.opened[1], view.switches.discharge_path),
        };
        if path == Some(false) && opened.is_some_and(|at| at.since(fall.at).abs() <= fall.watch) {
            self.now = Some((*fall, Proof::Path));
        } else if path.is_none() && !fall.slow && quiet {
            let apart = apart(view).zip(fall.apart).filter(|(now, then)| {
                let limit = around.limits.get(LimitId::CutoffSeparation);
                now.abs() > limit && (now - then).abs() > limit
            });
            let others = around.others.zip(fall.others).is_some_and(|(now, then)| {
                now * fall.amps.signum() >= then * fall.amps.signum() + TAKEN_OVER * fall.amps.abs()
            });
            fall.shown = if apart.is_some() || others { fall.shown + 1 } else { 0 };
            if fall.shown >= TICKS {
                self.now = Some((*fall, apart.map_or(Proof::Others, |(volts, _)| Proof::Apart(volts.abs()))));
            }
        }
        if self.now.is_some() {
            self.fall = None;
        }
    }

    /// A cut-off is over when current flows again that way, or the path is reported closed again.
    fn look_for_return(&mut self, view: &View, around: &Around) {
        let Some((cut, proof)) = &self.now else { return };
        let path = if cut.amps > 0.0 { view.switches.charge_path } else { view.switches.discharge_path };
        let flows = view.current.is_some_and(|now| now.amps * cut.amps.signum() > view.dead_band(around.limits));
        let closed = *proof == Proof::Path && path == Some(true);
        if closed || (flows && path != Some(false)) {
            self.now = None;
        }
    }
}

fn fall(view: &View, around: &Around, amps: f64, (slow, others): (bool, Option<f64>)) -> Fall {
    let before = around.before;
    let periods = around.limits.get(LimitId::StalePeriods);
    Fall {
        at: view.now,
        amps,
        volts: before.lowest().zip(before.highest()).map(|(low, high)| (low.volts, high.volts)),
        celsius: before.coldest().zip(before.hottest()).map(|(cold, hot)| (cold.celsius, hot.celsius)),
        pre_alarm: before.switches.pre_alarm,
        alternator: around.bank.charging(view.now, periods).any(|kind| kind == SourceKind::Alternator),
        slow,
        watch: WATCH_SECS.max(2.0 * view.secs()),
        apart: apart(before),
        others,
        shown: 0,
    }
}

/// Bus less cells, V.
fn apart(view: &View) -> Option<f64> {
    let cells = match view.sees_all_cells() {
        true => view.cells.iter().map(|cell| cell.volts).sum(),
        false => view.pack_voltage?,
    };
    Some(view.bus_voltage? - cells)
}

//! A resistance fitted to many steps, with an error that coarse readings cannot talk small.
//!
//! A slow fit remembers hundreds of steps, a fast one about ten. When they part by more than their errors explain,
//! the thing itself has changed, and the slow one begins anew from the fast one.

use super::rls::Slope;
use serde::{Deserialize, Serialize};

/// What the fast fit keeps at each step.
const FAST: f64 = 0.9;
/// They part when they differ by so many standard errors.
const PARTED: f64 = 4.5;
/// Within so many they still say the same.
const AGREE: f64 = 1.5;
/// Only after so many steps.
const PARTED_AFTER: u32 = 12;
/// A step further off than so many times the noise is pulled in to it.
const PULLED: f64 = 3.5;
/// So many pulled in from the same side without a break are no noise: they do not make it larger...
const LEARNS_UP_TO: i8 = 3;
/// ...and after so many the thing itself has changed.
const ALL_PULLED: i8 = 8;
/// How fast the noise is learnt once it is known.
const NOISE_SHARE: f64 = 0.02;
/// The first value that growth is measured from has at least so many steps and at most this error, Ω.
const MARK: (u32, f64) = (10, 0.1e-3);
/// Growth is measured beyond so many standard errors.
const GROWTH_ERRORS: f64 = 3.0;
/// From this resolution on a step that repeats the last one to the count tells nothing new, V.
const COARSE: f64 = 1.5e-3;

/// How good readings are.
#[derive(Debug, Clone, Copy)]
pub struct Noise {
    /// Least error of a difference, V.
    pub floor: f64,
    /// What older steps keep of their weight.
    pub keep: f64,
}

/// A resistance, fitted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    slow: Slope,
    fast: Slope,
    /// Sum of squares of the currents that told something new: slow and fast, A².
    told: (f64, f64),
    /// Square of the noise, V², and its floor.
    noise: f64,
    floor: f64,
    count: u32,
    /// Steps in a row that were pulled in from the same side, and which.
    row: i8,
    /// What the slow fit said when both last said the same, Ω.
    agreed: f64,
    /// What it was before it changed at once, Ω, and at which step that was.
    jump: Option<(f64, u32)>,
    /// The step before: size, lower and higher voltage.
    last: Option<(f64, f64, f64)>,
    /// Value, error and the median of the cells when it was first known well.
    mark: Option<(f64, f64, f64)>,
}

impl Fit {
    /// Whether a step looks to the count like the one before, and so says nothing new of what lies below the resolution.
    pub fn repeats(&mut self, amps: f64, (before, after): (f64, f64), grain: f64) -> bool {
        let now = (amps.abs(), before.min(after), before.max(after));
        let then = self.last.replace(now);
        let same = |a: f64, b: f64| (a - b).abs() < 0.5 * grain;
        grain >= COARSE
            && then.is_some_and(|t| same(t.1, now.1) && same(t.2, now.2) && (t.0 - now.0).abs() < 0.1 * now.0)
    }

    /// Takes a step of so many amperes and volts; one that repeats counts for the value but not for its error.
    pub fn take(&mut self, amps: f64, volts: f64, repeats: bool, noise: Noise) {
        let off = volts - self.slow.theta * amps;
        self.floor = noise.floor;
        let most = PULLED * self.sigma();
        let side = if off.abs() > most && self.count >= 3 { (off * amps).signum() as i8 } else { 0 };
        self.row = if side != 0 && side == self.row.signum() { self.row.saturating_add(side) } else { side };
        if self.count >= 1 && self.row.abs() < LEARNS_UP_TO {
            let share = NOISE_SHARE.max(1.0 / f64::from(self.count));
            // what has changed is no noise: the fast fit follows it
            let least = off.abs().min((volts - self.fast.theta * amps).abs());
            self.noise += share * (least.min(most).powi(2) - self.noise);
        }
        let near = if self.count < 3 { volts } else { self.slow.theta * amps + off.clamp(-most, most) };
        self.slow.take(amps, near, noise.keep);
        self.fast.take(amps, volts, FAST);
        let square = if repeats { 0.0 } else { amps * amps };
        self.told = (noise.keep * self.told.0 + square, FAST * self.told.1 + square);
        self.count = self.count.saturating_add(1);
        if self.are_apart(AGREE) == Some(false) {
            self.agreed = self.slow.theta;
        }
        if self.are_apart(PARTED) == Some(true) || self.row.abs() >= ALL_PULLED {
            (self.slow, self.told.0, self.row) = (self.fast, self.told.1, 0);
            self.jump = self.jump.or((self.agreed > 0.0).then_some((self.agreed, self.count)));
        }
    }

    fn sigma(&self) -> f64 {
        let learnt = if self.count < 6 { self.noise.max(1e-6) } else { self.noise };
        learnt.sqrt().max(self.floor)
    }

    /// Whether the two fits differ by so many standard errors; none before there are steps enough to tell.
    fn are_apart(&self, errors: f64) -> Option<bool> {
        let (slow, fast) = self.told;
        let both = self.sigma() * (1.0 / slow + 1.0 / fast).sqrt();
        (self.count >= PARTED_AFTER).then(|| (self.slow.theta - self.fast.theta).abs() > errors * both)
    }

    /// The resistance, Ω.
    #[must_use]
    pub fn ohms(&self) -> f64 {
        self.slow.theta
    }

    /// Its standard error, Ω; none before anything told something.
    #[must_use]
    pub fn error(&self) -> Option<f64> {
        (self.told.0 > 0.0).then(|| self.sigma() / self.told.0.sqrt())
    }

    /// Factor by which it once changed at once, some steps after.
    #[must_use]
    pub fn jump(&self) -> Option<f64> {
        let (before, at) = self.jump?;
        (self.count >= at + u32::from(ALL_PULLED as u8)).then(|| self.slow.theta / before)
    }

    /// Steps taken.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.count
    }

    /// Marks the value that growth is measured from, once it is known well; `own` is the median of the cells.
    pub fn mark(&mut self, own: f64) {
        if self.mark.is_none()
            && self.count >= MARK.0
            && let Some(error) = self.error().filter(|error| *error <= MARK.1)
        {
            self.mark = Some((self.ohms(), error, own));
        }
    }

    /// Growth since the mark and what it may be less by, Ω. A cell that always stood a little above the others does so by
    /// more in the cold: that is no growth.
    #[must_use]
    pub fn growth(&self, own: f64) -> Option<(f64, f64)> {
        let (then, error, own_then) = self.mark?;
        let scaled = if own_then > 0.0 && own > 0.0 { then * own / own_then } else { then };
        Some((self.ohms() - then.max(scaled), GROWTH_ERRORS * error.hypot(self.error()?)))
    }
}

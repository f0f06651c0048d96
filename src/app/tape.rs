//! What a replay plays: a log, or a simulated bank that is played as if it were one.

use crate::model::{Body, Input, Stamp};
use crate::sim::Simulation;
use crate::source::log::{LogReader, Position};

/// Inputs in their order, with places to come back to.
pub(super) trait Tape {
    /// A place between two inputs.
    type Place: Clone + Send + Sync + 'static;

    /// The next input; nothing at the end.
    fn next(&mut self) -> Result<Option<Input>, String>;
    /// Where it stands.
    fn place(&self) -> Self::Place;
    /// Goes to a place of this tape or of another one of the same.
    fn go_to(&mut self, place: &Self::Place) -> Result<(), String>;
    /// How much of it was read, 0 to 1; none when its length is not known.
    fn share(&self) -> Option<f64>;
}

impl Tape for LogReader {
    type Place = Position;

    #[inline]
    fn next(&mut self) -> Result<Option<Input>, String> {
        Self::next(self).map_err(|error| error.to_string())
    }

    fn place(&self) -> Position {
        self.position()
    }

    fn go_to(&mut self, place: &Position) -> Result<(), String> {
        self.seek(place).map_err(|error| error.to_string())
    }

    fn share(&self) -> Option<f64> {
        let (read, total) = self.progress();
        total.map(|total| if total == 0 { 1.0 } else { (read as f64 / total as f64).min(1.0) })
    }
}

/// A simulated bank as a tape. It is deterministic: a copy of it goes on exactly alike.
pub(super) struct Invented {
    simulation: Simulation,
    days: f64,
}

impl Invented {
    /// A simulation from its start, which runs for this many days.
    pub(super) const fn new(simulation: Simulation, days: f64) -> Self {
        Self { simulation, days }
    }
}

impl Tape for Invented {
    type Place = Box<Simulation>;

    fn next(&mut self) -> Result<Option<Input>, String> {
        Ok(self.simulation.next())
    }

    fn place(&self) -> Box<Simulation> {
        Box::new(self.simulation.clone())
    }

    fn go_to(&mut self, place: &Box<Simulation>) -> Result<(), String> {
        self.simulation.clone_from(place);
        Ok(())
    }

    fn share(&self) -> Option<f64> {
        Some((self.simulation.seconds() / (self.days * 86_400.0)).clamp(0.0, 1.0))
    }
}

/// Time that never goes back: the wall clock less its steps. Places in a log are told by it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Steady {
    offset: i64,
}

impl Steady {
    /// Steady time of an input; a step of the clock is taken in.
    #[inline]
    pub(super) fn of(&mut self, input: &Input) -> Stamp {
        if let Body::ClockStep { old } = input.body {
            self.offset = self.offset.saturating_add(input.stamp.nanos().saturating_sub(old.nanos()));
        }
        input.stamp.plus_nanos(self.offset.saturating_neg())
    }

    /// What the wall clock says at a steady time.
    pub(super) const fn wall(self, steady: Stamp) -> Stamp {
        steady.plus_nanos(self.offset)
    }
}

//! Decode and engine as one: inputs go in, a snapshot comes out. Live and replay are drivers of this.

mod filed;
mod save;

use crate::decode::{Decoder, Settings};
use crate::engine::Engine;
use crate::layout::CompiledMap;
use crate::model::limits::Limits;
use crate::model::{Bank, BankEvent, Body, Dialect, Input, PackDays, Quantity, Slot, Snapshot, Stamp};
use std::sync::Arc;

pub use filed::{Filed, FiledFrom};
pub use save::{RestoreError, SavedState};

/// What a run starts from.
#[derive(Debug, Clone, Default)]
pub struct Setup {
    /// The limits in force.
    pub limits: Limits,
    /// The bank as its file describes it; without one the bus's own description is taken.
    pub bank: Option<Bank>,
    /// The map of the bank's file.
    pub map: Option<Arc<CompiledMap>>,
    /// What every interface speaks; none: found from the traffic.
    pub dialect: Option<Dialect>,
    /// Positive current is discharge where a standard leaves the sign open.
    pub reversed: bool,
    /// Battery instance of IEC 61162-3 that each pack is; empty: not said.
    pub instances: Vec<u8>,
    /// Counts of each live counter of that map.
    pub counters: Vec<u64>,
    /// What was done to the bank, by its file.
    pub events: Vec<BankEvent>,
    /// The bank file that all this was taken from; one in a recording is then not taken.
    pub filed: Option<Filed>,
}

/// Decode and engine as one. Clone it, save it, restore it.
#[derive(Debug, Clone)]
pub struct Pipeline {
    decoder: Decoder,
    engine: Engine,
    /// What the run started from.
    base: Arc<Setup>,
    /// The same with the bank file in force.
    setup: Arc<Setup>,
    filed: FiledFrom,
}

impl Pipeline {
    /// A pipeline that has heard nothing.
    #[must_use]
    pub fn new(setup: Setup) -> Self {
        let decoder = setup.decoder();
        let mut engine = Engine::new(setup.limits.clone(), setup.bank.clone());
        engine.history(setup.events.clone());
        let filed = if setup.filed.is_some() { FiledFrom::Told } else { FiledFrom::Nothing };
        let setup = Arc::new(setup);
        Self { decoder, engine, base: Arc::clone(&setup), setup, filed }
    }

    /// Moves time on to a wall stamp: for drivers while nothing comes. [`Self::push`] moves time on itself, for the stamp
    /// of a clock step is of the new time and no time has passed.
    #[inline]
    pub fn advance(&mut self, wall: Stamp) {
        self.engine.advance(wall.plus_nanos(-self.engine.offset()));
    }

    /// Takes an input. Its stamp is no earlier than that of the input before, a clock step apart.
    #[inline]
    pub fn push(&mut self, input: &Input) {
        if let Body::ClockStep { old } = input.body {
            self.advance(old); // what fell due before the step is told by the clock before it
            let nanos = input.stamp.nanos().saturating_sub(old.nanos());
            self.engine.step_clock(nanos);
        }
        self.advance(input.stamp);
        match &input.body {
            Body::Frame(frame) => {
                let engine = &mut self.engine;
                let heard = self.decoder.frame(engine.now(), frame, |slot, value| engine.put(slot, value));
                self.engine.heard(frame, &heard);
                if let Some(sent) = heard.sent {
                    self.decoder.said().iter().for_each(|(slot, _)| self.engine.sent(*slot, sent));
                }
            }
            Body::BankFile { digest, text } => {
                self.bank_file(*digest, text);
                self.engine.event(&input.body);
            }
            other => self.engine.event(other),
        }
    }

    /// When something changes without an input, by the wall clock of the inputs.
    #[must_use]
    pub fn deadline(&self) -> Option<Stamp> {
        self.engine.next_tick().map(|at| at.plus_nanos(self.engine.offset()))
    }

    /// Ends the run in good order: the second under way is judged.
    pub fn close(&mut self) {
        self.engine.close();
    }

    /// A copy of everything that is known now.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        let mut snapshot =
            Snapshot { buses: self.decoder.buses(), origins: self.decoder.origins(), ..self.engine.snapshot() };
        let counted = |slot: &Slot| slot.quantity == Quantity::SenderFrames; // a live counter is no value of the bank
        let promised = self.decoder.promised().filter(|slot| !counted(slot) && !snapshot.heard.contains(slot));
        snapshot.never_sent = promised.collect();
        snapshot
    }

    /// The days of every pack.
    #[must_use]
    pub fn days(&self) -> Vec<PackDays> {
        self.engine.days()
    }

    /// Rises with every change of a finding, a verdict or an acknowledgement.
    #[must_use]
    pub fn changes(&self) -> u64 {
        self.engine.changes()
    }
}

impl Setup {
    /// A decoder that reads by it.
    #[must_use]
    pub fn decoder(&self) -> Decoder {
        Decoder::new(Settings {
            dialect: self.dialect,
            reversed: self.reversed,
            packs: self.bank.as_ref().map(|bank| bank.packs.len()),
            instances: self.instances.clone(),
            map: self.map.clone(),
            counters: self.counters.clone(),
        })
    }
}

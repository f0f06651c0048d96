//! The bank at one moment, as a screen, a report or a script wants it. Owned by nobody: a copy.

use super::finding::{Episode, Finding, Level, NotJudged};
use super::input::{ControllerState, Rejection};
use super::{Bank, BankEvent, Dialect, Estimate, Slot, Stamp};
use std::sync::Arc;

/// Everything that is known at one moment.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Snapshot {
    /// Moment of the last input, by the wall clock of the inputs.
    pub now: Option<Stamp>,
    /// The bank as described so far.
    pub bank: Bank,
    /// The verdict.
    pub verdict: Verdict,
    /// Packs in the order of their numbers.
    pub packs: Vec<PackView>,
    /// Charging sources that were heard.
    pub sources: Vec<SourceView>,
    /// Current over the bank's own shunt.
    pub bank_current: Shown,
    /// Voltage of the bank's bus.
    pub bank_voltage: Shown,
    /// Findings, worst first, active before past.
    pub findings: Vec<Finding>,
    /// For each finding, the place in the list of the finding that lies behind it.
    pub causes: Vec<Option<usize>>,
    /// What could not be judged.
    pub not_judged: Vec<NotJudged>,
    /// Estimates with their bounds.
    pub estimates: Vec<Estimate>,
    /// The questions that technicians ask, and what the data says to them.
    pub answers: Vec<Answered>,
    /// How good the data is.
    pub quality: Quality,
    /// The latest episodes of alerts, oldest first.
    pub episodes: Vec<Episode>,
    /// Remarks, oldest first.
    pub notes: Vec<(Stamp, String)>,
    /// Events of the bank file's history that fell into the data, oldest first.
    pub events: Vec<BankEvent>,
    /// What each interface speaks, as far as it is known.
    pub buses: Vec<BusView>,
    /// Where values come from, a list for each map in use.
    pub origins: Vec<Arc<[Origin]>>,
    /// Values that have been heard, for the lists above.
    pub heard: Vec<Slot>,
    /// Values that the bank file promises and the bus has never sent.
    pub never_sent: Vec<Slot>,
}

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The value; the first of several where the data says which pack or cell it is about.
    pub slot: Slot,
    /// For how many packs from there on.
    pub packs: u8,
    /// For how many cells, sensors or sources from there on.
    pub count: u8,
    /// Message, frame and bits, in words.
    pub from: String,
    /// The number in the data that says which pack it is about, and the one that says which cell, sensor or source.
    pub by: [Option<By>; 2],
}

/// A number in the data that says whose value a frame carries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct By {
    /// Its bits, in words.
    pub bits: String,
    /// The number of the first.
    pub first: u64,
}

impl Origin {
    fn gives(&self, slot: Slot) -> bool {
        let within = |at: u8, first: u8, count: u8| at >= first && at - first < count;
        self.slot.quantity == slot.quantity
            && within(slot.pack, self.slot.pack, self.packs)
            && within(slot.index, self.slot.index, self.count)
    }

    /// Message, frame and bits of one of the values that it gives, in words.
    fn words(&self, slot: Slot) -> String {
        let further = [slot.pack.saturating_sub(self.slot.pack), slot.index.saturating_sub(self.slot.index)];
        let by = self.by.iter().zip(further).filter_map(|(by, further)| {
            let By { bits, first } = by.as_ref()?;
            Some(format!(", while {bits} are {}", first.saturating_add(u64::from(further))))
        });
        by.fold(self.from.clone(), |words, by| words + &by)
    }

    /// Every value that it gives.
    pub fn slots(&self) -> impl Iterator<Item = Slot> {
        let Self { slot, packs, count, .. } = *self;
        let of = move |pack| (0..count).map(move |index| (pack, index));
        (0..packs).flat_map(of).map(move |(pack, index)| Slot {
            pack: slot.pack.saturating_add(pack),
            index: slot.index.saturating_add(index),
            ..slot
        })
    }
}

impl Snapshot {
    /// Every value that was heard with where it comes from, as far as a map in use gives it.
    #[must_use]
    pub fn sources_of_values(&self) -> Vec<(Slot, String)> {
        let origin = |slot: Slot| self.origins.iter().flat_map(|map| map.iter()).find(|origin| origin.gives(slot));
        self.heard.iter().filter_map(|slot| Some((*slot, origin(*slot)?.words(*slot)))).collect()
    }
}

/// What an interface speaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BusView {
    /// Interface index.
    pub channel: u8,
    /// What it speaks; several when our own format goes on beside another.
    pub dialects: Vec<Dialect>,
    /// It was told, not found from the traffic.
    pub forced: bool,
    /// What a reader of its values must know: who is read, what is not sent and why.
    pub remarks: Vec<String>,
}

/// As a person reads it.
impl std::fmt::Display for BusView {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.dialects.is_empty() {
            f.write_str("nothing that is read")?;
        }
        for (number, dialect) in self.dialects.iter().enumerate() {
            write!(f, "{}{dialect}", if number > 0 { " and " } else { "" })?;
        }
        let standard = self.dialects.iter().any(|dialect| matches!(dialect, Dialect::RvC | Dialect::Marine));
        match (standard, self.forced) {
            (true, true) => f.write_str(" (told so)"),
            (true, false) => f.write_str(" (found from its traffic)"),
            _ => Ok(()),
        }
    }
}

/// One sentence, a level, and what to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Level.
    pub level: Level,
    /// The sentence.
    pub text: String,
    /// What to do, or 'Nothing to do.'.
    pub what_to_do: String,
}

impl Default for Verdict {
    fn default() -> Self {
        Self { level: Level::NotKnown, text: "Nothing has been heard yet.".into(), what_to_do: String::new() }
    }
}

/// How a value stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Standing {
    /// Never arrived.
    #[default]
    Unseen,
    /// Valid now.
    Present,
    /// Was valid; the last one is too old.
    Stale,
    /// The bus says 'not available'.
    Missing,
    /// The bus says 'error', or the number cannot be.
    Invalid,
}

/// A value to be shown: never a number that is not there.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shown {
    /// The last valid number, also when stale.
    pub value: Option<f64>,
    /// How it stands.
    pub standing: Standing,
    /// Seconds since it last arrived.
    pub age_secs: Option<f64>,
    /// Smallest since the start.
    pub lowest: Option<f64>,
    /// Largest since the start.
    pub highest: Option<f64>,
}

impl Shown {
    /// The number, only when it is valid now.
    #[must_use]
    pub fn now(&self) -> Option<f64> {
        self.value.filter(|_| self.standing == Standing::Present)
    }
}

/// What the current does, in words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Motion {
    /// No valid current.
    #[default]
    NotKnown,
    /// Into the cells.
    Charging,
    /// Out of the cells.
    Drawing,
    /// Less than the dead-band.
    Resting,
}

/// One pack.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PackView {
    /// Cells, in series order.
    pub cells: Vec<CellView>,
    /// Temperature sensors.
    pub sensors: Vec<Shown>,
    /// Median of the valid cells, V.
    pub median_v: Option<f64>,
    /// Current, A, positive charging.
    pub current: Shown,
    /// What the current does.
    pub motion: Motion,
    /// Voltage on the cells' side, V.
    pub pack_voltage: Shown,
    /// Voltage beyond the BMS, V.
    pub bus_voltage: Shown,
    /// State of charge as the pack reports it, fraction.
    pub reported_soc: Shown,
    /// Switches and signals.
    pub switches: Switches,
    /// Up to which current charging is within limits now.
    pub fine_now: FineNow,
}

/// Switches and signals of a pack; `None` where not reported or stale.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Switches {
    /// Charge path closed.
    pub charge_path: Option<bool>,
    /// Discharge path closed.
    pub discharge_path: Option<bool>,
    /// Heater on.
    pub heater_on: Option<bool>,
    /// The BMS will cut off soon.
    pub pre_alarm: Option<bool>,
    /// Balancing.
    pub balancing: Option<bool>,
}

/// The current up to which charging is within limits at this temperature.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FineNow {
    /// Amperes; none when not known.
    pub amps: Option<f64>,
    /// Why it is not known, or what sets it.
    pub why: String,
}

/// One cell.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CellView {
    /// Voltage, V.
    pub voltage: Shown,
    /// Difference to the median, mV.
    pub delta_mv: Option<f64>,
    /// Being bled or fed; `None` where not reported.
    pub balancing: Option<bool>,
    /// A short word when there is something to say.
    pub remark: Option<&'static str>,
}

/// One charging source.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SourceView {
    /// Kind, in words.
    pub kind: &'static str,
    /// State, in words.
    pub state: &'static str,
    /// Current, A.
    pub current: Shown,
    /// What it could give, A.
    pub offer: Shown,
}

/// A question that technicians ask, and what the data says to it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answered {
    /// Name in JSON.
    pub code: &'static str,
    /// The question, in plain words.
    pub question: &'static str,
    /// The answer with its figures; none when the data does not tell.
    pub answer: Option<String>,
    /// Why there is no answer, or what it leaves open.
    pub why: Option<String>,
    /// What would tell.
    pub settled_by: Option<String>,
    /// Places of the findings that it rests on.
    pub findings: Vec<usize>,
    /// Names of the estimates that it rests on.
    pub estimates: Vec<&'static str>,
}

impl Answered {
    /// What is not known, why, and what would tell; none when nothing is open.
    #[must_use]
    pub fn open(&self) -> Option<String> {
        let why = self.why.as_ref()?;
        let told = self.settled_by.as_ref().map(|settled_by| format!("; would be told by {settled_by}"));
        Some(format!("{why}{}.", told.unwrap_or_default()))
    }
}

/// How good the data is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Quality {
    /// Bus frames.
    pub frames: u64,
    /// Bus frames that the map knows.
    pub decoded: u64,
    /// Values that said 'error' or could not be.
    pub invalid_values: u64,
    /// Error frames of the controllers.
    pub error_frames: u64,
    /// Stamp of the first bus frame.
    pub first: Option<Stamp>,
    /// Stamp of the last bus frame.
    pub last: Option<Stamp>,
    /// Rejected bytes or lines, by reason.
    pub rejected: Vec<(Rejection, u64)>,
    /// Stretches without data that should have been there.
    pub gaps: u64,
    /// Inputs that a recorder could not keep.
    pub unrecorded: u64,
    /// Frames lost, by whoever counted them.
    pub lost: u64,
    /// Clock steps.
    pub clock_steps: u64,
    /// Links: interface index, up, state of the controller.
    pub links: Vec<(u8, bool, Option<ControllerState>)>,
}

//! The engine: readings in, findings and a verdict out. It has no clock, no files and no threads; it is told
//! the time, and the same inputs give the same findings however they were cut.

pub mod anew;
mod answer;
mod beside;
pub mod case;
mod cause;
#[cfg(test)]
pub(crate) mod cells_in_row;
pub mod estimate;
pub mod gauge;
mod history;
mod median;
pub mod pack;
pub mod quality;
pub mod rule;
mod show;
#[cfg(test)]
pub(crate) mod story;
mod verdict;
pub mod view;

use crate::model::bank::{PackSpec, SourceKind};
use crate::model::limits::{LimitId, Limits};
use crate::model::{
    Bank, BankEvent, Beat, Body, Frame, Heard, MAX_PACKS, MAX_SOURCES, NANOS_PER_SEC, Quantity, Reading, Sent, Slot,
    Stamp, Value,
};
use case::{Cases, Moment};
use estimate::around::Around;
use estimate::minute::Allowed;
use estimate::share::Sharing;
use gauge::Gauge;
use pack::Pack;
use quality::DataQuality;
use rule::{Answer, BankBench, Bench, Court, Judge, RULES};
use serde::{Deserialize, Serialize};
use view::Looking;

/// Gauges of a charging source, in the order of their quantities.
const SOURCE_GAUGES: usize = 5;

/// A source that gives more than this charges, A.
const SOURCE_CHARGES: f64 = 0.5;

/// What belongs to the whole bank.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct BankState {
    /// Current over the bank's own shunt.
    pub current: Gauge,
    /// Voltage of the bank's bus.
    pub voltage: Gauge,
    /// Charging sources: kind, state, current, offer, voltage of each.
    pub sources: Vec<[Gauge; SOURCE_GAUGES]>,
    /// How packs in parallel share the current.
    pub sharing: Sharing,
}

impl BankState {
    /// The kind of the only source that is heard charging; none when it is none or several.
    #[must_use]
    pub fn only_source(&self, now: Stamp, periods: f64) -> Option<SourceKind> {
        let mut charging = self.charging(now, periods);
        let kind = charging.next()?;
        charging.next().is_none().then_some(kind)
    }

    /// Kinds of the sources that are heard charging: by their current, or where they tell none, by their state.
    pub fn charging(&self, now: Stamp, periods: f64) -> impl Iterator<Item = SourceKind> {
        let charges = move |gauges: &&[Gauge; SOURCE_GAUGES]| match gauges[2].now(now, periods) {
            Some(amps) => amps > SOURCE_CHARGES,
            None => gauges[1].now(now, periods).is_some_and(|state| (2.0..=5.0).contains(&state)),
        };
        let kind = move |gauges: &[Gauge; SOURCE_GAUGES]| {
            gauges[0].now(now, periods).and_then(|code| SourceKind::from_code(code as u8)).unwrap_or_default()
        };
        self.sources.iter().filter(charges).map(kind)
    }
}

/// The engine. Plain state: clone it, save it, restore it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Engine {
    limits: Limits,
    bank: Bank,
    /// A bank file described the bank: what the bus says about it is not taken.
    filed: bool,
    /// What was done to the bank, in the order of time, and how much of it has happened.
    history: Vec<BankEvent>,
    done: usize,
    packs: Vec<Pack>,
    state: BankState,
    cases: Cases,
    quality: DataQuality,
    /// How each rule about the whole bank last answered.
    answers: Vec<Answer>,
    /// Engine time of the last input.
    now: Stamp,
    /// Wall time less engine time: the sum of the clock's steps, ns.
    offset: i64,
    /// Something came since the last tick.
    dirty: bool,
    /// When the next tick is due without an input.
    deadline: Deadline,
    /// The recording has ended in good order; another may follow.
    paused: bool,
}

/// When the next tick is due without an input. Where values keep coming it is never asked for, and it costs a look at
/// every value: so it is worked out only when a whole second passes with nothing new.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
enum Deadline {
    /// Not before a second after this tick.
    NotBeforeSecondAfter(Stamp),
    /// As worked out; none when nothing changes by itself.
    At(Option<Stamp>),
}

impl Engine {
    /// An engine that has heard nothing; with a bank file's description, the bus's own is not taken.
    #[must_use]
    pub fn new(limits: Limits, bank: Option<Bank>) -> Self {
        let filed = bank.is_some();
        Self {
            limits,
            bank: bank.unwrap_or_default(),
            filed,
            history: Vec::new(),
            done: 0,
            packs: Vec::new(),
            state: BankState::default(),
            cases: Cases::default(),
            quality: DataQuality::default(),
            answers: vec![Answer::default(); RULES.len()],
            now: Stamp::MIN,
            offset: 0,
            dirty: false,
            deadline: Deadline::At(None),
            paused: false,
        }
    }

    /// Describes the bank anew, and sets the limits.
    pub fn describe(&mut self, limits: Limits, bank: Option<Bank>) {
        self.limits = limits;
        self.filed = bank.is_some();
        if let Some(bank) = bank {
            self.bank = bank;
        }
    }

    /// Moves engine time on to `to`, with every tick that falls due before it. In how many calls does not matter.
    #[inline]
    pub fn advance(&mut self, to: Stamp) {
        if self.paused && to > self.now {
            self.pause();
        }
        while let Some(due) = self.due_by(to) {
            self.tick(due);
        }
        self.now = self.now.max(to);
    }

    /// The next tick, if it is due by `to`.
    #[inline]
    fn due_by(&mut self, to: Stamp) -> Option<Stamp> {
        if !self.dirty
            && let Deadline::NotBeforeSecondAfter(tick) = self.deadline
        {
            if to.nanos() < tick.nanos().saturating_add(NANOS_PER_SEC) {
                return None;
            }
            self.deadline = Deadline::At(self.next_deadline(tick));
        }
        self.next_tick().filter(|due| *due <= to)
    }

    /// When the next tick is due.
    #[must_use]
    #[inline]
    pub fn next_tick(&self) -> Option<Stamp> {
        if self.dirty {
            return Some(Stamp::from_secs(self.now.secs() + 1));
        }
        match self.deadline {
            Deadline::NotBeforeSecondAfter(tick) => self.next_deadline(tick),
            Deadline::At(deadline) => deadline,
        }
    }

    /// Takes a value at the present engine time.
    #[inline(always)] // else the value goes through memory, in two halves that come back as one: a stall a value
    pub fn put(&mut self, slot: Slot, value: Value) {
        match value {
            Value::Present(number) => self.put_number(slot, number),
            blank => self.put_blank(slot, blank),
        }
    }

    #[inline(never)]
    fn put_number(&mut self, slot: Slot, number: f64) {
        self.put_value(slot, Value::Present(number));
    }

    #[inline(never)]
    fn put_blank(&mut self, slot: Slot, blank: Value) {
        self.put_value(slot, blank);
    }

    #[inline(always)]
    fn put_value(&mut self, slot: Slot, value: Value) {
        self.dirty = true;
        if slot.quantity.is_description() {
            if !self.filed {
                self.bank.describe(&Reading { slot, value });
            }
            return;
        }
        match slot.quantity {
            Quantity::BankCurrent => self.state.current.put(self.now, value),
            Quantity::BankVoltage => self.state.voltage.put(self.now, value),
            Quantity::SourceKind
            | Quantity::SourceState
            | Quantity::SourceCurrent
            | Quantity::SourceOffer
            | Quantity::SourceVoltage => {
                self.put_source(slot, value);
            }
            _ => {
                let now = self.now;
                if let Some(pack) = self.pack_mut(slot.pack, matches!(value, Value::Present(_))) {
                    pack.put(slot, value, now);
                }
            }
        }
    }

    #[inline]
    fn pack_mut(&mut self, number: u8, speaks: bool) -> Option<&mut Pack> {
        let index = usize::from(number);
        if index >= self.packs.len() && speaks {
            self.add_packs(index);
        }
        self.packs.get_mut(index)
    }

    /// A pack that speaks for the first time, if what it says is a number. Out of the way: a pack is large.
    #[cold]
    #[inline(never)]
    fn add_packs(&mut self, index: usize) {
        if index < MAX_PACKS {
            let from = self.packs.len();
            self.packs.extend((from..=index).map(|n| Pack::new(n as u8)));
        }
    }

    #[inline]
    fn put_source(&mut self, slot: Slot, value: Value) {
        let (index, place) = (usize::from(slot.index), slot.quantity as usize - Quantity::SourceKind as usize);
        if index >= self.state.sources.len() {
            self.add_sources(index);
        }
        if let Some(gauge) = self.state.sources.get_mut(index).and_then(|source| source.get_mut(place)) {
            gauge.put(self.now, value);
        }
    }

    /// A source that is heard for the first time.
    #[cold]
    #[inline(never)]
    fn add_sources(&mut self, index: usize) {
        if index < MAX_SOURCES {
            self.state.sources.resize(index + 1, [Gauge::default(); SOURCE_GAUGES]);
        }
    }

    /// A frame came; what the decoder made of it beside its values.
    #[inline]
    pub fn heard(&mut self, frame: &Frame, told: &Heard) {
        self.dirty = true;
        self.quality.frame(frame, told, self.now.plus_nanos(self.offset));
        if let Some(beat) = &told.beat {
            self.beat(beat);
        }
    }

    /// How a value comes to be sent: one that is sent when asked for is not missed.
    pub fn sent(&mut self, slot: Slot, sent: Sent) {
        if let Some(pack) = self.packs.get_mut(usize::from(slot.pack)) {
            pack.sent(slot, sent == Sent::Asked);
        }
    }

    /// Engine time of the last input.
    #[must_use]
    #[inline]
    pub fn now(&self) -> Stamp {
        self.now
    }

    /// A leap of the clock looks like a gap until a sender's own time shows what it was.
    fn beat(&mut self, beat: &Beat) {
        let before = self.quality.beat_at(beat.sender);
        let leap = self.quality.beat(beat, self.now, self.limits.get(LimitId::StaleFindSeconds));
        if let (Some(leap), Some(before)) = (leap, before) {
            self.quality.stepped(self.now, leap);
            self.quality.no_gap();
            if let Some(stale) = rule::number("stale-data") {
                self.cases.retract(stale, before);
            }
        }
    }

    /// Something came that is no frame.
    pub fn event(&mut self, body: &Body) {
        self.dirty = true;
        match body {
            Body::Acknowledge { rule, subject } => {
                if let Some(rule) = rule::by_key(*rule) {
                    self.cases.acknowledge(rule, *subject);
                }
            }
            Body::Closing => {
                self.close();
                self.paused = true;
            }
            Body::Suspend { .. } => {
                self.pause();
                self.quality.event(body, self.now.plus_nanos(self.offset));
            }
            Body::ClockStep { old } => {
                let secs = self.now.plus_nanos(self.offset).since(*old);
                if secs.abs() >= self.limits.get(LimitId::ClockStepSeconds) {
                    self.quality.stepped(self.now, secs);
                }
                self.quality.event(body, self.now.plus_nanos(self.offset));
            }
            other => self.quality.event(other, self.now.plus_nanos(self.offset)),
        }
    }

    /// Rises with every change that a screen or a script wants to hear of.
    #[must_use]
    pub fn changes(&self) -> u64 {
        self.cases.changes()
    }

    /// A state that came from elsewhere, unless it is larger than any bank.
    #[must_use]
    pub fn checked(self) -> Option<Self> {
        let sizes = self.packs.len() <= MAX_PACKS
            && self.bank.packs.len() <= MAX_PACKS
            && self.state.sources.len() <= MAX_SOURCES;
        let packs = self
            .packs
            .iter()
            .enumerate()
            .all(|(index, pack)| usize::from(pack.number) == index && pack.is_within_bounds());
        (sizes && packs && self.history_is_within_bounds() && self.cases.is_within_bounds()).then_some(self)
    }

    /// What stood is no longer asked for: nobody was listening. It is no gap of the bus.
    fn pause(&mut self) {
        self.paused = false;
        self.deadline = Deadline::At(None);
        self.dirty = false;
        self.packs.iter_mut().for_each(Pack::pause);
    }

    /// The wall clock stepped by so many nanoseconds.
    pub fn step_clock(&mut self, nanos: i64) {
        self.offset = self.offset.saturating_add(nanos);
        self.dirty = true;
    }

    /// Wall time less engine time, ns.
    #[must_use]
    pub fn offset(&self) -> i64 {
        self.offset
    }

    /// Ends the run in good order: the second that is under way is judged.
    pub fn close(&mut self) {
        if self.dirty {
            self.tick(Stamp::from_secs(self.now.secs() + 1));
        }
    }

    fn moment(&self, engine: Stamp) -> Moment {
        Moment { engine, wall: engine.plus_nanos(self.offset) }
    }

    fn tick(&mut self, due: Stamp) {
        let moment = self.moment(due);
        self.let_happen(moment.wall);
        let silence = (self.limits.get(LimitId::StaleFindPeriods), self.limits.get(LimitId::StaleFindSeconds));
        for index in 0..self.packs.len() {
            if self.packs[index].watch_silence(due, silence.0, silence.1) {
                self.quality.gap();
            }
            self.tick_pack(index, moment);
        }
        let least = (self.limits.get(LimitId::LossyHours) * 3600.0, self.limits.get(LimitId::LossyFrames));
        self.state.sharing.tick(&self.packs, &self.limits);
        self.quality.judge_stretch(due, least.0, least.1);
        self.judge_bank(moment);
        self.end_second();
        self.dirty = false;
        self.deadline = Deadline::NotBeforeSecondAfter(due);
    }

    fn tick_pack(&mut self, index: usize, moment: Moment) {
        let empty = PackSpec::default();
        let spec = self.bank.packs.get(index).unwrap_or(&empty);
        let shared = self.share(index, moment.engine);
        let others = self.others(index, moment.engine);
        let chargers_off = self.chargers_off(moment.engine);
        let pack = &mut self.packs[index];
        let at = Looking { spec, limits: &self.limits, now: moment.engine, shared };
        let mut view = view::look(std::mem::take(&mut pack.spare.0), pack, &at);
        view.chargers_off = chargers_off;
        pack.estimates.tick(&view, spec, &self.limits);
        let soc = pack.gauge(Quantity::ReportedSoc).now(moment.engine, self.limits.get(LimitId::StalePeriods));
        pack.estimates.reported.tick(&view, soc, &pack.estimates.charge, &self.limits);
        let allowed = Allowed::of(pack, moment.engine, &self.limits);
        let around = Around { before: &pack.view, spec, limits: &self.limits, bank: &self.state, others, allowed };
        pack.estimates.tick_ends(&view, &pack.balancing, &around);
        pack.estimates.tick_around(&view, &around);
        pack.estimates.resistance.tick(&view, &around);
        let mut answers = std::mem::take(&mut pack.answers);
        answers.resize(RULES.len(), Answer::default());
        let bench = Bench { pack, view: &view, spec, limits: &self.limits, bank: &self.state };
        for (rule, answer) in answers.iter_mut().enumerate() {
            if let Judge::Pack(judge) = RULES[rule].judge {
                judge(&bench, &mut court(rule, moment, &mut self.cases, answer));
            }
        }
        pack.answers = answers;
        pack.spare.0 = std::mem::replace(&mut pack.view, view);
        pack.end_second();
    }

    fn judge_bank(&mut self, moment: Moment) {
        let bench = BankBench {
            packs: &self.packs,
            bank: &self.bank,
            state: &self.state,
            quality: &self.quality,
            limits: &self.limits,
            now: moment.engine,
        };
        self.answers.resize(RULES.len(), Answer::default());
        for (rule, answer) in self.answers.iter_mut().enumerate() {
            if let Judge::Bank(judge) = RULES[rule].judge {
                judge(&bench, &mut court(rule, moment, &mut self.cases, answer));
            }
        }
    }

    fn end_second(&mut self) {
        self.state.current.end_second();
        self.state.voltage.end_second();
        self.state.sources.iter_mut().flatten().for_each(Gauge::end_second);
    }

    /// The next moment at which something changes without an input: a hold passes, or a value grows too old.
    fn next_deadline(&self, now: Stamp) -> Option<Stamp> {
        let periods = self.limits.get(LimitId::StalePeriods);
        let silence = (self.limits.get(LimitId::StaleFindPeriods), self.limits.get(LimitId::StaleFindSeconds));
        let gauges = self.packs.iter().flat_map(Pack::gauges).map(|(_, gauge)| gauge);
        let ages = gauges.filter_map(|gauge| gauge.next_change(now, periods, silence));
        let due = ages.chain(self.cases.due(now)).min()?;
        Some(next_second(due.max(now)))
    }
}

/// The first whole second after a moment.
fn next_second(after: Stamp) -> Stamp {
    Stamp::from_nanos(after.secs().saturating_add(1).saturating_mul(NANOS_PER_SEC))
}

fn court<'a>(rule: usize, now: Moment, cases: &'a mut Cases, answer: &'a mut Answer) -> Court<'a> {
    let rule = rule as u16;
    let open = cases.any(rule);
    Court { rule, now, cases, answer, open }
}

//! Everything that is remembered of one pack.

use super::estimate::Estimates;
use super::gauge::Gauge;
use super::rule::Answer;
use super::view::View;
use crate::model::{MAX_CELLS, MAX_SENSORS, Quantity, Slot, Stamp, Subject, Value};
use serde::{Deserialize, Serialize};

/// First quantity of which a pack has one gauge each.
const FIRST: usize = Quantity::PackVoltage as usize;
/// Gauges of a pack beside cells and sensors.
const SINGLES: usize = Quantity::DischargeTempMax as usize - FIRST + 1;

/// State of a pack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pack {
    /// Its number, from 0.
    pub number: u8,
    /// Cell voltages, as many as have been heard of.
    pub cells: Vec<Gauge>,
    /// Balancing of each cell, as many as have been heard of.
    pub balancing: Vec<Gauge>,
    /// Temperatures, as many as have been heard of.
    pub sensors: Vec<Gauge>,
    singles: [Gauge; SINGLES],
    /// What the last tick made of it.
    pub view: View,
    /// Room for the next view; what is in it means nothing.
    #[serde(skip)]
    pub(super) spare: Spare,
    /// Running estimates.
    pub estimates: Estimates,
    /// How each rule last answered.
    pub answers: Vec<Answer>,
    /// Since when nothing at all has been heard of it, once that is found; engine time.
    pub silent_since: Option<Stamp>,
}

/// Room that is used again; no two differ.
#[derive(Debug, Clone, Default)]
pub(super) struct Spare(pub(super) View);

impl PartialEq for Spare {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Pack {
    /// It as what something is said about.
    #[must_use]
    pub const fn subject(&self) -> Subject {
        Subject::pack(self.number)
    }

    /// A pack of which nothing is known.
    #[must_use]
    pub fn new(number: u8) -> Self {
        Self {
            number,
            cells: Vec::new(),
            balancing: Vec::new(),
            sensors: Vec::new(),
            singles: [Gauge::default(); SINGLES],
            view: View::default(),
            spare: Spare::default(),
            estimates: Estimates::default(),
            answers: Vec::new(),
            silent_since: None,
        }
    }

    /// The gauge of a quantity of which a pack has one; an empty one for any other.
    #[must_use]
    pub fn gauge(&self, quantity: Quantity) -> &Gauge {
        &self.singles[(quantity as usize).saturating_sub(FIRST).min(SINGLES - 1)]
    }

    /// Takes a value; `now` is engine time.
    #[inline(always)]
    pub fn put(&mut self, slot: Slot, value: Value, now: Stamp) {
        match slot.quantity {
            Quantity::CellVoltage => put_at(&mut self.cells, slot.index, value, now, MAX_CELLS),
            Quantity::Temperature => put_at(&mut self.sensors, slot.index, value, now, MAX_SENSORS),
            Quantity::CellBalancing => put_at(&mut self.balancing, slot.index, value, now, MAX_CELLS),
            quantity => self.put_single(quantity, value, now),
        }
    }

    #[inline]
    fn put_single(&mut self, quantity: Quantity, value: Value, now: Stamp) {
        let place = (quantity as usize).wrapping_sub(FIRST);
        if quantity == Quantity::Current {
            let path_open = self.gauge(Quantity::ChargePath).switch(now, 3.0) == Some(false);
            self.estimates.charge.current(&self.singles[place], value, now, path_open);
        }
        let Some(gauge) = self.singles.get_mut(place) else { return };
        gauge.put(now, value);
    }

    /// How a value comes to be sent: by itself, or only when a device asks.
    pub fn sent(&mut self, slot: Slot, asked: bool) {
        let index = usize::from(slot.index);
        let gauge = match slot.quantity {
            Quantity::CellVoltage => self.cells.get_mut(index),
            Quantity::Temperature => self.sensors.get_mut(index),
            Quantity::CellBalancing => self.balancing.get_mut(index),
            quantity => self.singles.get_mut((quantity as usize).wrapping_sub(FIRST)),
        };
        if let Some(gauge) = gauge {
            gauge.set_asked(asked);
        }
    }

    /// What stood is no longer asked for: a recording ended, or the computer slept.
    pub fn pause(&mut self) {
        let many = self.cells.iter_mut().chain(&mut self.sensors).chain(&mut self.balancing);
        many.chain(&mut self.singles).for_each(Gauge::pause);
        self.silent_since = None;
    }

    /// Notices when the whole pack falls silent; returns whether it has just done so.
    pub fn watch_silence(&mut self, now: Stamp, periods: f64, secs: f64) -> bool {
        let known = || self.gauges().map(|(_, gauge)| gauge).filter(|gauge| gauge.count() >= 3);
        let silent =
            known().all(|gauge| gauge.unheard_secs(now, periods, secs).is_some() || gauge.heard_at().is_none());
        // What is only ever sent when a device asks may be silent for good.
        let missed = silent && known().any(|gauge| !gauge.is_asked());
        let heard = if missed { known().filter_map(Gauge::heard_at).max() } else { None };
        let was = std::mem::replace(&mut self.silent_since, heard);
        was.is_none() && self.silent_since.is_some()
    }

    /// Ends the second in every gauge.
    pub fn end_second(&mut self) {
        let many = self.cells.iter_mut().chain(&mut self.sensors).chain(&mut self.balancing);
        many.chain(&mut self.singles).for_each(Gauge::end_second);
    }

    /// Whether a state from elsewhere is no larger than a pack can be.
    #[must_use]
    pub fn is_within_bounds(&self) -> bool {
        self.cells.len() <= MAX_CELLS
            && self.balancing.len() <= MAX_CELLS
            && self.sensors.len() <= MAX_SENSORS
            && self.estimates.hours.is_within_bounds()
            && self.estimates.apart.is_within_bounds()
            && self.estimates.habits.is_within_bounds()
            && self.estimates.leads.is_within_bounds()
            && self.estimates.resistance.is_within_bounds()
            && self.estimates.stress.minute.is_within_bounds()
    }

    /// Every gauge with its slot, to be changed.
    pub fn gauges_mut(&mut self) -> impl Iterator<Item = (Slot, &mut Gauge)> {
        let pack = self.number;
        let several = move |quantity: Quantity| move |(at, gauge)| (Slot::at(pack, quantity, at as u8), gauge);
        let cells = self.cells.iter_mut().enumerate().map(several(Quantity::CellVoltage));
        let sensors = self.sensors.iter_mut().enumerate().map(several(Quantity::Temperature));
        let single = move |(at, gauge)| (Slot::of(pack, Quantity::ALL[FIRST + at]), gauge);
        let singles = self.singles.iter_mut().enumerate().map(single);
        cells.chain(sensors).chain(singles)
    }

    /// Every gauge with its slot, for questions about what arrives at all.
    pub fn gauges(&self) -> impl Iterator<Item = (Slot, &Gauge)> {
        let pack = self.number;
        let cells =
            self.cells.iter().enumerate().map(move |(i, g)| (Slot::at(pack, Quantity::CellVoltage, i as u8), g));
        let sensors =
            self.sensors.iter().enumerate().map(move |(i, g)| (Slot::at(pack, Quantity::Temperature, i as u8), g));
        let singles = self.singles.iter().enumerate().map(move |(i, g)| (Slot::of(pack, Quantity::ALL[FIRST + i]), g));
        cells.chain(sensors).chain(singles)
    }
}

#[inline(always)]
fn put_at(gauges: &mut Vec<Gauge>, index: u8, value: Value, now: Stamp, most: usize) {
    match gauges.get_mut(usize::from(index)) {
        Some(gauge) => gauge.put(now, value),
        None if matches!(value, Value::Present(_)) => fit(gauges, index, value, now, most),
        None => {}
    }
}

/// A cell or sensor that gives its first number.
#[cold]
fn fit(gauges: &mut Vec<Gauge>, index: u8, value: Value, now: Stamp, most: usize) {
    let index = usize::from(index);
    if index < most {
        gauges.resize(index + 1, Gauge::default());
        gauges[index].put(now, value);
    }
}

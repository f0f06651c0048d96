//! One pack at one tick, as rules and estimators look at it. Made anew at every tick from the gauges.

use super::gauge::{Extremes, Gauge};
use super::median::median_of;
use super::pack::Pack;
use crate::model::bank::{PackSpec, SensorRole};
use crate::model::limits::LimitId;
use crate::model::snapshot::Switches;
use crate::model::{Limits, MAX_CELLS, MAX_SENSORS, Quantity, Stamp};
use serde::{Deserialize, Serialize};

/// Between these a cell is on or near the plateau, V; judgement of this project.
const PLATEAU: (f64, f64) = (3.0, 3.5);

/// The dead-band is at least so many times the learnt offset of the current sensor; judgement of this project.
const DEAD_OFFSETS: f64 = 3.0;

/// One cell at one tick.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CellNow {
    /// Cell, from 0.
    pub cell: u8,
    /// Standing voltage, V.
    pub volts: f64,
    /// Extremes since the last tick, V.
    pub recent: Extremes,
    /// Readings since the start.
    pub count: u32,
    /// Readings since the last tick.
    pub fresh: u16,
}

impl CellNow {
    /// Readings since the last tick that were above a limit, as far as two.
    #[must_use]
    pub fn readings_above(&self, limit: f64) -> u32 {
        u32::from(self.recent.high > limit) + u32::from(self.fresh > 1 && self.recent.high2 > limit)
    }

    /// Readings since the last tick that were below a limit, as far as two.
    #[must_use]
    pub fn readings_below(&self, limit: f64) -> u32 {
        u32::from(self.recent.low < limit) + u32::from(self.fresh > 1 && self.recent.low2 < limit)
    }
}

/// What two neighbours' readings say of their balance leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeadFault {
    /// The lead between them is open.
    Open,
    /// Two leads are swapped.
    Swapped,
}

/// One temperature sensor at one tick.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SensorNow {
    /// Sensor, from 0.
    pub sensor: u8,
    /// Standing temperature, °C.
    pub celsius: f64,
    /// Its role.
    pub role: SensorRole,
    /// At which cell.
    pub cell: Option<u8>,
    /// Readings since the start.
    pub count: u32,
}

/// The current of a pack at one tick.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CurrentNow {
    /// Standing current, A, positive charging.
    pub amps: f64,
    /// Extremes since the last tick, A.
    pub recent: Extremes,
    /// Readings since the start.
    pub count: u32,
    /// Whether it is a share of the bank's, by rated capacity, for want of the pack's own.
    pub shared: bool,
}

/// A pack at one tick. What is not valid now is not in it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// Engine time of the tick.
    pub now: Stamp,
    /// Engine time of the tick before; the same at the first.
    pub before: Stamp,
    /// Cells in series, as described or else as many as were heard; 0 when neither.
    pub cells_in_series: u8,
    /// Rated capacity, Ah.
    pub capacity: Option<f64>,
    /// Valid cells, in series order.
    pub cells: Vec<CellNow>,
    /// Median of the valid cells, V.
    pub median: Option<f64>,
    /// Mean voltage per cell, V: of the cells if all are valid, else pack voltage / cells in series.
    pub mean: Option<f64>,
    /// Whether `mean` is the substitute from the pack voltage.
    pub mean_from_pack: bool,
    /// Valid sensors that set limits (cell and case), else those of unknown role.
    pub limiting: Vec<SensorNow>,
    /// Whether the limiting sensors have a known role: without it nothing urgent may rest on them.
    pub role_known: bool,
    /// Every valid sensor.
    pub sensors: Vec<SensorNow>,
    /// Current.
    pub current: Option<CurrentNow>,
    /// Pack voltage on the cells' side, V.
    pub pack_voltage: Option<f64>,
    /// Voltage beyond the BMS, V.
    pub bus_voltage: Option<f64>,
    /// Switches that are valid now.
    pub switches: Switches,
    /// Readings at the end of their range, which are no readings: a bit a cell, a bit a sensor, the current.
    at_end: (u32, u16, bool),
    /// Whether every charging source that reports says 'off'; none when none reports.
    pub chargers_off: Option<bool>,
    /// What the current sensor reads at zero, A; none while it is not learnt.
    pub offset: Option<f64>,
}

impl View {
    /// Cells whose reading is at the end of its range.
    pub fn cells_at_end(&self) -> impl Iterator<Item = usize> + use<> {
        let bits = self.at_end.0;
        (0..MAX_CELLS).filter(move |cell| bits >> cell & 1 == 1)
    }

    /// Sensors whose reading is at the end of its range.
    pub fn sensors_at_end(&self) -> impl Iterator<Item = usize> + use<> {
        let bits = self.at_end.1;
        (0..MAX_SENSORS).filter(move |sensor| bits >> sensor & 1 == 1)
    }

    /// Whether the pack's own current is at the end of its range.
    #[must_use]
    pub fn current_at_end(&self) -> bool {
        self.at_end.2
    }

    /// Seconds since the tick before.
    #[must_use]
    pub fn secs(&self) -> f64 {
        self.now.since(self.before).max(0.0)
    }

    /// Current as a multiple of the rated capacity, positive charging.
    #[must_use]
    pub fn rate(&self) -> Option<f64> {
        Some(self.current?.amps / self.capacity?)
    }

    /// The coldest sensor that sets limits.
    #[must_use]
    pub fn coldest(&self) -> Option<SensorNow> {
        self.limiting.iter().copied().min_by(|a, b| a.celsius.total_cmp(&b.celsius))
    }

    /// The hottest sensor that sets limits.
    #[must_use]
    pub fn hottest(&self) -> Option<SensorNow> {
        self.limiting.iter().copied().max_by(|a, b| a.celsius.total_cmp(&b.celsius))
    }

    /// The cell with the highest voltage.
    #[must_use]
    pub fn highest(&self) -> Option<CellNow> {
        self.cells.iter().copied().max_by(|a, b| a.volts.total_cmp(&b.volts))
    }

    /// The cell with the lowest voltage.
    #[must_use]
    pub fn lowest(&self) -> Option<CellNow> {
        self.cells.iter().copied().min_by(|a, b| a.volts.total_cmp(&b.volts))
    }

    /// Whether this cell and a neighbour read like two cells whose common balance lead is open or swapped with the
    /// next. Neither voltage is then the cell's own.
    #[must_use]
    pub fn lead_may_be_open(&self, cell: u8, limits: &Limits) -> bool {
        let Some(own) = self.near(cell) else { return false };
        [cell.checked_sub(1), cell.checked_add(1)].into_iter().flatten().any(|next| match self.near(next) {
            Some(other) => self.pair_fault(&own, &other, limits).is_some(),
            None => false,
        }) || self.is_swapped(&own)
    }

    /// The first pair of neighbours that reads like an open or a swapped balance lead: the lower cell, and which.
    #[must_use]
    pub fn lead_faults(&self, limits: &Limits) -> Option<(u8, LeadFault)> {
        let off = limits.get(LimitId::TapOff);
        let (low, high) = self.cells.iter().fold((f64::MAX, f64::MIN), |(l, h), c| (l.min(c.volts), h.max(c.volts)));
        if high - low < off {
            return None;
        }
        let swapped = self.cells.iter().find(|cell| cell.volts < -1.0 && self.is_swapped(cell));
        if let Some(cell) = swapped {
            return Some((cell.cell, LeadFault::Swapped));
        }
        let pair = |pair: &[CellNow]| match pair {
            [one, two] if one.cell + 1 == two.cell => Some((one.cell, self.pair_fault(one, two, limits)?)),
            _ => None,
        };
        self.cells.windows(2).find_map(pair)
    }

    fn near(&self, cell: u8) -> Option<CellNow> {
        self.cells.iter().find(|c| c.cell == cell).copied()
    }

    /// One too high by as much as the other is too low, while the others stand on the plateau.
    fn pair_fault(&self, own: &CellNow, other: &CellNow, limits: &Limits) -> Option<LeadFault> {
        let rest = self.cells.iter().filter(|c| c.cell != own.cell && c.cell != other.cell);
        let (sum, count) = rest.fold((0.0, 0), |(sum, count), c| (sum + c.volts, count + 1));
        let others = sum / f64::from(count);
        let balanced = (own.volts + other.volts - 2.0 * others).abs() <= limits.get(LimitId::TapSum) * 1e-3;
        let open = count > 0
            && balanced
            && (own.volts - others).abs() >= limits.get(LimitId::TapOff)
            && (PLATEAU.0..=PLATEAU.1).contains(&others);
        open.then_some(LeadFault::Open)
    }

    /// Less than none beside twice a cell's voltage: two leads are swapped. This cell is one of them.
    fn is_swapped(&self, own: &CellNow) -> bool {
        let double = 2.0 * PLATEAU.0..=2.0 * PLATEAU.1;
        let beside = |test: &dyn Fn(f64) -> bool| {
            [own.cell.checked_sub(1), own.cell.checked_add(1)]
                .into_iter()
                .flatten()
                .filter_map(|cell| self.near(cell))
                .any(|cell| test(cell.volts))
        };
        let negative = |volts: f64| (-PLATEAU.1..=-PLATEAU.0).contains(&volts);
        (negative(own.volts) && beside(&|volts| double.contains(&volts)))
            || (double.contains(&own.volts) && beside(&negative))
    }

    /// Whether every cell in series is valid.
    #[must_use]
    pub fn sees_all_cells(&self) -> bool {
        self.cells_in_series > 0 && self.cells.len() == usize::from(self.cells_in_series)
    }

    /// Smallest current that counts as charging or drawing, A.
    #[must_use]
    pub fn dead_band(&self, limits: &Limits) -> f64 {
        let learnt = self.offset.map_or(0.0, |offset| DEAD_OFFSETS * offset.abs());
        let amps = limits.get(LimitId::DeadBandAmps).max(learnt);
        self.capacity.map_or(amps, |capacity| amps.max(capacity * limits.get(LimitId::DeadBandRate)))
    }
}

/// What the view of a pack is made with.
pub struct Looking<'a> {
    /// The pack as described.
    pub spec: &'a PackSpec,
    /// The limits in force.
    pub limits: &'a Limits,
    /// Engine time of the tick.
    pub now: Stamp,
    /// The bank's current as far as this pack's share of it goes, for want of the pack's own.
    pub shared: Option<CurrentNow>,
}

/// Makes the view of a pack anew, in the room of an older one.
#[must_use]
pub fn look(room: View, pack: &Pack, at: &Looking) -> View {
    let periods = at.limits.get(LimitId::StalePeriods);
    let before = pack.view.now;
    let mut view = View { before: if before == Stamp::default() { at.now } else { before }, now: at.now, ..room };
    view.at_end = (0, 0, false);
    view.offset = pack.estimates.soc.learnt_offset().map(|learnt| learnt.amps);
    view.look_at_cells(pack, at.spec, periods);
    view.look_at_sensors(pack, at.spec, periods);
    let valid = |quantity| pack.gauge(quantity).now(at.now, periods);
    let switch = |quantity| pack.gauge(quantity).switch(at.now, periods);
    view.cells_in_series = at.spec.cells.unwrap_or(pack.cells.len() as u8);
    view.capacity = at.spec.rated.capacity.map(|c| c.get());
    view.pack_voltage = valid(Quantity::PackVoltage);
    view.bus_voltage = valid(Quantity::BusVoltage);
    view.median = median_of::<MAX_CELLS>(view.cells.iter().map(|cell| cell.volts));
    (view.mean, view.mean_from_pack) = mean(&view.cells, view.cells_in_series, view.pack_voltage);
    let (low, high) = at.spec.span.current;
    let own = own_current(pack.gauge(Quantity::Current), at.now, periods);
    view.at_end.2 = own.is_some_and(|current| at_end(current.amps, (low.map(|a| a.get()), high.map(|a| a.get()))));
    view.current = own.filter(|_| !view.at_end.2).or(at.shared);
    view.switches = Switches {
        charge_path: switch(Quantity::ChargePath),
        discharge_path: switch(Quantity::DischargePath),
        heater_on: switch(Quantity::HeaterOn),
        pre_alarm: switch(Quantity::PreAlarm),
        balancing: switch(Quantity::Balancing),
    };
    view
}

/// Whether a number lies at or beyond an end of its range, where it is no reading.
fn at_end(number: f64, (low, high): (Option<f64>, Option<f64>)) -> bool {
    low.is_some_and(|low| number <= low) || high.is_some_and(|high| number >= high)
}

impl View {
    fn look_at_cells(&mut self, pack: &Pack, spec: &PackSpec, periods: f64) {
        let (low, high) = spec.span.cell;
        let ends = (low.map(|v| v.get()), high.map(|v| v.get()));
        self.cells.clear();
        for (index, gauge) in pack.cells.iter().take(MAX_CELLS).enumerate() {
            let Some(volts) = gauge.now(self.now, periods) else { continue };
            if at_end(volts, ends) {
                self.at_end.0 |= u32::from(gauge.is_fresh()) << index;
                continue;
            }
            let (recent, count, fresh) = (gauge.recent(), gauge.count(), gauge.fresh());
            self.cells.push(CellNow { cell: index as u8, volts, recent, count, fresh });
        }
    }

    fn look_at_sensors(&mut self, pack: &Pack, spec: &PackSpec, periods: f64) {
        let (low, high) = spec.span.temperature;
        let ends = (low.map(|t| t.get()), high.map(|t| t.get()));
        self.sensors.clear();
        self.limiting.clear();
        for (index, gauge) in pack.sensors.iter().take(MAX_SENSORS).enumerate() {
            let Some(celsius) = gauge.now(self.now, periods) else { continue };
            if at_end(celsius, ends) {
                self.at_end.1 |= u16::from(gauge.is_fresh()) << index;
                continue;
            }
            let place = spec.sensors.get(index).copied().unwrap_or_default();
            let sensor =
                SensorNow { sensor: index as u8, celsius, role: place.role, cell: place.cell, count: gauge.count() };
            self.sensors.push(sensor);
            if pack.estimates.sensors.trouble(index).is_none() && place.role.sets_limits() {
                self.limiting.push(sensor);
            }
        }
        self.role_known = !self.limiting.is_empty();
        if self.limiting.is_empty() {
            let unknown = |s: &&SensorNow| {
                s.role == SensorRole::Unknown && pack.estimates.sensors.trouble(usize::from(s.sensor)).is_none()
            };
            self.limiting.extend(self.sensors.iter().filter(unknown));
        }
    }
}

pub(super) fn own_current(gauge: &Gauge, now: Stamp, periods: f64) -> Option<CurrentNow> {
    let amps = gauge.now(now, periods)?;
    Some(CurrentNow { amps, recent: gauge.recent(), count: gauge.count(), shared: false })
}

fn mean(cells: &[CellNow], in_series: u8, pack_voltage: Option<f64>) -> (Option<f64>, bool) {
    if !cells.is_empty() && cells.len() >= usize::from(in_series) {
        return (Some(cells.iter().map(|c| c.volts).sum::<f64>() / cells.len() as f64), false);
    }
    let from_pack = pack_voltage.filter(|_| in_series > 0).map(|v| v / f64::from(in_series));
    (from_pack, from_pack.is_some())
}

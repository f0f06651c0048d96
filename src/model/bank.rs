//! The bank as plain data: what its description frames, its file or a person say about it.
//!
//! Everything is optional: what nobody has said is `None`, and who needs it says 'not judged'.

use super::{MAX_CELLS, MAX_PACKS, MAX_SENSORS, Quantity, Reading, Slot, Value};
use crate::unit::{AmpHours, Amps, Celsius, Ohms, Volts};
use serde::{Deserialize, Serialize};

/// Packs in parallel.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Bank {
    /// The packs, in the order of their numbers.
    pub packs: Vec<PackSpec>,
}

/// One pack: cells in series with their own BMS.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PackSpec {
    /// Cells in series.
    pub cells: Option<u8>,
    /// What it is rated for.
    pub rated: Ratings,
    /// Highest absorption voltage that its maker allows.
    pub absorption: Option<Volts>,
    /// Highest float voltage that its maker allows.
    pub float: Option<Volts>,
    /// The heater.
    pub heater: Heater,
    /// How it balances.
    pub balance: Balance,
    /// Where the temperature sensors sit.
    pub sensors: [SensorSpec; MAX_SENSORS],
    /// Known resistance of the link that lies inside a cell's measured voltage, by cell.
    pub links: [Option<Ohms>; MAX_CELLS],
    /// Resolution of each kind of value.
    pub grain: Grain,
    /// Ends of the range of each kind of value.
    pub span: Span,
}

/// Rated values of a pack.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Ratings {
    /// Capacity.
    pub capacity: Option<AmpHours>,
    /// Charge current.
    pub charge: Option<Amps>,
    /// Discharge current.
    pub discharge: Option<Amps>,
    /// Current of the weakest part of the path.
    pub weakest: Option<Amps>,
}

/// The heater of a pack.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Heater {
    /// Whether there is one.
    pub fitted: Option<bool>,
    /// What it draws.
    pub current: Option<Amps>,
}

/// How a pack balances.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Balance {
    /// Balance current.
    pub current: Option<Amps>,
    /// Kind.
    pub kind: Option<BalanceKind>,
    /// Cell voltage above which it may run.
    pub threshold: Option<Volts>,
}

/// Where a temperature sensor sits.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct SensorSpec {
    /// What it measures.
    pub role: SensorRole,
    /// At which cell, from 0.
    pub cell: Option<u8>,
}

/// Resolution of each kind of value.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Grain {
    /// Of cell voltages.
    pub cell: Option<Volts>,
    /// Of temperatures, in kelvin.
    pub temperature: Option<f64>,
    /// Of currents.
    pub current: Option<Amps>,
    /// Of pack voltages.
    pub pack: Option<Volts>,
}

/// Ends of the range of each kind of value.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Span {
    /// Of cell voltages.
    pub cell: (Option<Volts>, Option<Volts>),
    /// Of temperatures.
    pub temperature: (Option<Celsius>, Option<Celsius>),
    /// Of currents.
    pub current: (Option<Amps>, Option<Amps>),
    /// Of pack voltages.
    pub pack: (Option<Volts>, Option<Volts>),
}

macro_rules! coded {
    ($(#[$doc:meta])* $type:ident, $default:ident, $($code:literal $variant:ident $word:literal;)*) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $type { $(#[doc = $word] $variant,)* }

        impl $type {
            /// Every one, with the number that the frame format carries.
            pub const ALL: &'static [(u8, Self)] = &[$(($code, Self::$variant)),*];

            /// From the number that the frame format carries.
            #[must_use]
            pub fn from_code(code: u8) -> Option<Self> {
                Self::ALL.iter().find(|(c, _)| *c == code).map(|(_, v)| *v)
            }

            /// The number that the frame format carries.
            #[must_use]
            pub const fn code(self) -> u8 {
                match self { $(Self::$variant => $code,)* }
            }

            /// In words.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }

        impl Default for $type {
            fn default() -> Self { Self::$default }
        }
    };
}

coded!(
    /// What a temperature sensor measures. Only cell and case set limits for cells.
    SensorRole, Unknown,
    0 Unknown "unknown";
    1 Cell "cell";
    2 Case "case";
    3 Terminal "terminal";
    4 Electronics "electronics";
    5 Ambient "ambient";
);
coded!(
    /// How a pack balances its cells.
    BalanceKind, Unknown,
    0 Unknown "unknown";
    1 None "none";
    2 BleedAbove "bleeds every cell above a threshold";
    3 BleedHighest "bleeds cells above the lowest";
    4 Transfer "moves charge between cells";
);
coded!(
    /// Kind of a charging source.
    SourceKind, Unknown,
    0 Unknown "unknown source";
    1 Alternator "alternator";
    2 Shore "shore charger";
    3 Solar "solar";
    4 Wind "wind";
    5 Generator "generator";
    6 Converter "DC converter";
);
coded!(
    /// State of a charging source.
    SourceState, Unknown,
    0 Unknown "unknown";
    1 Off "off";
    2 Bulk "bulk";
    3 Absorption "absorption";
    4 Float "float";
    5 Equalise "equalise";
    6 Storage "storage";
    7 Fault "fault";
);

impl SensorRole {
    /// Whether a sensor in this role may set a limit for cells.
    #[must_use]
    pub const fn sets_limits(self) -> bool {
        matches!(self, Self::Cell | Self::Case)
    }
}

impl Bank {
    /// The description of pack `pack`, made if it is not there yet; `None` beyond the largest bank.
    pub fn pack_mut(&mut self, pack: u8) -> Option<&mut PackSpec> {
        let index = usize::from(pack);
        if index >= MAX_PACKS {
            return None;
        }
        if self.packs.len() <= index {
            self.packs.resize_with(index + 1, PackSpec::default);
        }
        self.packs.get_mut(index)
    }

    /// Takes a reading that describes the bank. Returns whether it was one; a missing value leaves what is known.
    pub fn describe(&mut self, reading: &Reading) -> bool {
        if !reading.slot.quantity.is_description() {
            return false;
        }
        if let Value::Present(number) = reading.value {
            if reading.slot.quantity == Quantity::PackCount {
                self.pack_mut((number as u8).saturating_sub(1));
            } else if let Some(pack) = self.pack_mut(reading.slot.pack) {
                pack.describe(reading.slot.quantity, usize::from(reading.slot.index), number);
            }
        }
        true
    }
}

impl Bank {
    /// What the description says of a slot, in the unit of its quantity: the way back from [`Bank::describe`].
    #[must_use]
    pub fn told(&self, slot: Slot) -> Option<f64> {
        if slot.quantity == Quantity::PackCount {
            return Some(self.packs.len() as f64).filter(|count| *count > 0.0);
        }
        self.packs.get(usize::from(slot.pack))?.told(slot.quantity, usize::from(slot.index))
    }
}

impl Quantity {
    /// Whether this describes the bank instead of measuring it.
    #[must_use]
    pub const fn is_description(self) -> bool {
        self as u8 >= Self::PackCount as u8
    }
}

impl PackSpec {
    fn describe(&mut self, quantity: Quantity, index: usize, number: f64) {
        let volts = Some(Volts::of(number));
        let amps = Some(Amps::of(number));
        let celsius = Some(Celsius::of(number));
        match quantity {
            Quantity::CellCount => self.cells = Some(number as u8),
            Quantity::RatedCapacity => self.rated.capacity = Some(AmpHours::of(number)),
            Quantity::RatedCharge => self.rated.charge = amps,
            Quantity::RatedDischarge => self.rated.discharge = amps,
            Quantity::WeakestPart => self.rated.weakest = amps,
            Quantity::AllowedAbsorption => self.absorption = volts,
            Quantity::AllowedFloat => self.float = volts,
            Quantity::HeaterFitted => self.heater.fitted = Some(number > 0.5),
            Quantity::HeaterCurrent => self.heater.current = amps,
            Quantity::BalanceCurrent => self.balance.current = amps,
            Quantity::BalanceKind => self.balance.kind = BalanceKind::from_code(number as u8),
            Quantity::BalanceThreshold => self.balance.threshold = volts,
            Quantity::CellVoltageStep => self.grain.cell = volts,
            Quantity::TemperatureStep => self.grain.temperature = Some(number),
            Quantity::CurrentStep => self.grain.current = amps,
            Quantity::PackVoltageStep => self.grain.pack = volts,
            Quantity::CellVoltageLow => self.span.cell.0 = volts,
            Quantity::CellVoltageHigh => self.span.cell.1 = volts,
            Quantity::CurrentLow => self.span.current.0 = amps,
            Quantity::CurrentHigh => self.span.current.1 = amps,
            Quantity::TemperatureLow => self.span.temperature.0 = celsius,
            Quantity::TemperatureHigh => self.span.temperature.1 = celsius,
            Quantity::PackVoltageLow => self.span.pack.0 = volts,
            Quantity::PackVoltageHigh => self.span.pack.1 = volts,
            _ => self.describe_part(quantity, index, number),
        }
    }

    fn told(&self, quantity: Quantity, index: usize) -> Option<f64> {
        let volts = |volts: Option<Volts>| volts.map(Volts::get);
        let amps = |amps: Option<Amps>| amps.map(Amps::get);
        let celsius = |celsius: Option<Celsius>| celsius.map(Celsius::get);
        match quantity {
            Quantity::CellCount => self.cells.map(f64::from),
            Quantity::RatedCapacity => self.rated.capacity.map(AmpHours::get),
            Quantity::RatedCharge => amps(self.rated.charge),
            Quantity::RatedDischarge => amps(self.rated.discharge),
            Quantity::WeakestPart => amps(self.rated.weakest),
            Quantity::AllowedAbsorption => volts(self.absorption),
            Quantity::AllowedFloat => volts(self.float),
            Quantity::HeaterFitted => self.heater.fitted.map(|fitted| f64::from(u8::from(fitted))),
            Quantity::HeaterCurrent => amps(self.heater.current),
            Quantity::BalanceCurrent => amps(self.balance.current),
            Quantity::BalanceKind => self.balance.kind.map(|kind| f64::from(kind.code())),
            Quantity::BalanceThreshold => volts(self.balance.threshold),
            Quantity::CellVoltageStep => volts(self.grain.cell),
            Quantity::TemperatureStep => self.grain.temperature,
            Quantity::CurrentStep => amps(self.grain.current),
            Quantity::PackVoltageStep => volts(self.grain.pack),
            Quantity::CellVoltageLow => volts(self.span.cell.0),
            Quantity::CellVoltageHigh => volts(self.span.cell.1),
            Quantity::CurrentLow => amps(self.span.current.0),
            Quantity::CurrentHigh => amps(self.span.current.1),
            Quantity::TemperatureLow => celsius(self.span.temperature.0),
            Quantity::TemperatureHigh => celsius(self.span.temperature.1),
            Quantity::PackVoltageLow => volts(self.span.pack.0),
            Quantity::PackVoltageHigh => volts(self.span.pack.1),
            Quantity::SensorRole => {
                let sensor = self.sensors.get(index).filter(|sensor| sensor.role != SensorRole::Unknown);
                sensor.map(|sensor| f64::from(sensor.role.code()))
            }
            Quantity::SensorCell => self.sensors.get(index)?.cell.map(|cell| f64::from(cell) + 1.0),
            Quantity::LinkResistance => self.links.get(index).copied().flatten().map(|ohms| ohms.get() * 1e3),
            _ => None,
        }
    }

    fn describe_part(&mut self, quantity: Quantity, index: usize, number: f64) {
        match quantity {
            Quantity::SensorRole => {
                if let Some(sensor) = self.sensors.get_mut(index) {
                    sensor.role = SensorRole::from_code(number as u8).unwrap_or_default();
                }
            }
            Quantity::SensorCell => {
                if let Some(sensor) = self.sensors.get_mut(index) {
                    sensor.cell = Some((number as u8).saturating_sub(1));
                }
            }
            Quantity::LinkResistance => {
                if let Some(link) = self.links.get_mut(index) {
                    *link = Some(Ohms::of(number * 1e-3));
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_description_is_told_it_tells_again() {
        let mut bank = Bank::default();
        for quantity in Quantity::ALL.iter().filter(|quantity| quantity.is_description()) {
            let slot = Slot::at(0, *quantity, 0);
            let (low, high) = quantity.bounds();
            let number = (low + (high - low) / 7.0).round().clamp(low.max(1.0), high);
            bank.describe(&Reading { slot, value: Value::Present(number) });
            let told = bank.told(slot).unwrap_or_else(|| panic!("{slot:?} is not told"));
            let expected = if *quantity == Quantity::PackCount { number.round() } else { number };
            assert!((told - expected).abs() < 1e-9, "{slot:?}: {told} for {expected}");
        }
    }
}

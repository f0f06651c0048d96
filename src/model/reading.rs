//! What a frame says, once decoded: which value of which part of the bank, and whether it is there at all.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A value as it arrived. Never a default number: what is not there is `Missing`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A number in the unit of its [`Quantity`].
    Present(f64),
    /// The bus says 'not available'.
    Missing,
    /// The bus says 'error', or the number lies outside of what the quantity can be; with the raw bits.
    Invalid(u64),
}

/// Which part of the bank a value belongs to. Packs, cells, sensors and sources count from 0 here, from 1
/// wherever a person reads them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Slot {
    /// Pack (0 to 15); for values of the whole bank always 0.
    pub pack: u8,
    /// Cell, sensor, source or link; 0 where the quantity has only one.
    pub index: u8,
    /// What is measured.
    pub quantity: Quantity,
}

/// A value at its slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Where it belongs.
    pub slot: Slot,
    /// What it is.
    pub value: Value,
}

macro_rules! quantities {
    ($($variant:ident, $name:literal, $unit:literal, $min:literal, $max:literal, $doc:literal;)*) => {
        /// What is measured, reported or described.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum Quantity { $(#[doc = $doc] $variant,)* }

        impl Quantity {
            /// Every quantity there is.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// Name in `decode`'s output and in the documentation of the frame format.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// Unit; empty for states, kinds and counts.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$variant => $unit,)* }
            }

            /// Smallest and largest number that can be real; beyond them a value is invalid.
            #[must_use]
            pub const fn bounds(self) -> (f64, f64) {
                match self { $(Self::$variant => ($min, $max),)* }
            }
        }
    };
}

quantities! {
    CellVoltage, "cell_voltage", "V", 0.0, 6.5, "Voltage of one cell.";
    Temperature, "temperature", "degC", -60.0, 200.0, "One temperature sensor.";
    PackVoltage, "pack_voltage", "V", 0.0, 131.0, "Pack voltage on the cells' side of the BMS.";
    BusVoltage, "bus_voltage", "V", 0.0, 131.0, "Voltage beyond BMS and switch.";
    Current, "current", "A", -2000.0, 2000.0, "Pack current; positive is charge into the cells.";
    BankCurrent, "bank_current", "A", -5000.0, 5000.0, "Current of the whole bank over one shunt.";
    BankVoltage, "bank_voltage", "V", 0.0, 131.0, "Voltage of the bank's bus.";
    ChargePath, "charge_path", "", 0.0, 1.0, "Charge path closed (1) or open (0).";
    DischargePath, "discharge_path", "", 0.0, 1.0, "Discharge path closed (1) or open (0).";
    HeaterOn, "heater_on", "", 0.0, 1.0, "Heater on (1) or off (0).";
    PreAlarm, "pre_alarm", "", 0.0, 1.0, "The BMS warns that it will cut off soon (1).";
    Balancing, "balancing", "", 0.0, 1.0, "The pack is balancing (1).";
    CellBalancing, "cell_balancing", "", 0.0, 1.0, "This cell is being bled or fed (1).";
    ReportedSoc, "reported_soc", "fraction", 0.0, 1.0, "State of charge as the pack reports it.";
    ChargeLimit, "charge_limit", "A", 0.0, 6553.0, "Largest charge current that the pack allows now.";
    DischargeLimit, "discharge_limit", "A", 0.0, 6553.0, "Largest discharge current that the pack allows now.";
    CellVoltageMax, "cell_voltage_max", "V", 0.0, 6.5, "Highest cell voltage that the pack allows.";
    CellVoltageMin, "cell_voltage_min", "V", 0.0, 6.5, "Lowest cell voltage that the pack allows.";
    ChargeTempMin, "charge_temp_min", "degC", -60.0, 200.0, "Coldest temperature at which the pack allows charging.";
    ChargeTempMax, "charge_temp_max", "degC", -60.0, 200.0, "Hottest temperature at which the pack allows charging.";
    DischargeTempMin, "discharge_temp_min", "degC", -60.0, 200.0, "Coldest temperature at which the pack allows discharging.";
    DischargeTempMax, "discharge_temp_max", "degC", -60.0, 200.0, "Hottest temperature at which the pack allows discharging.";
    SourceKind, "source_kind", "", 0.0, 15.0, "Kind of a charging source (see `bank::SourceKind`).";
    SourceState, "source_state", "", 0.0, 15.0, "State of a charging source (see `bank::SourceState`).";
    SourceCurrent, "source_current", "A", -2000.0, 2000.0, "Current of a charging source.";
    SourceOffer, "source_offer", "A", 0.0, 2000.0, "Current that a charging source could give now.";
    SourceVoltage, "source_voltage", "V", 0.0, 131.0, "Voltage at a charging source.";
    SenderFrames, "sender_frames", "", 0.0, 4294967295.0, "Frames that this sender has sent before this one.";
    SenderUptime, "sender_uptime", "s", 0.0, 429496729.5, "Time since this sender started.";
    PackCount, "pack_count", "", 1.0, 16.0, "Packs in the bank.";
    CellCount, "cell_count", "", 1.0, 32.0, "Cells in series.";
    RatedCapacity, "rated_capacity", "Ah", 0.5, 6553.0, "Rated capacity.";
    RatedCharge, "rated_charge", "A", 0.1, 6553.0, "Rated charge current.";
    RatedDischarge, "rated_discharge", "A", 0.1, 6553.0, "Rated discharge current.";
    WeakestPart, "weakest_part", "A", 0.1, 6553.0, "Rated current of the weakest part of the path (fuse, cable, switch, BMS).";
    AllowedAbsorption, "allowed_absorption", "V", 1.0, 131.0, "Highest absorption voltage that the maker allows, for the pack.";
    AllowedFloat, "allowed_float", "V", 1.0, 131.0, "Highest float voltage that the maker allows, for the pack.";
    HeaterFitted, "heater_fitted", "", 0.0, 1.0, "A heater is fitted (1) or not (0).";
    HeaterCurrent, "heater_current", "A", 0.0, 6553.0, "Rated current of the heater.";
    BalanceCurrent, "balance_current", "A", 0.0, 65.0, "Balance current.";
    BalanceKind, "balance_kind", "", 0.0, 15.0, "Kind of balancing (see `bank::BalanceKind`).";
    BalanceThreshold, "balance_threshold", "V", 0.0, 6.5, "Cell voltage above which balancing may run.";
    SensorRole, "sensor_role", "", 0.0, 15.0, "Role of a temperature sensor (see `bank::SensorRole`).";
    SensorCell, "sensor_cell", "", 1.0, 32.0, "Cell at which a sensor sits, from 1.";
    LinkResistance, "link_resistance", "mOhm", 0.0, 65.0, "Known resistance of the link inside a cell's measured voltage.";
    CellVoltageStep, "cell_voltage_step", "V", 0.0, 1.0, "Resolution of cell voltages.";
    TemperatureStep, "temperature_step", "K", 0.0, 65.0, "Resolution of temperatures.";
    CurrentStep, "current_step", "A", 0.0, 65.0, "Resolution of currents.";
    PackVoltageStep, "pack_voltage_step", "V", 0.0, 6.5, "Resolution of pack voltages.";
    CellVoltageLow, "cell_voltage_low", "V", 0.0, 6.5, "Low end of the range of cell voltages.";
    CellVoltageHigh, "cell_voltage_high", "V", 0.0, 6.5, "High end of the range of cell voltages.";
    CurrentLow, "current_low", "A", -2000.0, 2000.0, "Low end of the range of currents.";
    CurrentHigh, "current_high", "A", -2000.0, 2000.0, "High end of the range of currents.";
    TemperatureLow, "temperature_low", "degC", -60.0, 200.0, "Low end of the range of temperatures.";
    TemperatureHigh, "temperature_high", "degC", -60.0, 200.0, "High end of the range of temperatures.";
    PackVoltageLow, "pack_voltage_low", "V", 0.0, 131.0, "Low end of the range of pack voltages.";
    PackVoltageHigh, "pack_voltage_high", "V", 0.0, 131.0, "High end of the range of pack voltages.";
}

impl Slot {
    /// The slot of a quantity of which a pack (or the bank) has only one.
    #[must_use]
    pub const fn of(pack: u8, quantity: Quantity) -> Self {
        Self { pack, index: 0, quantity }
    }

    /// The slot of a cell's, a sensor's or a source's value.
    #[must_use]
    pub const fn at(pack: u8, quantity: Quantity, index: u8) -> Self {
        Self { pack, index, quantity }
    }
}

impl Quantity {
    /// What people call it.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::ReportedSoc => "reported state of charge".into(),
            _ => self.name().replace('_', " "),
        }
    }
}

/// 'cell voltage 3 of pack 1', 'current of pack 2', 'bank current', 'source state 1'. Counted from 1.
impl fmt::Display for Slot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use Quantity as Q;
        let name = self.quantity.words();
        let (pack, index) = (u16::from(self.pack) + 1, u16::from(self.index) + 1);
        match self.quantity {
            Q::CellVoltage | Q::Temperature | Q::CellBalancing | Q::SensorRole | Q::SensorCell | Q::LinkResistance => {
                write!(f, "{name} {index} of pack {pack}")
            }
            Q::SourceKind | Q::SourceState | Q::SourceCurrent | Q::SourceOffer | Q::SourceVoltage => {
                write!(f, "{name} {index}")
            }
            Q::BankCurrent | Q::BankVoltage | Q::PackCount => f.write_str(&name),
            Q::SenderFrames | Q::SenderUptime => write!(f, "{name} {index}"),
            _ => write!(f, "{name} of pack {pack}"),
        }
    }
}

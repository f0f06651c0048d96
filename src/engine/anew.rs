//! What begins anew after work on a bank: a table of everything that is learnt of one, and the changes that make it
//! untrue. Nothing else is touched by a change. `docs/bank-file.md` is made from it.

use crate::model::Change;

macro_rules! parts {
    ($($variant:ident $words:literal $($change:ident)*;)*) => {
        /// A part of what is learnt of a bank.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Part { $(#[doc = $words] $variant,)* }

        impl Part {
            /// Every part, in the order of the documentation.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// In words.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self { $(Self::$variant => $words,)* }
            }

            /// The changes after which it begins anew, beside another pack, after which everything does.
            const fn changes(self) -> &'static [Change] {
                match self { $(Self::$variant => &[$(Change::$change),*],)* }
            }
        }
    };
}

// What cells hold and went through goes with the cells. What is counted in amperes goes with the sensor that counted it,
// in ampere-hours of the pack also with its capacity. What a link costs goes with the link.
parts! {
    Charge "charge counted in and out" CurrentSensorChanged;
    Soc "state of charge, last full charge" CellsReplaced CapacityChanged CurrentSensorChanged;
    Offset "what the current sensor reads at zero, and what cells lose of a charge: learnt together" CellsReplaced CurrentSensorChanged;
    OpenInterval "the interval between two full charges that is under way for it" CellsReplaced CapacityChanged CurrentSensorChanged;
    Capacity "capacity" CellsReplaced CapacityChanged CurrentSensorChanged;
    OneWay "the most charge that went one way" CellsReplaced CapacityChanged CurrentSensorChanged;
    Reported "the reported state of charge against the count" CellsReplaced CapacityChanged CurrentSensorChanged;
    Apart "how far cells stand apart, what they lose, what balancing does" CellsReplaced CapacityChanged CurrentSensorChanged;
    Resistance "resistances of cells and connections, loads that bypass the current sensor" CellsReplaced CapacityChanged ConnectionsChanged CurrentSensorChanged;
    Load "the largest current over ten minutes" CurrentSensorChanged;
    Leads "what balance leads show" CellsReplaced ConnectionsChanged;
    LeadOffsets "whether a reading is off by the same at every current" CellsReplaced ConnectionsChanged CurrentSensorChanged;
    Rest "since when it rests" CellsReplaced CapacityChanged CurrentSensorChanged;
    Taper "the taper of the charge" CellsReplaced CapacityChanged CurrentSensorChanged;
    Hours "hours held high, hour by hour and day by day" CellsReplaced;
    Heat "heat over thirty days" CellsReplaced;
    Cold "charging in the cold" CellsReplaced CurrentSensorChanged;
    Rms "the current over the last minute" CurrentSensorChanged;
    Cut "cut-offs, and the minute before the last one" CellsReplaced;
    BeforeCut "the current that a cut-off would end" CellsReplaced CurrentSensorChanged;
    Rise "how fast a sensor rises (of the sensor that was moved)" CellsReplaced SensorMoved;
    Trust "whether a temperature sensor can be trusted (of the sensor that was moved)" SensorMoved;
    TrustCells "whether cell voltages read at the end of their range" CellsReplaced;
    TrustCurrent "whether the current reads at the end of its range" CurrentSensorChanged;
    Baseline "how sensors stand at rest" SensorMoved;
    Thermal "how it follows the air, how its heater warms it" CapacityChanged SensorMoved;
    Standby "standby draw" CurrentSensorChanged;
    IdleFrom "how full it was when its use ended" CellsReplaced CapacityChanged CurrentSensorChanged;
    Ahead "the mean current of the last quarter of an hour" CurrentSensorChanged;
    Sessions "what the charger does" CurrentSensorChanged;
    Sharing "how packs in parallel share the current (of the whole bank)" CellsReplaced CapacityChanged ConnectionsChanged CurrentSensorChanged;
    CellExtremes "lowest and highest voltage of a cell" CellsReplaced;
    SensorExtremes "lowest and highest temperature (of the sensor that was moved)" SensorMoved;
    CurrentExtremes "lowest and highest current" CurrentSensorChanged;
    OtherExtremes "lowest and highest of every other value of the pack";
}

impl Part {
    /// Whether it begins anew after a change.
    #[must_use]
    pub fn goes_with(self, change: Change) -> bool {
        change == Change::PackReplaced || self.changes().contains(&change)
    }
}

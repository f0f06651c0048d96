//! What goes wrong in a scenario: with the bank itself, with its charging, or with what is reported of it.

use serde::Deserialize;

/// Something that goes wrong. Packs, cells, sensors and sources from 1, minutes from the start.
///
/// Faults are independent of one another: two of them in a scenario are a pair.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::sim) struct Fault {
    /// What.
    pub(in crate::sim) kind: FaultKind,
    /// Pack.
    #[serde(default = "Fault::first")]
    pub(in crate::sim) pack: u8,
    /// Cell, sensor or source.
    #[serde(default = "Fault::first")]
    pub(in crate::sim) part: u8,
    /// Beginning.
    #[serde(default)]
    pub(in crate::sim) from_minute: f64,
    /// End; never unless given.
    #[serde(default)]
    pub(in crate::sim) to_minute: Option<f64>,
    /// It grows to its size over so many days; at once unless given. Faults of the bank only, not of what is reported.
    #[serde(default)]
    pub(in crate::sim) over_days: f64,
    /// Size, in the unit of the kind.
    #[serde(default)]
    pub(in crate::sim) size: f64,
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $place:ident,)*) => {
        /// What goes wrong.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub(in crate::sim) enum FaultKind { $($(#[$doc])* $kind,)* }

        impl FaultKind {
            /// Where it is at work.
            pub(in crate::sim) const fn place(self) -> Place {
                match self { $(Self::$kind => Place::$place,)* }
            }
        }
    };
}

/// Where a fault is at work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sim) enum Place {
    /// In a pack.
    Pack,
    /// In a charging source.
    Source,
    /// Around the packs.
    World,
    /// In what is measured and reported.
    Meter,
    /// On the wire.
    Wire,
}

kinds! {
    /// A cell holds `size` Ah more than the others, from that minute on.
    OutOfBalance Pack,
    /// A cell has `size` % of the rated capacity less; it is level with the others at the top.
    SmallCell Pack,
    /// A cell loses `size` A more by itself.
    Leak Pack,
    /// A cell's connection has `size` mΩ more, inside its measured voltage.
    Connection Pack,
    /// The way between the cells and the bus has `size` mΩ more.
    OuterResistance Pack,
    /// A cell is bled by `size` A all the time.
    BleederStuck Pack,
    /// A cell is never bled.
    BleederDead Pack,
    /// All cells lose `size` % of the rated capacity.
    Fade Pack,
    /// All cells have `size` % more resistance of their own.
    ResistanceRise Pack,
    /// Of a pack whose cells are several in parallel, the share `size` (0 to 1) is gone.
    ParallelGone Pack,
    /// A pack is switched off the bus; it goes on reporting.
    PackOff Pack,
    /// The BMS refuses to charge.
    ChargeRefused Pack,
    /// The BMS opens both paths.
    CutOut Pack,
    /// The heater gives, and draws, `size` % less.
    HeaterWeak Pack,
    /// The description tells `size` cells more.
    DescribedCells Pack,
    /// The description tells `size` % more capacity.
    DescribedCapacity Pack,

    /// A source gives up to `size` A more.
    SourceAmps Source,
    /// A source's absorption voltage is `size` V higher.
    AbsorptionHigh Source,
    /// A source's float voltage is `size` V higher.
    FloatHigh Source,
    /// A source holds `size` V while it lasts, whatever its state.
    Equalise Source,
    /// A source's voltages move by `size` mV per kelvin of the air above 25 °C: lead-acid compensation left on is −18.
    Compensation Source,

    /// The air around the bank is `size` K warmer.
    Air World,
    /// Something draws `size` W more all the time.
    Standby World,
    /// Each link between packs has `size` mΩ more.
    Link World,
    /// A load of `size` W hangs where the current sensor of a pack does not see it.
    Bypass World,

    /// A temperature sensor says 'not available'.
    SensorLost Meter,
    /// A temperature sensor stays at what it said last.
    SensorStuck Meter,
    /// A temperature sensor reads `size` K too much.
    SensorOffset Meter,
    /// A temperature sensor hangs in the air: it reads the share `size` (0 to 1) of the air, the rest of what it should.
    SensorInAir Meter,
    /// A temperature sensor sits where current makes heat: `size` K more at 100 A, by the square of the current.
    SensorByHeat Meter,
    /// A cell's voltage is 'not available'.
    CellLost Meter,
    /// A cell's voltage reads `size` V too much.
    LeadOffset Meter,
    /// A cell's voltage reads `size` V too much (the next cell's as much too little: a shared lead).
    LeadShared Meter,
    /// The lead between a cell and the next is open: the first reads `size` V too much, the next as much too little, and both wander.
    LeadOpen Meter,
    /// The leads at both ends of the cell after this one are swapped: three cells read like +6.6, −3.3, +6.6 V.
    LeadsSwapped Meter,
    /// The lead between a cell and the next has `size` ohm: it shows while either is bled.
    LeadResistive Meter,
    /// The current sensor reads `size` A too much.
    CurrentOffset Meter,
    /// The current sensor reads `size` % too much.
    CurrentGain Meter,
    /// The current sensor reads 0 within `size` A of it.
    CurrentDeadBand Meter,
    /// A pack says nothing.
    PackSilent Meter,

    /// One frame in `size` is lost before it reaches us.
    FramesLost Wire,
}

impl Fault {
    fn first() -> u8 {
        1
    }

    /// Whether it lasts at a minute.
    pub(in crate::sim) fn lasts(&self, minute: f64) -> bool {
        (self.from_minute..self.to_minute.unwrap_or(f64::INFINITY)).contains(&minute)
    }

    /// How much of its size has come at a minute, 0 to 1.
    pub(in crate::sim) fn share(&self, minute: f64) -> f64 {
        if !self.lasts(minute) {
            0.0
        } else if self.over_days > 0.0 {
            ((minute - self.from_minute) / 1440.0 / self.over_days).min(1.0)
        } else {
            1.0
        }
    }

    /// Index of the cell, sensor or source, from 0.
    pub(in crate::sim) fn index(&self) -> usize {
        usize::from(self.part).saturating_sub(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(more: &str) -> Fault {
        toml::from_str(&format!("kind = \"connection\"\nfrom_minute = 1440\nsize = 2\n{more}")).unwrap()
    }

    #[test]
    fn a_fault_comes_at_once_or_grows_and_goes_when_it_is_put_right() {
        let at_once = fault("to_minute = 2880");
        assert_eq!([0.0, 1440.0, 2879.0, 2880.0].map(|minute| at_once.share(minute)), [0.0, 1.0, 1.0, 0.0]);
        let grows = fault("over_days = 2");
        assert_eq!([1440.0, 2880.0, 4320.0, 9999.0].map(|minute| grows.share(minute)), [0.0, 0.5, 1.0, 1.0]);
    }
}

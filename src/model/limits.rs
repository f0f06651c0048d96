//! The one table of limits: number, unit, source and meaning of each. Rules, help, reports and pages read
//! a limit from here; a bank's own file overrides it by name.

use serde::{Deserialize, Serialize};

/// Where a number comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// A publication, named in the text.
    Published(&'static str),
    /// Common practice of the trade; there is no source.
    Practice,
    /// Reasoned for this program.
    Judgement,
    /// Computed for this program from published tables, named in the text.
    Computed(&'static str),
}

impl Origin {
    /// In words, for reports and pages.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Published(source) => source.to_owned(),
            Self::Practice => "common practice, no source".to_owned(),
            Self::Judgement => "judgement of this project".to_owned(),
            Self::Computed(source) => format!("computed from {source}"),
        }
    }
}

/// One limit.
#[derive(Debug, Clone, Copy)]
pub struct Limit {
    /// Name by which a bank file or a what-if overrides it: `condition.what`.
    pub name: &'static str,
    /// The number unless overridden.
    pub default: f64,
    /// Its unit.
    pub unit: &'static str,
    /// Smallest and largest number that an override may give.
    pub bounds: (f64, f64),
    /// Where the number comes from.
    pub origin: Origin,
    /// What it means.
    pub meaning: &'static str,
}

macro_rules! limits {
    ($($id:ident $name:literal = $default:literal $unit:literal [$min:literal, $max:literal] $origin:expr, $meaning:literal;)*) => {
        /// Every limit by name.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum LimitId { $(#[doc = $meaning] $id,)* }

        /// The table.
        pub static LIMITS: &[Limit] = &[$(Limit {
            name: $name, default: $default, unit: $unit, bounds: ($min, $max), origin: $origin, meaning: $meaning,
        },)*];
    };
}

use self::Origin::{Computed, Judgement, Practice, Published};

const GASPER: Origin = Published("Gasper 2023, 10.1016/j.est.2023.109042 (charge protocol of a large LFP cell)");

limits! {
    SheetBelow0 "cold-charge.sheet-below-0" = 0.0 "C" [0.0, 5.0] Practice, "Sheet limit of charging below 0 °C";
    SheetAt0 "cold-charge.sheet-at-0" = 0.05 "C" [0.0, 5.0] Judgement, "Sheet limit of charging at 0 °C; linear to the next point";
    SheetAt5 "cold-charge.sheet-at-5" = 0.10 "C" [0.0, 5.0] Judgement, "Sheet limit of charging at 5 °C";
    SheetAt10 "cold-charge.sheet-at-10" = 0.16 "C" [0.0, 5.0] GASPER, "Sheet limit of charging at 10 °C";
    SheetAt15 "cold-charge.sheet-at-15" = 0.33 "C" [0.0, 5.0] Judgement, "Sheet limit of charging at 15 °C";
    SheetAt20 "cold-charge.sheet-at-20" = 0.50 "C" [0.0, 5.0] Judgement, "Sheet limit of charging from 20 °C";
    SheetAt45 "cold-charge.sheet-at-45" = 0.50 "C" [0.0, 5.0] Judgement, "Sheet limit of charging up to 45 °C";
    SheetAt50 "cold-charge.sheet-at-50" = 0.30 "C" [0.0, 5.0] Judgement, "Sheet limit of charging at 50 °C";
    SheetAt55 "cold-charge.sheet-at-55" = 0.10 "C" [0.0, 5.0] Judgement, "Sheet limit of charging at 55 °C";
    SheetAt60 "cold-charge.sheet-at-60" = 0.0 "C" [0.0, 5.0] Judgement, "Sheet limit of charging from 60 °C";
    SheetMinutes "cold-charge.sheet-minutes" = 10.0 "min" [0.0, 1440.0] Judgement, "Notice after this long above the sheet limit, below 15 °C";
    ColdBelow "cold-charge.below" = 15.0 "°C" [-20.0, 40.0] Judgement, "Cold charging is judged below this temperature; from there on over-current speaks";
    PlatingRate "cold-charge.plating-rate" = 0.20 "C" [0.0, 5.0] Practice, "Plating limit at the reference temperature";
    PlatingCelsius "cold-charge.plating-reference" = -4.0 "°C" [-40.0, 40.0] Practice, "Temperature to which the plating rate belongs";
    PlatingActivation "cold-charge.plating-activation" = 31.0 "kJ/mol" [5.0, 100.0] Computed("PyBaMM runs of published cells (O'Kane 2022, Ecker 2015)"), "Activation energy by which the plating limit falls with the temperature";
    PlatingFloor "cold-charge.plating-none-below" = -20.0 "°C" [-60.0, 20.0] Judgement, "Below this temperature the plating limit is nothing";
    PlatingSeconds "cold-charge.plating-seconds" = 60.0 "s" [0.0, 3600.0] Judgement, "Warning after this long above the plating limit";
    PlatingShare "cold-charge.plating-share" = 0.5 "% of capacity" [0.0, 100.0] Judgement, "Or after this charge above the plating limit";
    PlatingUrgent "cold-charge.urgent-factor" = 2.0 "times" [1.0, 20.0] Judgement, "Urgent above this many times the plating limit";
    PlatingUrgentSeconds "cold-charge.urgent-seconds" = 10.0 "s" [0.0, 3600.0] Judgement, "Urgent when two readings over this long are above it";
    ColdDipSeconds "cold-charge.dip-seconds" = 30.0 "s" [0.0, 600.0] Judgement, "A dip below a limit shorter than this does not end the run above it, and is taken off its time";
    DeadBandRate "current.dead-band" = 0.02 "C" [0.0, 0.5] Judgement, "Charging means more than this, in multiples of capacity";
    DeadBandAmps "current.dead-band-amps" = 1.0 "A" [0.0, 100.0] Judgement, "And more than this, in amperes";
    HeaterUnknownRate "cold-charge.heater-unknown" = 0.05 "C" [0.0, 1.0] Judgement, "Current that an unknown heater may draw, when its rated current is not known";
    HotChargeNotice "overtemperature.charging-notice" = 45.0 "°C" [0.0, 120.0] Judgement, "Notice when charging at it or above";
    HotChargeWarning "overtemperature.charging-warning" = 50.0 "°C" [0.0, 120.0] Judgement, "Warning when charging at it or above";
    HotChargeUrgent "overtemperature.charging-urgent" = 55.0 "°C" [0.0, 120.0] Practice, "Urgent when charging at it or above";
    HotWarning "overtemperature.warning" = 55.0 "°C" [0.0, 120.0] Judgement, "Warning at it or above, charging or not";
    HotUrgent "overtemperature.urgent" = 60.0 "°C" [0.0, 120.0] Practice, "Urgent at it or above, charging or not";
    HotSeconds "overtemperature.seconds" = 30.0 "s" [0.0, 3600.0] Judgement, "For this long, and in two readings";
    HotHysteresis "overtemperature.hysteresis" = 2.0 "K" [0.0, 20.0] Judgement, "Over when it has fallen by this much";
    EmergencyCelsius "overtemperature.emergency" = 80.0 "°C" [50.0, 200.0] Published("Liu 2018 Sci. Adv. 4:eaas9820 (exothermic from about 80 to 120 °C, quoted)"), "Emergency text from here on";
    RiseKelvin "overtemperature.rise" = 5.0 "K" [0.5, 50.0] Judgement, "Emergency text when it rises by this much in the minutes below, and is hot";
    RiseMinutes "overtemperature.rise-minutes" = 5.0 "min" [1.0, 60.0] Judgement, "The shortest time over which the rise is taken";
    RiseFrom "overtemperature.rise-from" = 55.0 "°C" [20.0, 120.0] Judgement, "A rise counts from this temperature on";
    RiseByCurrent "overtemperature.rise-by-current" = 0.5 "C" [0.0, 5.0] Judgement, "Below this current a rise so fast is not the cells' own warmth: the sensor may sit in the wrong place";
    UnknownApart "overtemperature.unknown-apart" = 15.0 "K" [1.0, 100.0] Judgement, "A sensor of unknown role that is warmer than the others by this much may sit on the electronics";
    KneeSpreadNotice "imbalance.spread-notice" = 50.0 "mV" [1.0, 1000.0] Practice, "Spread of the cells in the knee at tail current";
    KneeSpreadLarge "imbalance.spread-large" = 100.0 "mV" [1.0, 1000.0] Practice, "A large spread in the knee";
    KneeLow "imbalance.knee-from" = 3.40 "V" [3.0, 4.0] Judgement, "The spread counts when the mean cell is above this";
    KneeHigh "imbalance.knee-to" = 3.50 "V" [3.0, 4.0] Judgement, "And below this";
    KneeMinutes "imbalance.minutes" = 5.0 "min" [0.0, 600.0] Judgement, "For this long";
    KneeHysteresis "imbalance.hysteresis" = 10.0 "mV" [0.0, 500.0] Judgement, "Over when the spread has shrunk by this much";
    KneeTailRate "imbalance.tail-rate" = 0.05 "C" [0.0, 1.0] Judgement, "Tail current: at most this";
    ApartNotice "imbalance.notice" = 2.0 "% of capacity" [0.1, 50.0] Judgement, "Notice when the cells arrive further apart than this at the top, in charge";
    ApartWarning "imbalance.warning" = 5.0 "% of capacity" [0.1, 50.0] Judgement, "Warning when the cells arrive further apart than this";
    ApartBound "imbalance.bound" = 1.0 "% of capacity" [0.1, 50.0] Judgement, "When the charge ended before the last cell came: at least this, and a spread in the knee beside it";
    KneeTop "imbalance.crossing" = 3.40 "V" [3.35, 3.60] Computed("the open-circuit table of docs/sources.md"), "A cell arrives at the top at this voltage, less what the current adds to it";
    KneeBottom "imbalance.low-crossing" = 3.00 "V" [2.50, 3.20] Computed("the open-circuit table of docs/sources.md"), "A cell arrives at the bottom at this voltage, corrected in the same way";
    KneeSlowSag "imbalance.slow-sag" = 0.14 "V per C" [0.0, 1.0] Judgement, "What a current adds slowly beside cell-undervoltage.sag, at 25 °C; by temperature";
    KneeMostRate "imbalance.most-rate" = 0.40 "C" [0.01, 2.0] Computed("the open-circuit table of docs/sources.md"), "Arrivals are taken below this current";
    KneeSameRate "imbalance.same-rate" = 0.07 "C" [0.005, 1.0] Computed("the open-circuit table of docs/sources.md"), "And compared only while the current stays this close to that at the first arrival";
    KneeWarm "imbalance.warm" = 3.0 "°C" [-20.0, 40.0] Judgement, "And only when the coldest sensor is above this";
    BalanceFrom "imbalance.balances-from" = 3.40 "V" [3.0, 3.8] Practice, "Balancing runs from this voltage on, where the bank does not say";
    SmallNotice "low-capacity-cell.notice" = 7.0 "% of capacity" [0.5, 90.0] Judgement, "Notice when a cell holds less than the median by more than this, and by more than the error";
    SmallWarning "low-capacity-cell.warning" = 20.0 "% of capacity" [0.5, 90.0] Judgement, "Warning when it holds less by more than this";
    EndsApartDays "low-capacity-cell.days" = 20.0 "days" [0.5, 400.0] Judgement, "The visits of top and bottom that are put together lie no further apart";
    DriftDays "self-discharging-cell.days" = 5.0 "days" [0.5, 60.0] Judgement, "Two visits of the top are compared when they lie at least so far apart";
    DriftErrors "self-discharging-cell.errors" = 3.0 "times" [1.0, 20.0] Judgement, "What was lost must be so many times the error";
    DriftLost "self-discharging-cell.lost" = 1.0 "% of capacity" [0.1, 50.0] Judgement, "And at least this much was lost, and the cell is at least this far behind";
    DriftNotice "self-discharging-cell.notice" = 1.0 "mA per 100 Ah" [0.1, 1000.0] Judgement, "Notice above this";
    DriftWarning "self-discharging-cell.warning" = 10.0 "mA per 100 Ah" [0.1, 10000.0] Judgement, "Warning above this";
    BledHours "balancing-fails.hours" = 10.0 "h" [0.5, 1000.0] Judgement, "After so many hours in which the high cell was bled and the lowest was not";
    BledDue "balancing-fails.due" = 1.2 "% of capacity" [0.1, 50.0] Judgement, "When so much should have been bled, and three times the error";
    BledShare "balancing-fails.share" = 25.0 "%" [0.0, 100.0] Judgement, "And the cell came down by less than this share of it";
    BalanceAmps "balancing-fails.current" = 0.03 "A" [0.001, 10.0] Practice, "Balance current where the state of each cell is reported and the current is not described";
    CapacityNotKnown "capacity.not-known" = 10.0 "% of capacity" [1.0, 50.0] Judgement, "A measured capacity is not taken when its half width is beyond this";
    OvervoltageNotice "cell-overvoltage.notice" = 3.70 "V" [3.0, 4.5] Judgement, "Notice above it";
    OvervoltageNoticeSeconds "cell-overvoltage.notice-seconds" = 60.0 "s" [0.0, 3600.0] Judgement, "For this long";
    OvervoltageMean "cell-overvoltage.mean-notice" = 3.66 "V" [3.0, 4.5] Judgement, "Notice when the mean cell is above it: the charger is too high";
    OvervoltageWarning "cell-overvoltage.warning" = 3.80 "V" [3.0, 4.5] Judgement, "Warning above it";
    OvervoltageWarningSeconds "cell-overvoltage.warning-seconds" = 5.0 "s" [0.0, 3600.0] Judgement, "For this long";
    OvervoltageUrgent "cell-overvoltage.urgent" = 3.90 "V" [3.0, 4.5] Judgement, "Urgent above it, in two readings";
    OvervoltageHysteresis "cell-overvoltage.hysteresis" = 0.03 "V" [0.0, 0.5] Judgement, "Over when it has fallen by this much";
    UndervoltageNotice "cell-undervoltage.notice" = 2.80 "V" [1.0, 3.3] Judgement, "Notice below it, at rest or corrected for resistance";
    UndervoltageWarning "cell-undervoltage.warning" = 2.50 "V" [1.0, 3.3] Published("test windows of published LFP data sets (2.5 V usual cut-off)"), "Warning below it, at rest or corrected for resistance";
    UndervoltageUrgent "cell-undervoltage.urgent" = 2.00 "V" [0.5, 3.3] Published("Zheng 2016 RSC Adv., 10.1039/C6RA01677D (over-discharge of LFP/graphite)"), "Urgent below it: do not recharge without a qualified look";
    UndervoltageRestSeconds "cell-undervoltage.rest-seconds" = 30.0 "s" [0.0, 3600.0] Judgement, "At rest for this long";
    UndervoltageLoadSeconds "cell-undervoltage.load-seconds" = 5.0 "s" [0.0, 3600.0] Judgement, "Or corrected for resistance for this long";
    UndervoltageSag "cell-undervoltage.sag" = 0.11 "V per C" [0.0, 1.0] Judgement, "Sag per C at 25 °C while the cell's own resistance is not known; by temperature";
    UndervoltageHysteresis "cell-undervoltage.hysteresis" = 0.10 "V" [0.0, 0.5] Judgement, "Over when it has risen by this much";
    UndervoltageNoTemperature "cell-undervoltage.without-temperature" = 0.0 "°C" [-40.0, 40.0] Judgement, "Temperature assumed for the sag while none is known";
    UndervoltageLoadMemory "cell-undervoltage.load-memory" = 30.0 "s" [0.0, 600.0] Judgement, "A load that went off still counts for the sag for this long: the voltage comes back slowly";
    UndervoltageSubstituteFrom "cell-undervoltage.pack-voltage-from" = 1.00 "V" [0.0, 3.0] Judgement, "With pack voltage alone: below this a cell's share is a cut-off terminal, not a cell";
    LeftEmptyNotice "left-empty.notice" = 3.00 "V" [2.0, 3.3] Practice, "A cell at rest below it for the hours below";
    LeftEmptyWarning "left-empty.warning" = 2.80 "V" [2.0, 3.3] Practice, "Warning below it for the hours below";
    LeftEmptyHours "left-empty.hours" = 24.0 "h" [1.0, 1000.0] Judgement, "At rest for this long";
    RestRate "rest.rate" = 0.01 "C" [0.0, 0.2] Judgement, "Rest: less current than this";
    RestHours "rest.hours" = 1.0 "h" [0.1, 24.0] Judgement, "For this long without a break";
    RestBelow "rest.held-below" = 3.40 "V" [3.0, 3.6] Judgement, "And no charger holds the voltage: the mean below this, or falling, or the charger known off";
    RestFall "rest.fall" = 1.0 "mV" [0.0, 50.0] Judgement, "Falling means: the mean cell lost at least this in the minutes below";
    RestFallMinutes "rest.fall-minutes" = 15.0 "min" [1.0, 60.0] Judgement, "The time over which falling is looked at";
    TapSum "balance-lead.sum" = 30.0 "mV" [1.0, 500.0] Judgement, "Two neighbours whose sum is that of two ordinary cells within this, and ...";
    TapOff "balance-lead.off" = 0.2 "V" [0.05, 3.0] Judgement, "... one of which is off by at least this, look like an open balance lead: they are not judged for voltage";
    FloatHigh "prolonged-high-float.high" = 3.55 "V" [3.3, 4.0] Judgement, "Held high: mean cell from here on (14.2 V on four)";
    FloatRate "prolonged-high-float.rate" = 0.05 "C" [0.0, 1.0] Judgement, "Held: less current than this, either way";
    FloatDays "prolonged-high-float.days" = 7.0 "held days" [0.1, 365.0] Judgement, "Notice above so many held days";
    FloatWindow "prolonged-high-float.window" = 10.5 "days" [1.0, 46.0] Judgement, "Within this window";
    FloatHours "prolonged-high-float.hours" = 240.0 "held h" [1.0, 1104.0] Judgement, "Or above so many held hours within 30 days";
    FloatHoursWindow "prolonged-high-float.hours-window" = 30.0 "days" [1.0, 46.0] Judgement, "The window of those hours";
    FloatLongDays "prolonged-high-float.warning-days" = 30.0 "held days" [0.1, 365.0] Judgement, "Warning above so many held days";
    FloatLongWindow "prolonged-high-float.warning-window" = 45.0 "days" [1.0, 46.0] Judgement, "Within this window";
    FloatMid "prolonged-high-float.middle" = 3.475 "V" [3.3, 4.0] Practice, "Held between this and the high mark: notice after the long days (13.9 V on four: 13.8 V and a charger's error)";
    HeldRate "held-high.rate" = 0.02 "C" [0.0, 1.0] Judgement, "Time per band of voltage is counted at less current than this";
    HeatActivation "heat.activation" = 47.0 "kJ/mol" [5.0, 120.0] Judgement, "Activation energy by which heat weighs time, relative to 25 °C (published models spread from 17 to 62)";
    HotExposureCelsius "hot-exposure.celsius" = 38.0 "°C" [20.0, 60.0] Judgement, "Hours above this count as hot";
    HotExposureHours "hot-exposure.hours" = 72.0 "h" [1.0, 720.0] Judgement, "Notice above so many hot hours within 30 days";
    HotExposureNotice "hot-exposure.ageing-notice" = 2.0 "times" [1.0, 20.0] Judgement, "Notice when heat, weighted over 30 days, ages the cells by more than this relative to 25 °C";
    HotExposureWarning "hot-exposure.ageing-warning" = 3.0 "times" [1.0, 20.0] Judgement, "Warning above this";
    OffsetIntervals "current-offset.intervals" = 5.0 "intervals" [2.0, 100.0] Judgement, "The current sensor's offset is learnt from at least so many intervals between full charges";
    OffsetFull "current-offset.full-error" = 1.0 "% of capacity" [0.05, 10.0] Judgement, "By how much what is left over between two full charges may be wrong";
    SelfDischarge "storage.self-discharge" = 2.0 "% a month" [0.0, 20.0] Practice, "What cells lose by themselves (common figures 2 to 3 %, good cells less)";
    StorageHours "low-in-storage.after" = 48.0 "h" [1.0, 1000.0] Judgement, "In store: neither charge nor load for this long";
    StorageChargeRate "low-in-storage.charge-rate" = 0.01 "C" [0.0, 0.2] Judgement, "Charge means more than this";
    StorageLoadRate "low-in-storage.load-rate" = 0.05 "C" [0.0, 1.0] Judgement, "Load means more than this";
    StorageNoticeDays "low-in-storage.notice-days" = 30.0 "days" [1.0, 400.0] Judgement, "Notice when a tenth may be reached sooner";
    StorageWarningDays "low-in-storage.warning-days" = 7.0 "days" [0.0, 400.0] Judgement, "Warning when sooner than this";
    StorageRestHours "low-in-storage.rest-hours" = 12.0 "h" [1.0, 1000.0] Judgement, "Or at rest for this long with the lowest cell below the marks";
    StorageLowNotice "low-in-storage.rest-notice" = 3.20 "V" [2.5, 3.3] Computed("the open-circuit table of docs/sources.md (about 12 %)"), "Notice below it";
    StorageLowWarning "low-in-storage.rest-warning" = 3.13 "V" [2.5, 3.3] Computed("the open-circuit table of docs/sources.md (about 8 %)"), "Warning below it";
    StorageHoldHours "low-in-storage.hold-hours" = 1.0 "h" [0.0, 100.0] Judgement, "For this long";
    NotFullDays "not-fully-charged.days" = 30.0 "days" [1.0, 400.0] Judgement, "Notice after so many days without a full charge";
    NotFullCycles "not-fully-charged.cycles" = 1.5 "times" [0.1, 100.0] Judgement, "In which the capacity was drawn so many times";
    SessionSmallRate "charger-profile.small-rate" = 0.10 "C" [0.001, 1.0] Judgement, "A voltage is held by the charger while the current is smaller than this";
    SessionHeldMinutes "charger-profile.held-minutes" = 10.0 "min" [1.0, 600.0] Judgement, "And for this long";
    ProfileMean "charger-profile.mean" = 3.66 "V" [3.3, 4.2] Judgement, "Warning when the mean cell is charged above it";
    ProfileSeconds "charger-profile.seconds" = 60.0 "s" [0.0, 3600.0] Judgement, "For this long";
    ProfileMargin "charger-profile.margin" = 40.0 "mV a cell" [0.0, 500.0] Judgement, "Notice when it is held above what the bank allows by more than this";
    ProfileMinutes "charger-profile.minutes" = 10.0 "min" [0.0, 600.0] Judgement, "For this long";
    ProfileFloatHours "charger-profile.float-hours" = 3.0 "h" [0.1, 100.0] Judgement, "Or floated above what the bank allows by more than the margin for this long";
    ProfileSlope "charger-profile.slope" = 10.0 "mV/K on four cells" [1.0, 100.0] Judgement, "Compensation left on: the voltage held falls by more than this, over three charges or more and at least 10 K";
    ProfileCorrelation "charger-profile.correlation" = 0.8 "" [0.1, 1.0] Judgement, "And voltage and temperature go against each other at least this closely";
    SharingMoved "unequal-sharing.moved" = 20.0 "% of capacity" [1.0, 100.0] Judgement, "Shares are taken over so much charge that moved one way";
    SharingFromRate "unequal-sharing.from" = 0.05 "C" [0.0, 1.0] Judgement, "While the bank's current is at least this";
    SharingNotice "unequal-sharing.notice" = 15.0 "points" [1.0, 100.0] Judgement, "Notice when a pack's share is off its share of capacity by more than this";
    SharingWarning "unequal-sharing.warning" = 30.0 "points" [1.0, 100.0] Judgement, "Warning above this, or when it is beyond its own rating besides";
    FightRate "unequal-sharing.fight" = 0.05 "C" [0.0, 1.0] Judgement, "Packs fight: one charges and another draws at more than this";
    FightBank "unequal-sharing.fight-bank" = 0.02 "C" [0.0, 1.0] Judgement, "While the bank gives or takes less than this";
    FightMinutes "unequal-sharing.fight-minutes" = 30.0 "min" [0.0, 1440.0] Judgement, "For this long";
    SpreadNotice "temperature-spread.notice" = 8.0 "K" [1.0, 100.0] Judgement, "Notice when sensors on cells or case are further apart than at rest by more than this";
    SpreadWarning "temperature-spread.warning" = 12.0 "K" [1.0, 100.0] Judgement, "Warning above this";
    SpreadMinutes "temperature-spread.minutes" = 20.0 "min" [0.0, 600.0] Judgement, "For this long";
    SpreadHysteresis "temperature-spread.hysteresis" = 1.0 "K" [0.0, 20.0] Judgement, "Over when it has come down by this much";
    HeaterRise "heater-weak.rise" = 2.0 "K/h" [0.1, 50.0] Judgement, "Notice when the bank warms by less than this with its heater on";
    HeaterMinutes "heater-weak.minutes" = 60.0 "min" [10.0, 600.0] Judgement, "Over this long without a break";
    HeaterBelow "heater-weak.below" = 5.0 "°C" [-20.0, 40.0] Judgement, "While its coldest sensor is below this: a warm bank may only be held";
    OverCurrentSeconds "over-current.seconds" = 60.0 "s" [1.0, 3600.0] Judgement, "Root mean square over this long";
    OverCurrentDischarge "over-current.discharge" = 1.0 "C" [0.05, 20.0] Practice, "Discharge limit unless the bank gives one";
    OverCurrentUrgent "over-current.urgent-factor" = 2.0 "times" [1.0, 20.0] Judgement, "Urgent above this many times the limit";
    OverCurrentUrgentSeconds "over-current.urgent-seconds" = 10.0 "s" [1.0, 600.0] Judgement, "For this long";
    OverCurrentMargin "over-current.margin" = 2.0 "%" [0.0, 50.0] Judgement, "What a current sensor may be wrong by: found only beyond it";
    OverCurrentKeeps "over-current.hysteresis" = 5.0 "%" [0.0, 50.0] Judgement, "Over when it has fallen by this much below the limit";
    CutoffFrom "bms-cutoff.from" = 0.05 "C" [0.005, 1.0] Judgement, "The current before the cut is above this";
    CutoffSeconds "bms-cutoff.seconds" = 2.0 "s" [0.1, 60.0] Judgement, "It falls to nothing within this time";
    CutoffSeparation "bms-cutoff.separation" = 0.2 "V" [0.01, 10.0] Judgement, "Sum of the cells and the bus part by more than this";
    SensorRefusedSeconds "sensor-fault.seconds" = 30.0 "s" [0.0, 3600.0] Judgement, "'Not available' or 'error' for this long, after having given values";
    SensorStuckHours "sensor-fault.stuck-hours" = 1.0 "h" [0.1, 100.0] Judgement, "Not one count of change for this long";
    SensorStuckKelvin "sensor-fault.stuck-kelvin" = 3.0 "K" [0.5, 50.0] Judgement, "While the median of its siblings moved this much";
    SensorJump "sensor-fault.jump" = 10.0 "K" [1.0, 100.0] Judgement, "Jump between two samples";
    SensorRangeEnd "sensor-fault.range-end" = 2.0 "%" [0.0, 100.0] Judgement, "Share of readings at the end of the signal's range";
    SwingKelvin "sensor-fault.swing" = 2.0 "K" [0.2, 50.0] Judgement, "A sensor on cell or case swings with the air: by at least this either way in a day";
    SwingTimes "sensor-fault.swing-times" = 1.5 "times" [1.0, 20.0] Judgement, "So many times as far as its siblings";
    SwingHours "sensor-fault.swing-ahead" = 2.0 "h" [0.1, 12.0] Judgement, "And so long ahead of them";
    SwingDays "sensor-fault.swing-days" = 3.0 "days" [1.0, 100.0] Judgement, "On so many days in a row";
    SensorOffset "sensor-fault.offset" = 0.5 "A" [0.0, 50.0] Judgement, "The current sensor's learnt offset is beyond this for certain";
    SensorOffsetRate "sensor-fault.offset-rate" = 3.3333 "A for 1000 Ah" [0.0, 1000.0] Judgement, "And beyond this, by the rated capacity";
    StepRate "resistance.step" = 0.05 "C" [0.01, 2.0] Judgement, "A change of current by at least this much counts as a step";
    StepVoltsLow "resistance.cells-from" = 3.15 "V" [2.5, 3.4] Judgement, "No cell below this at the smaller current of a step: there a cell's voltage runs away by itself";
    StepVoltsHigh "resistance.cells-to" = 3.38 "V" [3.2, 3.6] Computed("the open-circuit table of docs/sources.md"), "No cell above this at the smaller current of a step";
    StepSpacing "resistance.spacing" = 60.0 "s" [1.0, 600.0] Judgement, "Longest time between two sets of readings for the excess over the other cells: the slow part of the voltage is alike in all";
    StepSpacingAbsolute "resistance.spacing-absolute" = 2.0 "s" [0.1, 60.0] Judgement, "Longest time between two sets of readings for a cell's resistance as such";
    StepCount "resistance.steps" = 2.0 "steps" [2.0, 1000.0] Judgement, "Known after at least so many steps";
    StepError "resistance.error" = 0.1 "mΩ" [0.001, 10.0] Judgement, "And with a smaller standard error than this";
    StepForgets "resistance.forgets" = 500.0 "steps" [20.0, 100000.0] Judgement, "Older steps than about so many no longer count";
    StepSpread "resistance.spread" = 7.0 "%" [0.0, 50.0] Judgement, "How far the cells' own resistances lie apart (19 of 20 cells)";
    ConnectionExcess "high-resistance-connection.excess" = 0.3 "mΩ" [0.05, 100.0] Judgement, "Resistance above the cells' median, less links known from the bank's description";
    ConnectionShare "high-resistance-connection.excess-share" = 25.0 "% of median" [1.0, 1000.0] Judgement, "And at least this share of the median";
    ConnectionGrowth "high-resistance-connection.growth" = 0.15 "mΩ" [0.02, 100.0] Judgement, "Or growth over time by more than this";
    ConnectionNotice "high-resistance-connection.notice" = 3.0 "W" [0.1, 1000.0] Judgement, "Notice when it gives off more heat than this";
    ConnectionWarning "high-resistance-connection.warning" = 15.0 "W" [0.1, 10000.0] Judgement, "Warning when it gives off more heat than this";
    ConnectionKelvin "high-resistance-connection.spread" = 5.0 "K" [0.5, 50.0] Judgement, "Not judged when sensors differ by more than this and a cell has none";
    LeadOffset "balance-lead-fault.offset" = 15.0 "mV" [1.0, 500.0] Judgement, "A constant deviation of more than this, or a swing of more while balancing";
    LeadMoves "balance-lead-fault.moves" = 10.0 "mV" [1.0, 100.0] Judgement, "Constant: it moves by less than this";
    LeadCovered "balance-lead-fault.covered" = 15.0 "% of capacity" [1.0, 100.0] Judgement, "Over at least so much charge on the plateau (35 % as long as the knee was not seen)";
    LeadRates "balance-lead-fault.rates" = 0.05 "C" [0.0, 2.0] Judgement, "And over at least so much of a range of currents";
    LeadShared "balance-lead-fault.shared" = 40.0 "mV" [5.0, 500.0] Judgement, "Two neighbours off by as much up as down, this far apart";
    LeadSharedMinutes "balance-lead-fault.shared-minutes" = 5.0 "min" [0.0, 600.0] Judgement, "For this long";
    LeadSharedRate "balance-lead-fault.shared-rate" = 0.1 "C" [0.01, 2.0] Judgement, "At less current than this";
    LeadPlateauLow "balance-lead-fault.plateau-from" = 3.2 "V" [2.5, 3.4] Computed("the open-circuit table of docs/sources.md"), "With the other cells above this";
    LeadPlateauHigh "balance-lead-fault.plateau-to" = 3.36 "V" [3.3, 3.6] Computed("the open-circuit table of docs/sources.md"), "And below this";
    FiledSeriesVolts "bank-description.series" = 3.4 "V" [3.3, 3.8] Computed("the open-circuit table of docs/sources.md"), "With pack voltage only: a pack cannot stand above this per cell while it is drawn from: more cells than described";
    FiledSeriesMinutes "bank-description.series-minutes" = 30.0 "min" [1.0, 600.0] Judgement, "For this long";
    FiledSeriesRate "bank-description.series-rate" = 0.05 "C" [0.005, 1.0] Judgement, "Drawing more than this";
    FiledOneWay "bank-description.one-way" = 1.1 "times" [1.01, 5.0] Judgement, "More than so many times the described capacity went one way within two days";
    FiledMeasured "bank-description.measured" = 1.15 "times" [1.01, 5.0] Judgement, "Or so many times the described capacity was measured";
    FiledReportedMore "bank-description.reported-more" = 1.2 "times" [1.01, 5.0] Judgement, "Or the charge counted while the reported state of charge moved makes at least so many times the described capacity";
    FiledReportedLess "bank-description.reported-less" = 0.7 "times" [0.1, 0.99] Judgement, "Or at most this part of it";
    FiledReportedOff "bank-description.reported-off" = 8.0 "%" [1.0, 30.0] Judgement, "By so much a reported state of charge may be off and be ordinary";
    FiledGain "bank-description.gain" = 8.0 "%" [2.0, 40.0] Judgement, "By so much the measured capacity changed within 60 days and the resistance of all cells the other way: the current sensor's gain";
    FiledGone "bank-description.resistance" = 1.6 "times" [1.2, 5.0] Judgement, "The resistance of all cells rose by this factor at once: a parallel string is gone, or the current sensor reads too little";
    FiledHidden "bank-description.hidden-step" = 12.0 "mV" [1.0, 200.0] Judgement, "All cells move alike by more than this without a change of current";
    FiledHiddenSteps "bank-description.hidden-steps" = 3.0 "steps" [1.0, 100.0] Judgement, "So many times: a load or charger bypasses the current sensor";
    FiledHiddenSeconds "bank-description.hidden-apart" = 60.0 "s" [1.0, 600.0] Judgement, "None of them this near to a change of the current";
    StalePeriods "stale-data.valid-periods" = 3.0 "periods" [1.0, 100.0] Judgement, "A value is valid for so many of its usual periods";
    StaleFindPeriods "stale-data.periods" = 5.0 "periods" [1.0, 1000.0] Judgement, "Found after so many of its usual periods";
    StaleFindSeconds "stale-data.seconds" = 10.0 "s" [1.0, 86400.0] Judgement, "And after this long";
    LossyPercent "lossy-link.percent" = 1.0 "%" [0.01, 100.0] Judgement, "More frames lost than this (0.4 % is ordinary)";
    LossyHours "lossy-link.hours" = 1.0 "h" [0.01, 1000.0] Judgement, "Over at least this long";
    LossyFrames "lossy-link.frames" = 1000.0 "frames" [1.0, 1.0e9] Judgement, "And at least so many frames";
    ClockStepSeconds "clock-step.seconds" = 2.0 "s" [0.1, 86400.0] Judgement, "A step smaller than this is not told";
    AnchorCellMin "full.every-cell" = 3.36 "V" [3.0, 3.7] Computed("the open-circuit table of docs/sources.md"), "Full: every cell above this";
    AnchorMean "full.mean" = 3.39 "V" [3.0, 3.7] Computed("the open-circuit table of docs/sources.md"), "Full: the mean held above this";
    AnchorLastFull "full.last-full" = 3.44 "V" [3.0, 3.7] Computed("the open-circuit table of docs/sources.md"), "'Last full' is set from this mean on";
    AnchorTail "full.tail-rate" = 0.05 "C" [0.001, 0.5] Judgement, "Full: the current has decayed below this";
    AnchorFrom "full.from-rate" = 0.10 "C" [0.001, 1.0] Judgement, "Full: it has decayed from above this";
    AnchorWithin "full.within" = 15.0 "mV" [1.0, 100.0] Judgement, "Full: the mean stays this close to the voltage held";
    AnchorStep "full.step" = 0.05 "C" [0.001, 1.0] Judgement, "Full: a change by more than this within 2 s (or between two readings) is a step, not a decay";
    AnchorTailSeconds "full.tail-seconds" = 60.0 "s" [0.0, 3600.0] Judgement, "Full: the small current has lasted this long";
    AnchorHoldMinutes "full.hold-minutes" = 30.0 "min" [1.0, 600.0] Judgement, "Full without a smooth decay: the voltage was held for this long";
    AnchorTrickle "full.trickle-rate" = 0.02 "C" [0.001, 0.5] Judgement, "At least 98 % when the current has decayed below this; also the largest current of a float";
    AnchorFloat "full.float" = 3.345 "V" [3.2, 3.7] Computed("the open-circuit table of docs/sources.md"), "Full by float: every cell above this";
    AnchorFloatHours "full.float-hours" = 6.0 "h" [0.5, 100.0] Judgement, "Full by float, and at least 98 % after a full charge: held for this long";
    AnchorBand "full.band" = 2.0 "%" [0.0, 20.0] Computed("the open-circuit table of docs/sources.md"), "Half width of the state of charge at a full charge";
    AnchorFloatBand "full.float-band" = 3.0 "%" [0.0, 20.0] Judgement, "Half width of the state of charge by float";
    AnchorNewCycle "full.new-cycle" = 5.0 "% of capacity" [0.1, 100.0] Judgement, "After so much was drawn a full charge sets the state of charge anew; before, it may only raise it";
    HighCellAt "full.high-cell" = 3.60 "V" [3.4, 4.0] Judgement, "A charge that stops with a cell above this, and the others well below, was ended by that cell";
    SocRestProves "soc.rest-proves" = 3.40 "V" [3.3, 3.6] Computed("the open-circuit table of docs/sources.md"), "A rest above it proves at least 95 %";
    SocRestTells "soc.rest-tells-below" = 15.0 "%" [0.0, 30.0] Computed("the open-circuit table of docs/sources.md"), "Below this the voltage at rest tells the state of charge";
    SocRestSpread "soc.rest-spread" = 100.0 "mV" [1.0, 1000.0] Judgement, "But only while the cells stand this close together";
    SocEfficiency "soc.efficiency" = 0.995 "" [0.9, 1.0] Computed("C/30 cycles of an open LFP test set (Plett)"), "Least share of the charge put in that comes out again; at most all of it";
    SocGain "soc.gain" = 1.0 "%" [0.0, 20.0] Judgement, "Error of the current sensor in proportion";
    SocOffset "soc.offset" = 0.1 "A" [0.0, 10.0] Judgement, "Error of the current sensor at zero, unless learnt";
    SocOffsetRate "soc.offset-rate" = 0.001 "C" [0.0, 0.1] Judgement, "And at least this, for the sensors of large packs";
    SocBlindRate "soc.blind-rate" = 0.5 "C" [0.0, 5.0] Judgement, "Current that may have flowed, either way, while none was known";
    SocNotKnown "soc.not-known" = 30.0 "%" [1.0, 100.0] Judgement, "Not known any more when the half width is beyond this";
    VerdictRemembers "verdict.remembers" = 7.0 "days" [0.0, 365.0] Judgement, "A past warning or urgent finding counts in the verdict for this long";
}

impl LimitId {
    /// The row of the table.
    #[must_use]
    pub fn row(self) -> &'static Limit {
        &LIMITS[self as usize]
    }
}

/// The numbers in force: the defaults, and what was overridden.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    values: Vec<f64>,
}

impl Default for Limits {
    fn default() -> Self {
        Self { values: LIMITS.iter().map(|limit| limit.default).collect() }
    }
}

/// An override that was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LimitError {
    /// No limit of this name.
    #[error("no limit is called '{name}'{}; 'cellwright limits' lists them", .near.map_or(String::new(), |near| format!("; did you mean '{near}'?")))]
    Unknown {
        /// What was given.
        name: String,
        /// What was meant, most likely.
        near: Option<&'static str>,
    },
    /// Outside of what the limit can be.
    #[error("{name} = {found}: expected {min} to {max} {unit}")]
    OutOfBounds {
        /// Name.
        name: &'static str,
        /// What was given.
        found: f64,
        /// Smallest.
        min: f64,
        /// Largest.
        max: f64,
        /// Unit.
        unit: &'static str,
    },
}

impl Limits {
    /// The number in force.
    #[must_use]
    pub fn get(&self, limit: LimitId) -> f64 {
        self.values.get(limit as usize).copied().unwrap_or(limit.row().default)
    }

    /// The least of the numbers in force. A bank file may set a milder tier beyond a worse one: each tier stands by
    /// itself.
    #[must_use]
    pub fn least<const N: usize>(&self, limits: [LimitId; N]) -> f64 {
        limits.map(|limit| self.get(limit)).into_iter().fold(f64::INFINITY, f64::min)
    }

    /// The greatest of the numbers in force.
    #[must_use]
    pub fn greatest<const N: usize>(&self, limits: [LimitId; N]) -> f64 {
        limits.map(|limit| self.get(limit)).into_iter().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Every limit with its number in force.
    pub fn in_force(&self) -> impl Iterator<Item = (&'static Limit, f64)> {
        LIMITS.iter().zip(self.values.iter().copied())
    }

    /// The number in force of a limit by its name; none when there is no such limit.
    #[must_use]
    pub fn named(&self, name: &str) -> Option<f64> {
        self.values.get(LIMITS.iter().position(|limit| limit.name == name)?).copied()
    }

    /// Overrides a limit by its name.
    ///
    /// # Errors
    /// [`LimitError`] when there is no such limit or the number is outside of its bounds.
    pub fn set(&mut self, name: &str, value: f64) -> Result<(), LimitError> {
        let index = LIMITS.iter().position(|limit| limit.name == name);
        let index = index.ok_or_else(|| LimitError::Unknown {
            name: super::clean(name, 60),
            near: super::nearest(name, LIMITS.iter().map(|limit| limit.name)),
        })?;
        let row = &LIMITS[index];
        let (min, max) = row.bounds;
        if !(min..=max).contains(&value) {
            return Err(LimitError::OutOfBounds { name: row.name, found: value, min, max, unit: row.unit });
        }
        self.values[index] = value;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_lies_within_its_own_bounds_and_no_name_comes_twice() {
        let mut names: Vec<&str> = LIMITS.iter().map(|limit| limit.name).collect();
        for limit in LIMITS {
            assert!(limit.default >= limit.bounds.0 && limit.default <= limit.bounds.1, "{}", limit.name);
        }
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), LIMITS.len());
    }

    #[test]
    fn an_override_is_checked_and_says_what_was_expected() {
        let mut limits = Limits::default();
        limits.set("cell-overvoltage.notice", 3.75).unwrap();
        assert_eq!(limits.get(LimitId::OvervoltageNotice), 3.75);
        let error = limits.set("cell-overvoltage.notice", 40.0).unwrap_err();
        assert_eq!(error.to_string(), "cell-overvoltage.notice = 40: expected 3 to 4.5 V");
        assert!(limits.set("nothing.such", 1.0).is_err());
    }
}

//! What was found, how bad, about what, and on which evidence.

use super::{BankEvent, Stamp};
use serde::{Deserialize, Serialize};
use std::fmt;

/// How bad a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; act when convenient.
    Notice,
    /// The bank is being hurt, or may be; act soon.
    Warning,
    /// Act now.
    Urgent,
}

impl Severity {
    /// All, mildest first.
    pub const ALL: [Self; 3] = [Self::Notice, Self::Warning, Self::Urgent];

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Notice => "notice",
            Self::Warning => "warning",
            Self::Urgent => "urgent",
        }
    }
}

/// Level of the verdict. In rising order: what should be known and is not weighs more than a notice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// The safety set was judged and nothing was found.
    Well,
    /// At most notices.
    Notice,
    /// Data that should be there is missing, stale or not yet enough to judge the safety set.
    NotKnown,
    /// At least one warning.
    Warning,
    /// At least one urgent finding.
    Urgent,
}

impl Level {
    /// The word for it, as in JSON.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Well => "well",
            Self::Notice => "notice",
            Self::NotKnown => "not-known",
            Self::Warning => "warning",
            Self::Urgent => "urgent",
        }
    }
}

impl From<Severity> for Level {
    fn from(severity: Severity) -> Self {
        match severity {
            Severity::Notice => Self::Notice,
            Severity::Warning => Self::Warning,
            Severity::Urgent => Self::Urgent,
        }
    }
}

/// What a finding is about. Counted from 0; people read them from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub struct Subject {
    /// Pack; none for the whole bank or its links.
    pub pack: Option<u8>,
    /// Cell of the pack.
    pub cell: Option<u8>,
    /// Temperature sensor of the pack.
    pub sensor: Option<u8>,
}

impl Subject {
    /// The whole bank.
    pub const BANK: Self = Self { pack: None, cell: None, sensor: None };

    /// A whole pack.
    #[must_use]
    pub const fn pack(pack: u8) -> Self {
        Self { pack: Some(pack), cell: None, sensor: None }
    }

    /// A cell of a pack.
    #[must_use]
    pub const fn cell(pack: u8, cell: u8) -> Self {
        Self { pack: Some(pack), cell: Some(cell), sensor: None }
    }

    /// A sensor of a pack.
    #[must_use]
    pub const fn sensor(pack: u8, sensor: u8) -> Self {
        Self { pack: Some(pack), cell: None, sensor: Some(sensor) }
    }
}

/// 'cell 3 of pack 1', 'sensor 2 of pack 1', 'pack 1', 'the bank'.
impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(pack) = self.pack else { return f.write_str("the bank") };
        if let Some(cell) = self.cell {
            write!(f, "cell {} of ", cell + 1)?;
        } else if let Some(sensor) = self.sensor {
            write!(f, "sensor {} of ", sensor + 1)?;
        }
        write!(f, "pack {}", pack + 1)
    }
}

macro_rules! facts {
    ($($variant:ident $name:literal $keep:ident;)*) => {
        /// A figure of evidence; its unit is in its name.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum Fact { $(#[doc = $name] $variant,)* }

        impl Fact {
            /// Every one, in the order of the documentation.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// Name in JSON.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $name,)* }
            }

            /// What to keep when the figure comes again within one finding.
            #[must_use]
            pub const fn keep(self) -> Keep {
                match self { $(Self::$variant => Keep::$keep,)* }
            }
        }
    };
}

/// What to keep of a figure that comes again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// The largest.
    Highest,
    /// The smallest.
    Lowest,
    /// The newest.
    Latest,
    /// The sum.
    Sum,
}

facts! {
    PeakVolts "peak_v" Highest;
    LowestVolts "lowest_v" Lowest;
    CorrectedVolts "corrected_for_load_v" Lowest;
    MeanVolts "mean_v" Latest;
    PeakCelsius "peak_degc" Highest;
    LowestCelsius "lowest_degc" Lowest;
    RiseKelvin "rise_k" Highest;
    OthersCelsius "others_degc" Latest;
    PeakAmps "peak_a" Highest;
    RmsAmps "rms_60s_a" Highest;
    PeakRate "peak_c_rate" Highest;
    LimitAmps "reduce_to_a" Lowest;
    LimitRate "limit_c_rate" Lowest;
    ChargeAh "charge_above_limit_ah" Sum;
    SpreadMillivolts "spread_mv" Highest;
    ApartAh "apart_ah" Latest;
    ApartLeastAh "apart_at_least_ah" Latest;
    ApartPercent "apart_percent" Latest;
    ApartErrorAh "apart_error_ah" Latest;
    ShortAh "less_than_median_ah" Latest;
    ShortPercent "less_than_median_percent" Latest;
    ShortErrorAh "less_error_ah" Latest;
    LostAh "lost_ah" Latest;
    LostOverDays "lost_over_days" Latest;
    LossMilliamps "loss_ma" Latest;
    BehindAh "behind_ah" Latest;
    BledHours "bled_h" Latest;
    BledDueAh "bled_due_ah" Latest;
    CameDownAh "came_down_ah" Latest;
    HeldHours "held_h" Highest;
    HeldDays "held_days" Highest;
    WindowDays "window_days" Latest;
    MarginVolts "separation_v" Highest;
    CutAmps "current_before_a" Latest;
    LostPercent "lost_percent" Highest;
    LostFrames "lost_frames" Latest;
    StepSeconds "step_s" Latest;
    SilentSeconds "silent_s" Highest;
    OffRangePercent "at_range_end_percent" Highest;
    ChargeVolts "charged_at_v" Highest;
    HeldVolts "held_v" Highest;
    FloatVolts "float_v" Highest;
    Compensation "compensation_mv_per_k" Latest;
    SharePercent "share_percent" Latest;
    ShareBeyond "share_beyond_points" Latest;
    SpreadKelvin "spread_k" Highest;
    WarmingRate "warming_k_per_h" Lowest;
    FirstCell "first_cell_number" Latest;
    CutMargin "cut_margin_v" Latest;
    NearSeconds "near_limit_s" Latest;
    OffsetAmps "offset_a" Latest;
    DaysLeft "until_a_tenth_days" Lowest;
    DrawAmps "draw_a" Latest;
    SinceFullDays "since_full_days" Latest;
    Cycles "full_cycles" Latest;
    HotHours "hours_hot_of_30d" Highest;
    AgeingTimes "ageing_by_heat_times" Latest;
    ConnectionMilliohms "connection_mohm" Latest;
    ConnectionError "connection_error_mohm" Latest;
    GrowthMilliohms "growth_mohm" Latest;
    MillivoltsAt100 "at_100_a_mv" Latest;
    HeatWatts "heat_w" Latest;
    LargestAmps "largest_10min_a" Highest;
    RatedAmps "rated_a" Latest;
    OffMillivolts "off_mv" Latest;
    ReadVolts "read_v" Latest;
    OneWayAh "one_way_ah" Highest;
    MeasuredAh "measured_ah" Latest;
    EarlierAh "measured_before_ah" Latest;
    FiledAh "filed_ah" Latest;
    ResistanceFactor "resistance_rise_times" Latest;
    HiddenSteps "hidden_step_times" Highest;
    HiddenMillivolts "hidden_step_mv" Latest;
    SocMovedPercent "reported_soc_moved_percent" Latest;
    SocMovedAh "counted_meanwhile_ah" Latest;
}

/// The figures under a finding.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Evidence(pub Vec<(Fact, f64)>);

impl Evidence {
    /// The figure, if it is there.
    #[must_use]
    pub fn get(&self, fact: Fact) -> Option<f64> {
        self.0.iter().find(|(f, _)| *f == fact).map(|(_, v)| *v)
    }

    /// Takes a figure, merged with the one that is there by the figure's own way to keep.
    pub fn note(&mut self, fact: Fact, value: f64) {
        match self.0.iter_mut().find(|(f, _)| *f == fact) {
            None => self.0.push((fact, value)),
            Some((_, kept)) => {
                *kept = match fact.keep() {
                    Keep::Highest => kept.max(value),
                    Keep::Lowest => kept.min(value),
                    Keep::Latest => value,
                    Keep::Sum => *kept + value,
                }
            }
        }
    }
}

/// One finding, ready to be shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Index of the rule in the table of rules.
    pub rule: u16,
    /// Code of the condition.
    pub code: &'static str,
    /// Worst that it has been.
    pub severity: Severity,
    /// What it is about.
    pub subject: Subject,
    /// When it was first met.
    pub first: Stamp,
    /// When it was last met.
    pub last: Stamp,
    /// Whether it is met now.
    pub active: bool,
    /// Whether somebody has seen it.
    pub acknowledged: bool,
    /// How often it came.
    pub episodes: u32,
    /// Seconds in which it was met, all episodes together.
    pub total_secs: f64,
    /// Figures.
    pub evidence: Evidence,
    /// The sentence.
    pub text: String,
    /// What to do.
    pub what_to_do: String,
    /// Caution that goes with it; may be empty.
    pub caution: &'static str,
    /// Where the limit comes from.
    pub source: &'static str,
    /// What may be behind it, the likeliest first; empty where the finding explains itself.
    pub explanations: Vec<Explanation>,
    /// Work on the bank after which it no longer holds of what is there now.
    pub ended_by: Option<BankEvent>,
}

/// One of the faults that may be behind a finding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Explanation {
    /// The fault, in words.
    pub what: &'static str,
    /// How much speaks for it, 0 to 1; all together at most 1.
    pub weight: f64,
    /// What observation would settle it.
    pub settles_by: &'static str,
}

/// A condition that could not be judged, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct NotJudged {
    /// Code of the condition.
    pub code: &'static str,
    /// What is missing.
    pub why: String,
    /// About what.
    pub subject: Subject,
}

/// A moment in the life of an alert, for marks on the time line and for scripts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Episode {
    /// Index of the rule in the table of rules.
    pub rule: u16,
    /// About what.
    pub subject: Subject,
    /// Worst severity of the episode.
    pub severity: Severity,
    /// From.
    pub first: Stamp,
    /// Until; while it is active, until now.
    pub last: Stamp,
    /// Whether it is still going on.
    pub active: bool,
}

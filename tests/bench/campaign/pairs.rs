//! Which faults are drawn into one bank: none hides what the other shows, nor asks for another weather, and there is a log
//! that is long and dense enough for both. Told from the written rule, never from what the engine found.

use super::draw::{Drawn, PACES};
use super::faults::{Kind, Needs};
use super::life::Life;

/// Faults that show in the cells' voltages.
const IN_CELLS: &[&str] = &[
    "out-of-balance",
    "small-cell",
    "connection",
    "leak",
    "bleeder-stuck",
    "bleeder-dead",
    "bypass",
    "parallel-gone",
    "lead-offset",
    "lead-shared",
    "lead-open",
    "lead-resistive",
    "leads-swapped",
];
/// Faults that show at full charges only; in the cold the cells' voltages tell nothing there.
const AT_TOP: &[&str] = &[
    "out-of-balance",
    "small-cell",
    "leak",
    "bleeder-stuck",
    "bleeder-dead",
    "compensation",
    "absorption-high",
    "equalise",
    "current-offset",
];
/// Faults that show in any life.
const ANYWHERE: &[&str] = &["sensor-lost", "frames-lost", "current-dead-band"];
/// Lives of which hardly another fault is known.
const QUIET: &[Life] = &[Life::Hold, Life::Float, Life::Store];
/// Air below this mean is cold, °C.
const COLD: f64 = 10.0;

impl Kind {
    /// Whether it shows in a life.
    pub(super) fn lives(&self, life: Life) -> bool {
        self.life == life || (QUIET.contains(&life) && ANYWHERE.contains(&self.name))
    }

    /// It ends the life of the bank as it was: what else is wrong must have shown before.
    pub(super) fn ends_all(&self) -> bool {
        matches!(self.name, "charge-refused" | "cut-out")
    }

    /// It comes with a weather of its own.
    fn has_weather(&self) -> bool {
        matches!(self.needs, Needs::Weather | Needs::Swing | Needs::Nights | Needs::Heater)
            || self.name == "sensor-stuck"
    }
}

impl Drawn {
    fn is_cold(&self) -> bool {
        self.kind.needs == Needs::Heater || (self.kind.needs == Needs::Weather && self.size < COLD)
    }

    /// Whether it leaves nothing to see of another.
    fn hides(&self, other: &Self) -> bool {
        let (own, name) = (self.kind.name, other.kind.name);
        let of = |list: &[&str]| list.contains(&name);
        let same_pack = self.pack == other.pack;
        (own.starts_with("lead") && same_pack && of(IN_CELLS))
            || (self.kind.needs == Needs::NoCells && of(IN_CELLS))
            // at so many volts for each described cell no rest is seen, and without a rest no sensor's own distance
            || (own == "described-cells" && same_pack && name == "sensor-by-heat")
            || (matches!(own, "pack-silent" | "pack-off") && same_pack)
            || (own == "described-capacity" && same_pack && of(&["small-cell", "leak", "bleeder-stuck"]))
            // a string that holds less beside a sensor that reads more measures as what is described
            || (own == "small-cell" && same_pack && name == "current-gain")
            // a bank that holds as much as is described, since it has aged, is described well
            || (own == "described-capacity" && name == "fade")
            || (own == "out-of-balance" && same_pack && of(AT_TOP))
            || (self.is_cold() && of(AT_TOP))
    }
}

/// Whether two faults can be looked for in one log.
pub(super) fn go_together(one: &Drawn, two: &Drawn) -> bool {
    let slowest = one.kind.slowest().min(two.kind.slowest());
    let days = days_of(&[*one, *two]);
    one.kind.name != two.kind.name
        && one.kind.code != two.kind.code
        && !(one.kind.has_weather() && two.kind.has_weather())
        && !one.hides(two)
        && !two.hides(one)
        && PACES.iter().any(|(sample, most)| *sample <= slowest && *most >= days)
}

/// Shortest log that shows all, days. What ends everything comes when the others have had their time.
pub(super) fn days_of(drawn: &[Drawn]) -> f64 {
    let ends = drawn.iter().any(|one| one.kind.ends_all()) && drawn.len() > 1;
    let days = |all: &mut dyn Iterator<Item = &Drawn>| all.map(|one| one.kind.days).fold(0.0, f64::max);
    if ends {
        let others = days(&mut drawn.iter().filter(|one| !one.kind.ends_all())).ceil();
        (others / 0.8).max(others + 0.7)
    } else {
        days(&mut drawn.iter())
    }
}

/// The day on which what ends everything comes: half way, or beside another fault late.
pub(super) fn last_day(days: f64, alone: bool) -> f64 {
    if alone { (0.45 * days).floor() } else { (0.8 * days).floor().min((days - 0.7).floor()).max(0.0) }
}

//! The written rule: what a run must find, and what it may find. Computed from the truth and the drawn faults
//! alone, before the engine has read a frame. `docs/accuracy.md` prints it in words.

use super::draw::{Drawn, Plan};
use super::faults::Needs;
use super::watch::Watch;
use cellwright::model::finding::Severity::{self, Notice, Urgent, Warning};

/// What one condition of one pack (none: of any) must and may be found to be.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Expect {
    pub(crate) pack: Option<u8>,
    pub(crate) code: &'static str,
    /// Worst severity that must be found, and from which second on.
    pub(crate) must: Option<(Severity, f64)>,
    /// Worst severity that may be found.
    pub(crate) may: Option<Severity>,
    /// Size of the drawn fault behind it: 0 harmless, 1 small, 2 plain.
    pub(crate) grade: Option<usize>,
}

/// Cells that stand further apart than this may be told whatever drove them, % of the capacity: the documented 1 % less
/// a tenth.
const APART: f64 = 0.9;

/// Packs that share the current by so many points unlike their capacities may be told, whatever makes them: the documented
/// figure less a tenth.
const UNEVEN: f64 = 13.5;

/// What must and may be found.
pub(crate) fn expect(plan: &Plan, watches: &[Watch]) -> Vec<Expect> {
    let mut all = Vec::new();
    for (pack, watch) in (0u8..).zip(watches) {
        for line in watch.lines() {
            let Some(from) = line.from() else { continue };
            let must = line.must.then_some((line.severity, from));
            all.push(Expect { pack: Some(pack), code: line.code, must, may: Some(line.severity), grade: None });
        }
    }
    for fault in &plan.faults {
        of_fault(plan, fault, watches, &mut all);
    }
    let uneven = |fault: &Drawn| matches!(fault.kind.needs, Needs::Imbalance | Needs::Bleeding);
    if plan.about == "balancing at work" || plan.faults.iter().any(uneven) {
        all.push(Expect { pack: None, code: "imbalance", must: None, may: Some(Warning), grade: None });
    }
    for (pack, _) in (0u8..).zip(watches).filter(|(_, watch)| watch.apart > APART) {
        all.push(Expect { pack: Some(pack), code: "imbalance", must: None, may: Some(Warning), grade: None });
    }
    for (pack, watch) in (0u8..).zip(watches).filter(|(_, watch)| watch.off_share() > UNEVEN) {
        let may = if watch.off_share() > 2.0 * UNEVEN { Warning } else { Notice };
        all.push(Expect { pack: Some(pack), code: "unequal-sharing", must: None, may: Some(may), grade: None });
    }
    if plan.faults.iter().any(|fault| fault.kind.name == "bleeder-stuck") {
        // its state says that it bleeds: where it draws next to nothing it is also one that does not reach its cell
        all.push(Expect { pack: None, code: "balancing-fails", must: None, may: Some(Notice), grade: None });
    }
    blind(plan, &mut all);
    merged(all)
}

/// While leads or sensors lie, what they hide need not be found; without cell voltages nothing of cells.
fn blind(plan: &Plan, all: &mut [Expect]) {
    let hides = |fault: &&Drawn| fault.grade > 0 || fault.kind.sizes[0] == fault.kind.sizes[2];
    let cells = [
        "imbalance",
        "low-capacity-cell",
        "high-resistance-connection",
        "self-discharging-cell",
        "cell-overvoltage",
        "cell-undervoltage",
        "left-empty",
        "low-in-storage",
        "balancing-fails",
        "balance-lead-fault",
        "bms-cutoff",
    ];
    let amps = ["cold-charge", "over-current", "prolonged-high-float", "not-fully-charged", "low-in-storage"];
    let heat = ["cold-charge", "overtemperature", "hot-exposure"];
    for one in all.iter_mut() {
        let own = one.grade.is_some();
        let of = |list: &[&str]| list.contains(&one.code);
        // a fault of a pack hides what that pack would show, and what all packs together would
        let here = |fault: &&Drawn| one.pack.is_none_or(|pack| pack == fault.pack);
        let faulty =
            |name: &str| plan.faults.iter().filter(hides).filter(here).any(|fault| fault.kind.name.starts_with(name));
        let misled = faulty("sensor-stuck") || faulty("sensor-in-air") || faulty("sensor-by-heat");
        let hidden = (!plan.cells_told && of(&cells))
            || (!own && faulty("lead") && of(&cells))
            || (!own
                && (faulty("current-offset") || faulty("current-gain") || faulty("bypass") || faulty("described"))
                && of(&amps))
            || (!own && misled && of(&heat))
            || (faulty("described-capacity") && of(&["low-capacity-cell", "imbalance", "self-discharging-cell"]))
            || (one.code != "stale-data" && faulty("pack-silent"))
            || (one.code == "temperature-spread" && faulty("described-cells"))
            || (one.code == "low-capacity-cell" && faulty("parallel-gone"))
            || (!own && faulty("pack-off"))
            || (one.code == "bms-cutoff" && plan.sample > 2.0 && !plan.cells_told);
        if hidden {
            one.must = None;
        }
    }
}

fn merged(all: Vec<Expect>) -> Vec<Expect> {
    let mut out: Vec<Expect> = Vec::new();
    for one in all {
        match out.iter_mut().find(|known| known.pack == one.pack && known.code == one.code) {
            None => out.push(one),
            Some(known) => {
                known.may = known.may.max(one.may);
                known.grade = known.grade.max(one.grade);
                known.must = match (known.must, one.must) {
                    (Some(a), Some(b)) => Some(if b.0 > a.0 { b } else { a }),
                    (a, b) => a.or(b),
                };
            }
        }
    }
    for one in &mut out {
        one.may = one.may.max(one.must.map(|must| must.0));
    }
    out
}

/// What a fault of this size explains beside its own condition, whatever is seen.
fn also(name: &str) -> &'static [(&'static str, Severity)] {
    match name {
        "out-of-balance" | "leak" | "bleeder-stuck" | "bleeder-dead" => &[
            ("imbalance", Warning),
            ("self-discharging-cell", Warning),
            ("balancing-fails", Notice),
            ("low-capacity-cell", Notice),
            // a cell that is empty while the others are not takes its pack out of the share, and out of every full charge
            ("unequal-sharing", Warning),
            ("not-fully-charged", Notice),
            // run down to nothing it reads the end of its range
            ("sensor-fault", Notice),
        ],
        "small-cell" => &[
            ("imbalance", Warning),
            ("low-capacity-cell", Warning),
            // the first to be empty takes its pack out of the share
            ("unequal-sharing", Warning),
        ],
        "connection" => {
            &[("temperature-spread", Warning), ("high-resistance-connection", Warning), ("imbalance", Notice)]
        }
        "lead-offset" | "lead-shared" | "lead-open" | "lead-resistive" | "leads-swapped" => &[
            ("balance-lead-fault", Warning),
            ("imbalance", Warning),
            ("cell-overvoltage", Urgent),
            ("cell-undervoltage", Urgent),
            ("left-empty", Warning),
            ("low-in-storage", Warning),
            ("sensor-fault", Warning),
            ("self-discharging-cell", Notice),
            ("bank-description", Notice),
        ],
        "sensor-stuck" | "sensor-lost" | "sensor-in-air" | "sensor-by-heat" => &[
            ("sensor-fault", Warning),
            ("temperature-spread", Warning),
            ("cold-charge", Warning),
            // a reading counts until it is known to be wrong: beside something that heats up it is that of a cell beyond
            // its limit, and the sheet's limit of the current at that temperature is small
            ("overtemperature", Urgent),
            ("over-current", Urgent),
            ("hot-exposure", Warning),
        ],
        "current-offset" | "current-gain" | "current-dead-band" | "bypass" => &[
            ("sensor-fault", Notice),
            ("bank-description", Notice),
            ("over-current", Warning),
            ("unequal-sharing", Warning),
            ("low-in-storage", Warning),
            ("cold-charge", Warning),
            ("prolonged-high-float", Notice),
        ],
        "described-capacity" | "described-cells" | "fade" | "parallel-gone" => &[
            ("bank-description", Warning),
            ("over-current", Urgent),
            ("cold-charge", Warning),
            ("cell-overvoltage", Warning),
            ("charger-profile", Warning),
            ("prolonged-high-float", Warning),
            ("unequal-sharing", Warning),
            ("imbalance", Warning),
            ("not-fully-charged", Notice),
        ],
        "pack-off" | "outer-resistance" => &[
            ("unequal-sharing", Warning),
            ("bms-cutoff", Warning),
            ("charger-profile", Notice),
            ("bank-description", Notice),
        ],
        "pack-silent" | "frames-lost" => {
            &[("stale-data", Notice), ("lossy-link", Notice), ("unequal-sharing", Warning)]
        }
        // a pack that may not be charged runs empty and stays so
        "charge-refused" | "cut-out" => {
            &[("bms-cutoff", Warning), ("unequal-sharing", Warning), ("low-in-storage", Warning)]
        }
        "heater-weak" => &[("heater-weak", Notice), ("cold-charge", Warning)],
        "standby" => &[("low-in-storage", Warning)],
        "compensation" | "equalise" | "absorption-high" | "float-high" => {
            &[("charger-profile", Warning), ("imbalance", Notice)]
        }
        _ => &[],
    }
}

fn of_fault(plan: &Plan, fault: &Drawn, watches: &[Watch], all: &mut Vec<Expect>) {
    let Some(watch) = watches.get(usize::from(fault.pack)) else { return };
    let pack = Some(fault.pack);
    let (code, grade) = (fault.kind.code, Some(fault.grade));
    if let Some(must) = shows(plan, fault, watch) {
        let from = fault.from.max(if matches!(code, "sensor-fault" | "balance-lead-fault" | "stale-data") {
            fault.from
        } else {
            0.0
        });
        all.push(Expect { pack, code, must: Some((must, from)), may: Some(must), grade });
    } else if !code.is_empty() {
        // not clearly of a size that must be found: it may be, unless it is harmless
        all.push(Expect { pack, code, must: None, may: None, grade });
    }
    if fault.grade > 0
        || matches!(
            fault.kind.name,
            "fade" | "lead-open" | "leads-swapped" | "pack-off" | "charge-refused" | "cut-out" | "pack-silent"
        )
        || fault.kind.sizes[0] == fault.kind.sizes[2]
    {
        all.extend(also(fault.kind.name).iter().map(|&(code, may)| Expect {
            pack: None,
            code,
            must: None,
            may: Some(may),
            grade: None,
        }));
    }
}

/// Whether the data can show a fault, and as what it must then be found. Sizes between two limits need not be.
fn shows(plan: &Plan, fault: &Drawn, watch: &Watch) -> Option<Severity> {
    let size = fault.size.abs();
    let of_capacity = size / plan.capacity * 100.0;
    let (tops, bottoms) = (watch.tops.len(), watch.bottoms.len());
    let left = plan.days * 86_400.0 - fault.from;
    let grade = |notice: bool, warning: bool| if warning { Some(Warning) } else { notice.then_some(Notice) };
    match (fault.kind.name, fault.kind.code) {
        ("out-of-balance", _) if plan.cells_told => {
            // that of which nobody can tell how far it is behind never comes to the knee beside others that stand in it
            let apart = 100.0 * watch.evidence.apart_at_top() / plan.capacity;
            let lags = of_capacity > 2.6 && watch.evidence.lag_secs() > 600.0;
            grade(apart > 2.6 || lags, apart > 6.0)
        }
        ("small-cell", _) if plan.cells_told && tops >= 1 && bottoms >= 1 => grade(size > 9.0, size > 23.0),
        ("connection", _) if plan.cells_told => {
            // what one step tells, by noise and resolution, against the excess
            let step = (2.0f64).sqrt() * (plan.noise.0.powi(2) + plan.steps.0.powi(2) / 12.0).sqrt();
            let error = 1.3 * step / watch.squares.max(1e-9).sqrt() * 1e3;
            let own = 1e3 * 0.1 / plan.capacity * 2.0;
            let clear = size > 1.4 * (0.3f64).max(0.25 * own) && watch.steps >= 4 && 3.0 * error < 0.3 * size;
            let amps = watch.rms.max(plan.capacity);
            let watts = size * 1e-3 * amps * amps;
            if clear { grade(watts > 4.0, watts > 20.0) } else { None }
        }
        ("lead-offset", _) if plan.cells_told => {
            let range = watch.amps.1 - watch.amps.0 > 0.12 * plan.capacity && watch.soc.1 - watch.soc.0 > 0.25;
            grade(range && size > 0.021 + 0.5 * plan.steps.0, false)
        }
        ("lead-shared", _) if plan.cells_told => {
            grade(watch.quiet > 1800.0 && 2.0 * size > 0.055 + plan.steps.0 && left > 40_000.0, false)
        }
        ("lead-open", _) if plan.cells_told => grade(false, watch.soc.0 > 0.05),
        ("lead-resistive", _) if plan.cells_told && plan.sample <= 10.0 => {
            grade(watch.bleeds > 4 && size * 0.06 > 0.030, false)
        }
        ("leak" | "bleeder-stuck", _) if plan.cells_told => {
            const DAY: f64 = 86_400.0;
            let between_tops = watch.tops.last().zip(watch.tops.first()).map_or(0.0, |(last, first)| last - first);
            let early_top = watch.tops.first().is_some_and(|top| *top < 5.0 * DAY);
            let by_bottoms = watch.evidence.between_bottoms() > 6.0 * DAY && early_top;
            let lost = watch.evidence.lost(usize::from(fault.part));
            let told = |shown: bool, lost: f64| shown && lost / plan.capacity * 100.0 > 1.6;
            let spaced = told(between_tops > 6.0 * DAY, lost.0) || told(by_bottoms, lost.1);
            let rate = size * 1e3 / plan.capacity * 100.0;
            if spaced { grade(rate > 2.0, told(by_bottoms, lost.1) && rate > 14.0) } else { None }
        }
        ("bleeder-dead", _) if plan.cells_told => {
            grade(watch.evidence.due_hours(usize::from(fault.part)) > 14.0 && watch.clean_tops >= 3, false)
        }
        ("compensation", _) => grade(tops >= 5 && watch.evidence.is_compensated(10.0), false),
        ("heater-weak", _) => grade(size > 80.0 && watch.heated > 4.0, false),
        ("sensor-stuck", _) => grade(left > 14.0 * 3600.0 && watch.evidence.moved() > 4.5, false),
        ("sensor-lost", _) => Some(Notice),
        ("sensor-in-air", _) => {
            // the cells must swing less than the air by more than the documented share
            let hours = plan.capacity * 27.5 * f64::from(plan.cells) / plan.loss / 3600.0;
            let damped = (1.0 + (std::f64::consts::TAU / 24.0 * hours).powi(2)).sqrt();
            let swings = plan.faults.iter().all(|other| other.kind.needs != Needs::Weather);
            grade(size > 0.9 && plan.days > 5.0 && damped > 1.7 && swings, false)
        }
        ("sensor-by-heat", _) => {
            let more = size * (watch.rms / 100.0).powi(2);
            grade(more > 10.0, more > 16.0).filter(|_| watch.rms > 1.0 && more < 80.0)
        }
        ("current-offset", _) => {
            // beyond this the current is never seen below what is called the end of a charge
            let hides = size > 0.018 * plan.capacity;
            grade(size > 1.5 * (0.5f64).max(plan.capacity / 300.0) && tops >= 7 && !hides, false)
        }
        ("current-gain" | "described-capacity", _) if bottoms >= 2 && tops >= 2 => grade(size > 20.0, false),
        ("bypass", _) if plan.cells_told && plan.sample <= 10.0 => {
            grade(watch.hidden.0 > 0.017 && watch.hidden.1 >= 8, false)
        }
        ("described-cells", _) => grade(false, watch.steps > 0 && plan.days > 1.0),
        ("parallel-gone", _) if plan.cells_told && plan.sample <= 2.0 => {
            let lies = plan.faults.iter().any(|other| other.kind.name.starts_with("sensor"));
            let (steps, squares) = watch.evidence.steps_after;
            let rise = 0.1 / plan.capacity * (squares / f64::from(steps.max(1))).sqrt();
            let noise = (0.47 * plan.steps.0).max(1.4 * plan.noise.0);
            grade(false, size > 0.4 && steps > 30 && rise > 2.0 * noise && !lies)
        }
        ("outer-resistance", "unequal-sharing") => grade(watch.off_share() > 18.0, watch.off_share() > 36.0),
        ("pack-off", _) => {
            let share = 100.0 / f64::from(plan.packs);
            grade(share > 18.0, share > 33.0)
        }
        ("pack-silent", _) => grade(left > 600.0 + 8.0 * plan.sample, false),
        ("frames-lost", _) => grade(size < 60.0 && plan.days * 86_400.0 / plan.sample > 2000.0, false),
        _ => None,
    }
}

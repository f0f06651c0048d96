//! The truth of each estimate at a moment, as a range where the word leaves room.

use super::draw::{Drawn, Plan};
use cellwright::sim::{PackTruth, Truth};

/// Seconds between two moments that are kept.
const EVERY: f64 = 300.0;
/// Figures that are no better than the scale of the current sensor.
const NEED_SCALE: &[&str] = &[
    "capacity_ah",
    "charged_ah",
    "drawn_ah",
    "imbalance_ah",
    "imbalance_low_ah",
    "early_at_top_ah",
    "early_at_bottom_ah",
    "less_than_median_ah",
    "loses_ma",
    "connection_mohm",
    "outside_cells_mohm",
];
/// A current from which the voltage beyond the cells tells what lies there, C.
const TELLS: f64 = 0.05;

/// What is kept of a pack at a moment.
#[derive(Debug, Clone)]
struct Moment {
    charged: f64,
    drawn: f64,
    /// Charge, capacity, resistance now, connection, and what is lost all the time, of each cell.
    cells: Vec<[f64; 5]>,
    /// Between the cells and the point where the bus is read, least and most so far: the joints of packs side by side
    /// carry the current of the others too.
    path: (f64, f64),
}

/// The truth of a run by time.
#[derive(Debug, Clone)]
pub(crate) struct History {
    at: Vec<f64>,
    packs: Vec<Vec<Moment>>,
}

impl History {
    pub(crate) fn new() -> Self {
        Self { at: Vec::new(), packs: Vec::new() }
    }

    pub(crate) fn look(&mut self, truth: &Truth) {
        if self.at.last().is_some_and(|last| truth.secs - last < EVERY) {
            return;
        }
        self.at.push(truth.secs);
        let before = self.packs.last();
        let moments = truth.packs.iter().enumerate().map(|(index, pack)| Moment {
            charged: pack.passed.0,
            drawn: pack.passed.1,
            path: path(truth, pack, before.and_then(|packs| packs.get(index))),
            cells: pack
                .cells
                .iter()
                .map(|cell| [cell.charge, cell.capacity, cell.ohms, cell.connection, cell.leak])
                .collect(),
        });
        self.packs.push(moments.collect());
    }

    /// The moments before and after.
    fn around(&self, secs: f64, pack: u8) -> Option<[&Moment; 2]> {
        let after = self.at.partition_point(|at| *at < secs).min(self.at.len().checked_sub(1)?);
        let of = |index: usize| self.packs.get(index)?.get(usize::from(pack));
        Some([of(after.saturating_sub(1))?, of(after)?])
    }
}

/// Resistance of the path, Ω, widened by what the joints make of it whenever enough current flows to tell.
fn path(truth: &Truth, pack: &PackTruth, before: Option<&Moment>) -> (f64, f64) {
    let same = before.map(|moment| moment.path).filter(|(least, most)| (*least..=*most).contains(&pack.path));
    let (least, most) = same.unwrap_or((pack.path, pack.path));
    if pack.amps.abs() < TELLS * pack.rated {
        return (least, most);
    }
    let now = (truth.bus - pack.cells.iter().map(|cell| cell.volts).sum::<f64>()) / pack.amps;
    (least.min(now), most.max(now))
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match (values.len() % 2, values.get(middle), values.get(middle.wrapping_sub(1))) {
        (1, Some(one), _) => *one,
        (_, Some(one), Some(other)) => 0.5 * (one + other),
        _ => f64::NAN,
    }
}

/// Whether the current sensor of a pack reads too much or too little in proportion: nothing on the bus tells its scale.
fn has_no_scale(plan: &Plan, pack: u8) -> bool {
    plan.faults.iter().any(|fault| fault.kind.name == "current-gain" && fault.pack == pack)
}

/// The true range of an estimate of a pack or a cell at a moment; none where there is no truth to compare with.
pub(crate) fn truth_of(
    name: &str,
    plan: &Plan,
    (pack, cell): (u8, Option<u8>),
    history: &History,
    secs: f64,
) -> Option<(f64, f64)> {
    let around = history.around(secs, pack)?;
    let of = |get: &dyn Fn(&Moment) -> (f64, f64)| {
        let [a, b] = around.map(get);
        Some((a.0.min(b.0), a.1.max(b.1)))
    };
    let one = |number: f64| (number, number);
    let spread = |values: Vec<f64>| {
        one(values.iter().fold(-1e9, |a: f64, b| a.max(*b)) - values.iter().fold(1e9, |a: f64, b| a.min(*b)))
    };
    let missing = |moment: &Moment| moment.cells.iter().map(|cell| cell[1] - cell[0]).collect::<Vec<f64>>();
    let column = |moment: &Moment, index: usize| moment.cells.iter().map(|cell| cell[index]).collect::<Vec<f64>>();
    let behind = |values: Vec<f64>, sign: f64| {
        let middle = median(values.iter().copied());
        let own = values.get(usize::from(cell.unwrap_or(0))).copied().unwrap_or(f64::NAN);
        one(sign * (middle - own))
    };
    if NEED_SCALE.contains(&name) && has_no_scale(plan, pack) {
        return None;
    }
    match name {
        "soc_percent" => of(&|moment| {
            let lacks = median(missing(moment).into_iter());
            let capacity = median(column(moment, 1).into_iter());
            let told = [plan.capacity, capacity].map(|whole| 100.0 * (1.0 - lacks / whole));
            // beyond full is full
            (told[0].min(told[1]).min(100.0), told[0].max(told[1]).min(100.0))
        }),
        "charged_ah" => of(&|moment| one(moment.charged)),
        "drawn_ah" => of(&|moment| one(moment.drawn)),
        "capacity_ah" => of(&|moment| {
            let most = median(column(moment, 1).into_iter());
            let least = |values: Vec<f64>| values.into_iter().fold(1e9, f64::min);
            (least(column(moment, 0)) + least(missing(moment)), most)
        }),
        "imbalance_ah" => of(&|moment| spread(missing(moment))),
        "imbalance_low_ah" => of(&|moment| spread(column(moment, 0))),
        "early_at_top_ah" => of(&|moment| behind(missing(moment), 1.0)),
        "early_at_bottom_ah" => of(&|moment| behind(column(moment, 0), 1.0)),
        "less_than_median_ah" => of(&|moment| behind(column(moment, 1), 1.0)),
        "loses_ma" => {
            // a bleeder that is stuck is no leak of the cell, and the same from outside
            let here = |fault: &&Drawn| fault.pack == pack && Some(fault.part) == cell;
            let stuck = plan.faults.iter().filter(here).filter(|fault| fault.kind.name == "bleeder-stuck");
            let draws = 1e3 * stuck.map(|fault| fault.size).sum::<f64>();
            of(&|moment| one(behind(column(moment, 4), -1e3).0 + draws))
        }
        "connection_mohm" => of(&|moment| {
            // the cell's own difference is no connection, and from outside the same
            let told = behind(column(moment, 3), -1e3).0;
            let seen = behind(column(moment, 2), -1e3).0;
            (told.min(seen), told.max(seen))
        }),
        "outside_cells_mohm" => of(&|moment| (moment.path.0 * 1e3, moment.path.1 * 1e3)),
        "current_offset_a" => {
            let wrong = plan.faults.iter().filter(|fault| fault.kind.name == "current-offset" && fault.pack == pack);
            Some(one(plan.offset + wrong.map(|fault| fault.size).sum::<f64>()))
        }
        "thermal_time_constant_h" => Some(one(plan.capacity * 27.5 * f64::from(plan.cells) / plan.loss / 3600.0)),
        _ => None,
    }
}

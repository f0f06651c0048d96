//! Pack voltages: a field that is the sum of so many cells.

use super::bits::{Run, overlap};
use super::cells::{Cell, mean};
use super::fit;
use super::scale::{PACK, Usual};
use super::starts::{grown, starts, stepped};
use super::view::View;

/// How far the sum of the cells and the pack's own number may differ, as a share: both are measured apart.
const APART: f64 = 0.006;
/// Frames of a field that are looked at first.
const FIRST_LOOK: usize = 160;

/// A field that may be a pack voltage.
#[derive(Debug, Clone)]
pub(super) struct Volts {
    pub(super) view: usize,
    pub(super) run: Run,
    pub(super) usual: Usual,
    /// Cells in series of which it is the sum.
    pub(super) cells: usize,
    /// How alike its changes are to those of the cells.
    pub(super) together: f64,
    pub(super) volts: Vec<f32>,
    /// The bits show where it begins.
    pub(super) shows: bool,
}

impl Volts {
    /// Whether another stands in the same message in the same form, at other bits.
    pub(super) fn is_beside(&self, other: &Self) -> bool {
        let form = |volts: &Self| (volts.view, volts.usual, volts.cells, volts.run.big, volts.run.len);
        form(self) == form(other) && self.run.low.abs_diff(other.run.low) >= u16::from(self.run.len)
    }
}

/// Bits that are taken, by view.
#[derive(Debug, Clone, Default)]
pub(super) struct Taken(Vec<(usize, [u8; 64])>);

impl Taken {
    pub(super) fn add(&mut self, view: usize, mask: [u8; 64]) {
        self.0.push((view, mask));
    }

    pub(super) fn holds(&self, views: &[View], view: usize, run: &Run) -> bool {
        let Some(own) = views.get(view) else { return true };
        let mask = run.mask(own.bytes());
        self.0.iter().any(|(other, taken)| {
            let Some(other) = views.get(*other) else { return false };
            !other.is_apart_from(own) && overlap(taken, &mask)
        })
    }
}

/// Every field that is the sum of 4, 8 or 16 cells, by its changes over so many points.
pub(super) fn find(views: &[View], cells: &[Cell], taken: &Taken, lag: usize) -> Vec<Volts> {
    let mean = mean(cells.iter().map(|cell| &cell.volts[..]));
    let middle = fit::middle(&mean);
    let mut found: Vec<Volts> = Vec::new();
    for (at, view) in views.iter().enumerate() {
        for start in starts(view).into_iter().chain(stepped(view)) {
            for len in 7..=24 {
                let Some(run) = start.run(len, false).filter(|run| view.is_own(run)) else { continue };
                if taken.holds(views, at, &run) {
                    continue;
                }
                let raws = view.sample(&run, FIRST_LOOK);
                if raws.iter().all(|raw| raw >> (len - 1) == 0) {
                    continue;
                }
                let mut sorted: Vec<f32> = raws.iter().map(|raw| *raw as f32).collect();
                let raw = fit::share(&mut sorted, 0.5);
                for (count, usual) in sums(raw, middle) {
                    let run = grown(view, run, start.limit);
                    let volts = volts(view, run, (count, usual), (&mean, lag));
                    let shows = start.shows && !start.is_cut(view);
                    found.extend(volts.map(|volts| Volts { view: at, shows, ..volts }));
                }
            }
        }
    }
    found
}

/// Numbers of cells and scales that make this number the sum of cells of this voltage.
fn sums(raw: f64, middle: f64) -> impl Iterator<Item = (usize, Usual)> {
    let counts = [4_usize, 8, 16];
    let each = counts.into_iter().flat_map(|count| PACK.iter().map(move |usual| (count, *usual)));
    each.filter(move |(count, usual)| {
        let apart = raw * usual.scale - *count as f64 * middle;
        apart.abs() <= 2.0 * APART * *count as f64 * middle + usual.scale
    })
}

fn volts(view: &View, run: Run, (cells, usual): (usize, Usual), (mean, lag): (&[f32], usize)) -> Option<Volts> {
    let volts = fit::scaled(&view.series(&run), usual.scale, 0.0);
    let sum = fit::scaled(mean, cells as f64, 0.0);
    let line = fit::changes(&sum, &volts, lag);
    let mut apart: Vec<f32> =
        volts.iter().zip(&sum).map(|(a, b)| (a - b).abs()).filter(|apart| !apart.is_nan()).collect();
    let middle = fit::middle(&sum);
    let usual_apart = fit::share(&mut apart, 0.5);
    let most_apart = fit::share(&mut apart, 0.95);
    let fits = line.together > 0.4
        && (0.6..1.5).contains(&line.slope)
        && usual_apart <= APART * middle + usual.scale
        && most_apart <= 3.0 * APART * middle + usual.scale;
    fits.then_some(Volts { view: 0, run, usual, cells, together: line.together, volts, shows: false })
}

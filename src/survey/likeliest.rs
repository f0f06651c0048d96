//! The likeliest bank of a bus: cells by what moves alike, and the current that moves them.

use super::amps::{self, Amps};
use super::cells::{self, Cell};
use super::found::Known;
use super::packs::{self, Pack, Packs};
use super::size::{self, Sizes};
use super::soc::{self, Soc};
use super::twins::Twins;
use super::view::{Row, View};
use super::volts::{self, Taken};

/// What the currents and states of charge are, with their scales: of all that it may be, that of which the scales go
/// together best.
pub(super) struct Moved {
    /// The current of each pack.
    pub(super) amps: Vec<Amps>,
    /// The state of charge of each pack, when the packs have one.
    pub(super) soc: Option<Vec<Soc>>,
    pub(super) sizes: Sizes,
}

/// The packs with what speaks for them.
pub(super) struct LikelyBank {
    pub(super) packs: Packs,
    /// Bits of cells and voltages.
    pub(super) taken: Taken,
    pub(super) moved: Option<Moved>,
}

/// The packs by their changes over minutes, or else by those over longer, and then only with a voltage of each that is
/// the sum of its cells: much that is slow goes alike. What is missing when there are none.
pub(super) fn likeliest_bank(views: &[View], row: Row, known: &Known) -> Result<LikelyBank, &'static str> {
    let mut why = "no four fields move together between 2.0 and 3.9 V";
    for lag in [cells::LAG, cells::LONG_LAG] {
        let Some(packs) = likeliest_packs(views, lag) else { continue };
        let taken = taken(views, &packs);
        let mean = cells::mean(packs.packs.iter().map(|pack| &pack.mean[..]));
        let moved = current(&Listened { views, mean: &mean, row, known }, &packs, &taken);
        let is_summed = lag == cells::LAG || packs.packs.iter().all(|pack| pack.volts.is_some());
        if is_summed && is_spoken_for(&packs, moved.as_ref()) {
            return Ok(LikelyBank { packs, taken, moved });
        }
        // cells for which nothing else speaks are something that happens to read alike
        why = "nothing sums them up, and no current moves them";
    }
    Err(why)
}

/// The likeliest set of cells by their changes over so many points, divided into packs.
fn likeliest_packs(views: &[View], lag: usize) -> Option<Packs> {
    let mut best: Option<(f64, Packs)> = None;
    for (score, cells) in cells::find(views, lag) {
        let Some((fit, packs)) = packs_of(views, &cells, lag) else { continue };
        let score = score * (1.0 + fit);
        if best.as_ref().is_none_or(|(most, _)| score > *most) {
            best = Some((score, packs));
        }
    }
    best.map(|(_, packs)| packs)
}

/// The packs that these cells make, and how well it fits.
fn packs_of(views: &[View], cells: &[Cell], lag: usize) -> Option<(f64, Packs)> {
    let mut taken = Taken::default();
    for cell in cells {
        taken.add(cell.view, cell.run.mask(views.get(cell.view).map_or(0, View::bytes)));
    }
    let volts = volts::find(views, cells, &taken, lag);
    packs::divide(views, cells, &volts)
}

/// The bits of the packs' cells and voltages, and of what is alike to these beyond the packs.
fn taken(views: &[View], packs: &Packs) -> Taken {
    let mut taken = Taken::default();
    for pack in &packs.packs {
        let cells = pack.cells.iter().map(|cell| (cell.view, cell.run));
        for (view, run) in cells.chain(pack.volts.iter().map(|volts| (volts.view, volts.run))) {
            taken.add(view, run.mask(views.get(view).map_or(0, View::bytes)));
        }
    }
    for (view, run) in &packs.beyond {
        taken.add(*view, run.mask(views.get(*view).map_or(0, View::bytes)));
    }
    taken
}

/// How alike the changes of current and voltage are at least when nothing else speaks for the cells (judgement).
const ANSWERS: f64 = 0.7;
/// The same of a current that makes the capacity together with a state of charge (judgement).
const ANSWERS_WHOLE: f64 = 0.6;
/// The same of a current whose scale is open (judgement).
const ANSWERS_ALONE: f64 = 0.85;
/// The same of any current that does not go together with a state of charge, whatever speaks for the cells (judgement).
const LEAST_ANSWER: f64 = 0.55;
/// How alike cells and their sum move at least, on average, when no current of a known scale does (judgement).
const WITHOUT_CURRENT: f64 = 0.6;
/// Cells with larger counts than this, V, are too easily met by chance for a current alone to speak for them
/// (judgement).
const FINE: f64 = 0.002;
/// A state of charge for which less than this speaks is none (judgement).
const LEAST_WEIGHT: f64 = 2e-4;
/// How much a current counts for which no state of charge gives the scale (judgement).
const ALONE: f64 = 0.02;

/// What a current is judged by.
struct Listened<'a> {
    views: &'a [View<'a>],
    /// Mean voltage of the cells at each point.
    mean: &'a [f32],
    row: Row,
    known: &'a Known,
}

/// The field that may be the packs' current and for which most speaks, with the state of charge that goes with it.
fn current(listened: &Listened, packs: &Packs, taken: &Taken) -> Option<Moved> {
    let Listened { views, mean, row, .. } = *listened;
    let twins = Twins::of(views, &packs.packs, packs.by_choice)?;
    let mut best: Option<(f64, Moved)> = None;
    for (score, amps) in amps::find(views, mean, taken, &twins) {
        let mut taken = taken.clone();
        for amps in &amps {
            taken.add(amps.view, amps.run.mask(views.get(amps.view).map_or(0, View::bytes)));
        }
        let socs = soc::find(views, &amps, row, &taken, &twins);
        let (weight, moved) = sized(listened, amps, socs);
        let weight = weight * score.powi(4);
        let is_sized = moved.sizes.amps.is_some() && moved.sizes.soc.is_some();
        if !is_sized && moved.amps.iter().any(|amps| amps.together < LEAST_ANSWER) {
            continue;
        }
        if best.as_ref().is_none_or(|(most, _)| weight > *most) {
            best = Some((weight, moved));
        }
    }
    best.map(|(_, moved)| moved)
}

/// These currents with the state of charge, if any, whose scale goes best with theirs, and how much speaks for it.
fn sized(listened: &Listened, amps: Vec<Amps>, socs: Vec<Vec<Soc>>) -> (f64, Moved) {
    let Listened { views, mean, known, .. } = *listened;
    let sizes = |soc: Option<&[Soc]>| {
        let first = soc.and_then(|soc| soc.first());
        let lengths = first.and_then(|soc| Some(soc.lengths(views.get(soc.view)?))).unwrap_or_default();
        size::find(&size::Seen { amps: &amps, soc, mean, lengths: &lengths }, known)
    };
    let of_each = socs.into_iter().map(|soc| {
        let sizes = sizes(Some(&soc));
        (sizes.weight * soc::LEAST_OFF / soc::off(&soc), soc, sizes)
    });
    match of_each.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(weight, ..)| *weight > LEAST_WEIGHT) {
        Some((weight, soc, sizes)) => (weight, Moved { amps, soc: Some(soc), sizes }),
        None => {
            let sizes = sizes(None);
            (ALONE * sizes.weight, Moved { amps, soc: None, sizes })
        }
    }
}

/// Whether a pack's cells and the voltage that sums them up, if there is one, move so much alike that nothing else need
/// speak for them, and not all the same: copies of one number are no cells.
fn is_one_thing(pack: &Pack) -> bool {
    let cells = pack.cells.iter().map(|cell| cell.together).sum::<f64>() / pack.cells.len().max(1) as f64;
    let copies = pack.cells.windows(2).all(|pair| pair[0].volts == pair[1].volts);
    cells > WITHOUT_CURRENT && !copies && pack.volts.as_ref().is_none_or(|volts| volts.together > WITHOUT_CURRENT)
}

/// Whether anything but their likeness speaks for the cells: a voltage that is their sum, or a current that moves them.
fn is_spoken_for(packs: &Packs, moved: Option<&Moved>) -> bool {
    if packs.packs.iter().any(|pack| pack.volts.is_some()) {
        let is_sized = moved.is_some_and(|moved| moved.sizes.amps.is_some());
        return is_sized || packs.packs.iter().all(is_one_thing);
    }
    let Some(Moved { amps, sizes, .. }) = moved else { return false };
    let is_coarse = packs.packs.iter().flat_map(|pack| &pack.cells).any(|cell| cell.usual.scale > FINE);
    let least = match (sizes.amps, sizes.soc) {
        (Some(_), Some(_)) => ANSWERS_WHOLE,
        _ if is_coarse => return false,
        (Some(_), None) => ANSWERS,
        (None, _) => ANSWERS_ALONE,
    };
    amps.iter().all(|amps| amps.together > least)
}

//! Cell voltages: at least four fields of one scale that stay close together between 2.0 and 3.9 V and move together.

use super::bits::{Run, overlap};
use super::fit;
use super::scale::{CELL, Usual};
use super::starts::{Start, grown, starts, stepped};
use super::view::View;
use std::collections::BTreeMap;

/// Frames of a field that are looked at first.
const FIRST_LOOK: usize = 160;
/// Where the middle of an LFP cell's voltages lies, V, and where nearly all of them do: on the plateau, at rest or
/// under any ordinary load (the published open-circuit curves run from 3.2 to 3.35 V between 10 and 90 %), or held full
/// by a charger (3.65 V a cell at most, common practice, no source).
const MIDDLE: (f64, f64) = (2.95, 3.65);
const RANGE: (f64, f64) = (2.0, 3.9);
/// Where it usually lies, V, how far off it may be, and how much less speaks for what is further off (judgement).
const PLATEAU: (f64, f64) = (3.28, 0.1);
const OFF_PLATEAU: f64 = 0.3;
/// Points over which changes are compared.
pub(super) const LAG: usize = 5;
/// The same when nothing is found over so few: with little current a cell moves over minutes by less than its meter
/// errs, and over an hour by more.
pub(super) const LONG_LAG: usize = 8 * LAG;
/// How alike the changes of two cells are at least.
const ALIKE: f64 = 0.3;
/// How much a cell moves against the mean of all.
const LIKE: std::ops::Range<f64> = 0.45..3.0;
/// How much the changes of a cell are against those of another, whatever part of both is chance.
const AS_MUCH: std::ops::Range<f64> = 0.33..3.0;
/// How far two cells of a bank are apart, V: usually, and nearly always.
const NEAR: (f64, f64) = (0.15, 0.3);
/// In what share of the moments that is: nearly empty cells part.
const NEARLY_ALWAYS: f64 = 0.9;
/// What moves so much less like the cells than the least alike of them is none.
const STRANGE: f64 = 0.85;
/// How many cells a bank of packs of 4, 8 or 16 can have.
const WHOLE: [usize; 10] = [4, 8, 12, 16, 20, 24, 32, 40, 48, 64];
/// How much less cells in both orders of bytes count.
const BOTH_ORDERS: f64 = 0.85;
/// Sets that are looked at further.
const MOST_GROUPS: usize = 8;
/// So far from the others, V, a cell counts half.
const OFF: f64 = 0.1;
/// Guesses of one scale at most.
const MOST_GUESSES: usize = 500;
/// When two rows are compared, one point in so many is looked at.
const STRIDE: usize = 3;
/// A change from one point to the next, V, that a cell shows in few points only, and in what share of them.
const JUMP: f32 = 0.12;
const JUMPS: f64 = 0.9;

/// A field that may be a cell.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    pub(super) view: usize,
    pub(super) run: Run,
    pub(super) usual: Usual,
    /// Volts at each point of the row.
    pub(super) volts: Vec<f32>,
    /// How much speaks for these bits, 0 to 1.
    weight: f64,
    /// How alike its changes are to those of the others.
    pub(super) together: f64,
}

/// The sets of fields that may be the cells of a bus, by their changes over so many points, with how much speaks for each,
/// the best first.
pub(super) fn find(views: &[View], lag: usize) -> Vec<(f64, Vec<Cell>)> {
    let guesses: Vec<Cell> = (0..views.len()).flat_map(|at| guesses(views, at)).collect();
    let mut groups = Vec::new();
    for usual in CELL {
        // a bank has one order of bytes; where each message has its own, both
        for big in [Some(false), Some(true), None] {
            let in_order = |run: &Run| big.is_none_or(|big| run.is_in_order(big));
            let of_scale = guesses.iter().filter(|guess| guess.usual == *usual && in_order(&guess.run));
            let of_scale: Vec<&Cell> = of_scale.take(MOST_GUESSES).collect();
            let group = together(views, &of_scale, lag);
            if big.is_none() && !is_one_shape(&group) {
                continue;
            }
            let least = if big.is_none() { BOTH_ORDERS } else { 1.0 };
            groups.extend(part(views, &group).map(|part| (least * score(&part), part)));
            if group.len() >= 4 {
                groups.push((least * score(&group), group));
            }
        }
    }
    groups.sort_by(|a, b| b.0.total_cmp(&a.0));
    groups.truncate(MOST_GROUPS);
    groups
}

fn score(group: &[Cell]) -> f64 {
    let sum: f64 = group.iter().map(|cell| cell.weight * cell.together).sum();
    if WHOLE.contains(&group.len()) { sum } else { 0.6 * sum }
}

/// Whether cells stand at the same places of every message that has some: the last one may have fewer.
fn is_one_shape(group: &[Cell]) -> bool {
    let mut messages: BTreeMap<usize, Vec<Run>> = BTreeMap::new();
    group.iter().for_each(|cell| messages.entry(cell.view).or_default().push(cell.run));
    let Some(whole) = messages.values().max_by_key(|runs| runs.len()) else { return false };
    let is_like = |runs: &Vec<Run>| runs.iter().all(|run| whole.contains(run));
    let shorter = messages.values().filter(|runs| runs.len() < whole.len()).count();
    messages.len() > 1 && shorter * 2 < messages.len() && messages.values().all(is_like)
}

/// Of more than a bank can have the likeliest, when none of the others stands where one of them does: what else reads
/// alike.
fn part(views: &[View], group: &[Cell]) -> Option<Vec<Cell>> {
    let whole = WHOLE.into_iter().rev().find(|whole| *whole < group.len())?;
    let (part, others) = group.split_at_checked(whole)?;
    let place = |cell: &Cell| (views.get(cell.view).map(|view| view.key.bytes), cell.run.low, cell.run.len);
    let is_other = others.iter().all(|other| part.iter().all(|own| place(own) != place(other)));
    (!WHOLE.contains(&group.len()) && is_other).then(|| part.to_vec())
}

/// Every field of a view that could be a cell by its numbers.
fn guesses(views: &[View], at: usize) -> Vec<Cell> {
    let Some(view) = views.get(at) else { return Vec::new() };
    let mut guesses = Vec::new();
    for start in starts(view).into_iter().chain(stepped(view)) {
        for len in 6..=24 {
            let Some(run) = start.run(len, false).filter(|run| view.is_own(run)) else { continue };
            let raws = view.sample(&run, FIRST_LOOK);
            if raws.iter().all(|raw| raw >> (len - 1) == 0) {
                continue; // the same as a shorter one
            }
            for usual in CELL.iter().filter(|usual| fits(&raws, usual)) {
                let guess = guess(view, at, &start, run, *usual);
                if is_calm(&guess.volts) {
                    guesses.push(guess);
                }
            }
        }
    }
    guesses
}

fn fits(raws: &[u64], usual: &Usual) -> bool {
    let mut volts: Vec<f32> = raws.iter().map(|raw| (*raw as f64 * usual.scale + usual.offset) as f32).collect();
    let (low, middle, high) = (fit::share(&mut volts, 0.02), fit::share(&mut volts, 0.5), fit::share(&mut volts, 0.98));
    high > low && low >= RANGE.0 && high <= RANGE.1 && (MIDDLE.0..=MIDDLE.1).contains(&middle)
}

/// Whether a row jumps about as no battery does.
fn is_calm(volts: &[f32]) -> bool {
    let mut jumps: Vec<f32> =
        volts.windows(2).map(|pair| (pair[1] - pair[0]).abs()).filter(|jump| !jump.is_nan()).collect();
    fit::share(&mut jumps, JUMPS) < f64::from(JUMP)
}

fn guess(view: &View, at: usize, start: &Start, run: Run, usual: Usual) -> Cell {
    let mut weight = 0.6 + 0.4 * usual.weight;
    weight *= if start.shows { 1.0 } else { 0.8 };
    weight *= if start.is_cut(view) { 0.7 } else { 1.0 };
    // bits above that change belong to it; ones above that do not may; many bits that never change are a poor top
    let above = run.end()..start.limit.min(run.end() + 8);
    let changing = view.changes(run.big, run.end()) > 0 && run.end() < start.limit;
    let ones = above.clone().any(|bit| view.first(run.big, bit));
    weight *= if changing {
        0.5
    } else if ones {
        0.75
    } else {
        1.0
    };
    let still = (run.low..run.end()).rev().take_while(|bit| view.changes(run.big, *bit) == 0).count();
    weight *= 0.97_f64.powi(still as i32);
    let run = grown(view, run, start.limit);
    let volts = fit::scaled(&view.series(&run), usual.scale, usual.offset);
    let off = (fit::middle(&volts) - PLATEAU.0) / PLATEAU.1;
    weight *= 1.0 - OFF_PLATEAU * (1.0 - (-0.5 * off * off).exp());
    Cell { view: at, run, usual, volts, weight, together: 0.0 }
}

/// The largest set among guesses of one scale that stay and move together, no two of them on the same bits.
fn together(views: &[View], guesses: &[&Cell], lag: usize) -> Vec<Cell> {
    let partners = |cell: &Cell| -> Vec<usize> {
        let near = guesses.iter().enumerate().filter(|(_, other)| is_near(&cell.volts, &other.volts));
        let is_like = |other: &Cell| {
            let line = fit::changes_at(&cell.volts, &other.volts, lag, STRIDE);
            line.together > ALIKE && AS_MUCH.contains(&(line.slope / line.together))
        };
        near.filter(|(_, other)| is_like(other)).map(|(at, _)| at).collect()
    };
    let Some(most) = guesses.iter().map(|cell| partners(cell)).max_by_key(Vec::len) else { return Vec::new() };
    let of_most: Vec<&Cell> = most.iter().filter_map(|&at| guesses.get(at).copied()).collect();
    let mean = mean(of_most.iter().map(|cell| &cell.volts[..]));
    let mut members: Vec<Cell> =
        guesses.iter().filter(|cell| is_near(&cell.volts, &mean)).map(|&cell| cell.clone()).collect();
    for cell in &mut members {
        let line = fit::changes(&mean, &cell.volts, lag);
        let off = apart(&cell.volts, &mean, 0.5) / OFF;
        cell.together = if LIKE.contains(&line.slope) { line.together / (1.0 + off * off) } else { 0.0 };
    }
    members.retain(|cell| cell.together > ALIKE);
    members.sort_by(|a, b| (b.weight * b.together).total_cmp(&(a.weight * a.together)));
    let mut kept: Vec<Cell> = Vec::new();
    for cell in members {
        if !kept.iter().any(|other| other.shares_bits(&cell, views)) {
            kept.push(cell);
        }
    }
    if WHOLE.contains(&(kept.len() + 1)) {
        kept.extend(straggler(views, guesses, &kept, (&mean, lag)));
    }
    // a current that is written with an offset may read alike, and moves less like the cells than they do
    kept.sort_by(|a, b| b.together.total_cmp(&a.together));
    let whole = WHOLE.into_iter().rev().find(|whole| *whole <= kept.len()).unwrap_or(0);
    let last = whole.checked_sub(1).and_then(|last| kept.get(last)).map_or(0.0, |cell| cell.together);
    if kept.get(whole).is_some_and(|cell| cell.together < STRANGE * last) {
        kept.truncate(whole);
    }
    kept.sort_by(|a, b| (b.weight * b.together).total_cmp(&(a.weight * a.together)));
    // one or two too many are something that happens to read alike
    let whole = WHOLE.into_iter().rev().find(|whole| *whole <= kept.len()).unwrap_or(0);
    if kept.len() - whole <= 1 + whole / 12 {
        kept.truncate(whole);
    }
    kept
}

/// The one cell that is missing: it stands beside the others in the same form, stays near them, and goes the same way,
/// however far: one that is never quite full hardly rises when the others do.
fn straggler(views: &[View], guesses: &[&Cell], kept: &[Cell], (mean, lag): (&[f32], usize)) -> Option<Cell> {
    let form = |cell: &Cell| (cell.view, cell.run.big, cell.run.len, cell.run.low % 8);
    let is_beside = |cell: &Cell| {
        kept.iter().any(|own| form(own) == form(cell)) && !kept.iter().any(|own| own.shares_bits(cell, views))
    };
    let beside = guesses.iter().filter(|cell| is_beside(cell) && is_near(&cell.volts, mean));
    let likest = beside.map(|cell| (fit::changes(mean, &cell.volts, lag).together, *cell));
    let (together, cell) = likest.filter(|(together, _)| *together > ALIKE).max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Cell { together, ..cell.clone() })
}

impl Cell {
    fn shares_bits(&self, other: &Cell, views: &[View]) -> bool {
        let (Some(a), Some(b)) = (views.get(self.view), views.get(other.view)) else { return true };
        !a.is_apart_from(b) && overlap(&self.run.mask(a.bytes()), &other.run.mask(b.bytes()))
    }
}

/// Whether two rows of voltages are those of cells of one bank.
fn is_near(a: &[f32], b: &[f32]) -> bool {
    apart(a, b, 0.5) <= NEAR.0 && apart(a, b, NEARLY_ALWAYS) <= NEAR.1
}

/// How far apart two rows are in this share of their points at most.
fn apart(a: &[f32], b: &[f32], share: f64) -> f64 {
    let apart = a.iter().zip(b).step_by(STRIDE).map(|(a, b)| (a - b).abs());
    let mut apart: Vec<f32> = apart.filter(|apart| !apart.is_nan()).collect();
    fit::share(&mut apart, share)
}

/// The mean of rows at each point, of those that have a number there.
pub(super) fn mean<'a>(rows: impl Iterator<Item = &'a [f32]> + Clone) -> Vec<f32> {
    let points = rows.clone().map(<[f32]>::len).max().unwrap_or(0);
    let at = |point: usize| {
        let (mut sum, mut count) = (0.0, 0.0);
        for number in rows.clone().filter_map(|row| row.get(point)).filter(|number| !number.is_nan()) {
            sum += number;
            count += 1.0;
        }
        if count > 0.0 { sum / count } else { f32::NAN }
    };
    (0..points).map(at).collect()
}

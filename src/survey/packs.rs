//! Packs: how the cells divide, and which voltage is whose.

use super::bits::Run;
use super::cells::{Cell, LONG_LAG, mean};
use super::fit;
use super::view::View;
use super::volts::Volts;

/// A pack: its cells in order, and its voltage.
#[derive(Debug, Clone)]
pub(super) struct Pack {
    pub(super) cells: Vec<Cell>,
    pub(super) volts: Option<Volts>,
    /// Mean of its cells at each point.
    pub(super) mean: Vec<f32>,
}

/// The packs of a bank.
#[derive(Debug, Clone)]
pub(super) struct Packs {
    pub(super) packs: Vec<Pack>,
    /// Messages of one pack have the same choice of their multiplexors, rather than ids of their own.
    pub(super) by_choice: bool,
    /// Where a second voltage like that of a pack stands beside it: the one beyond its switch.
    pub(super) beyond: Vec<(usize, Run)>,
}

/// One way to divide the cells.
struct Division {
    packs: usize,
    cells: usize,
    /// Messages of one pack have the same choice of their multiplexors, rather than ids of their own.
    by_choice: bool,
}

/// The packs: cells in the order of their messages, divided as voltages and ids say. `None` when that stays open.
pub(super) fn divide(views: &[View], cells: &[Cell], volts: &[Volts]) -> Option<(f64, Packs)> {
    let mut best: Option<(f64, Packs)> = None;
    for by_choice in [false, true] {
        for cells_each in [4, 8, 16] {
            if !cells.len().is_multiple_of(cells_each) || cells.len() / cells_each > 8 {
                continue;
            }
            let division = Division { packs: cells.len() / cells_each, cells: cells_each, by_choice };
            let Some((score, packs)) = judge(views, cells, volts, &division) else { continue };
            if best.as_ref().is_none_or(|(most, _)| score > *most) {
                best = Some((score, Packs { packs, by_choice, beyond: Vec::new() }));
            }
        }
    }
    let (score, packs) = best.filter(|(score, _)| *score > 0.3)?;
    let is_beyond =
        |other: &&Volts| packs.packs.iter().filter_map(|pack| pack.volts.as_ref()).any(|own| own.is_beside(other));
    let beyond = volts.iter().filter(is_beyond).map(|volts| (volts.view, volts.run)).collect();
    Some((score, Packs { beyond, ..packs }))
}

/// The order of the messages and places of a field.
pub(super) fn order(views: &[View], by_choice: bool, view: usize, front: u16) -> (u64, u32, u64, u16) {
    let Some(view) = views.get(view) else { return (u64::MAX, 0, 0, 0) };
    let choice = view.choice.map_or(0, |choice| choice.number);
    let id = u32::from(view.key.channel) << 31 | view.key.id.key();
    if by_choice { (choice, id, 0, front) } else { (0, id, choice, front) }
}

fn judge(views: &[View], cells: &[Cell], volts: &[Volts], division: &Division) -> Option<(f64, Vec<Pack>)> {
    let place = |cell: &Cell| {
        let bytes = views.get(cell.view).map_or(0, View::bytes);
        order(views, division.by_choice, cell.view, cell.run.front(bytes))
    };
    let mut sorted = cells.to_vec();
    sorted.sort_by_key(place);
    let chunks: Vec<&[Cell]> = sorted.chunks(division.cells).collect();
    let shape = |chunk: &[Cell]| chunk.iter().map(|cell| cell.run.low).collect::<Vec<_>>();
    if chunks.iter().any(|chunk| shape(chunk) != shape(chunks[0])) {
        return None; // packs of one kind speak alike
    }
    if division.by_choice && !chunks.iter().all(|chunk| one_choice(views, chunk)) {
        return None;
    }
    if !division.by_choice && division.packs > 1 && shared_message(views, &chunks) {
        return None;
    }
    let mut packs: Vec<Pack> = chunks
        .iter()
        .map(|chunk| Pack { cells: chunk.to_vec(), volts: None, mean: mean(chunk.iter().map(|cell| &cell.volts[..])) })
        .collect();
    let mut score = gaps(&chunks, views) + if division.packs == 1 { 0.45 } else { 0.35 };
    if let Some((fit, own)) = own_volts(views, volts, division, &packs) {
        score += fit;
        packs.iter_mut().zip(own).for_each(|(pack, volts)| pack.volts = Some(volts));
    }
    Some((score, packs))
}

fn one_choice(views: &[View], chunk: &[Cell]) -> bool {
    let choice = |cell: &Cell| views.get(cell.view).and_then(|view| view.choice).map(|choice| choice.number);
    let first = chunk.first().and_then(choice);
    first.is_some() && chunk.iter().all(|cell| choice(cell) == first)
}

/// Whether two packs would share one message without a multiplexor.
fn shared_message(views: &[View], chunks: &[&[Cell]]) -> bool {
    let messages = |chunk: &[Cell]| -> Vec<usize> { chunk.iter().map(|cell| cell.view).collect() };
    let plain = |view: &usize| views.get(*view).is_some_and(|view| view.choice.is_none());
    chunks.windows(2).any(|pair| {
        let (a, b) = (messages(pair[0]), messages(pair[1]));
        a.iter().filter(|view| plain(view)).any(|view| b.contains(view))
    })
}

/// How much wider the gaps between the ids of packs are than those within one.
fn gaps(chunks: &[&[Cell]], views: &[View]) -> f64 {
    let id = |cell: &Cell| views.get(cell.view).map_or(0, |view| view.key.id.key());
    let ids: Vec<Vec<u32>> = chunks.iter().map(|chunk| chunk.iter().map(id).collect()).collect();
    let within = ids.iter().flat_map(|ids| ids.windows(2)).map(|pair| pair[1].abs_diff(pair[0])).max().unwrap_or(0);
    let between = ids.windows(2).filter_map(|pair| Some(pair[1].first()?.abs_diff(*pair[0].last()?))).min();
    match between {
        Some(between) if between > within.max(1) => 0.5,
        Some(between) if between > within => 0.1,
        Some(_) => 0.0,
        None => {
            if within > 8 {
                0.0
            } else {
                0.2
            }
        }
    }
}

/// One voltage for each pack, all at the same place of their messages, and how well they fit.
fn own_volts(views: &[View], volts: &[Volts], division: &Division, packs: &[Pack]) -> Option<(f64, Vec<Volts>)> {
    let mut best: Option<(f64, Vec<Volts>)> = None;
    for head in volts.iter().filter(|volts| volts.cells == division.cells) {
        let like = |other: &&Volts| {
            let key = |volts: &Volts| views.get(volts.view).map(|view| (view.key.bytes, view.choice.is_some()));
            other.run == head.run && other.usual == head.usual && other.cells == head.cells && key(other) == key(head)
        };
        let mut own: Vec<Volts> = volts.iter().filter(like).cloned().collect();
        if own.len() != division.packs {
            continue;
        }
        own.sort_by_key(|volts| order(views, division.by_choice, volts.view, 0));
        let apart: f64 = packs.iter().zip(&own).map(|(pack, own)| apart(pack, own)).sum();
        let pairs = packs.iter().zip(&own);
        let together = pairs.map(|(pack, own)| own.together * as_much(pack, own)).sum::<f64>() / own.len() as f64;
        let shows = if head.shows { 1.0 } else { 0.8 };
        let choice = |own: &Volts| views.get(own.view).is_some_and(|view| view.choice.is_some());
        let one_id =
            own.iter().all(|own| views.get(own.view).map(|view| view.key) == views.get(head.view).map(|view| view.key));
        let odd = division.packs > 1 && if division.by_choice { !choice(head) } else { one_id };
        let fit = (0.5 + 0.5 * head.usual.weight) * together * shows
            - 2.0 * apart / packs.len() as f64
            - if odd { 0.3 } else { 0.0 };
        if best.as_ref().is_none_or(|(most, _)| fit > *most) {
            best = Some((fit, own));
        }
    }
    best
}

/// How near a voltage's changes over longer are to those of the sum of a pack's cells, 0 to 1: beyond a switch or a cable
/// it moves by more.
fn as_much(pack: &Pack, own: &Volts) -> f64 {
    let slope = fit::changes(&pack.mean, &own.volts, LONG_LAG).slope / pack.cells.len() as f64;
    if slope > 0.0 { slope.min(1.0 / slope) } else { 1.0 }
}

/// How far a voltage is from the sum of a pack's cells, as a share.
pub(super) fn apart(pack: &Pack, own: &Volts) -> f64 {
    let count = pack.cells.len() as f32;
    let apart: Vec<f32> = pack.mean.iter().zip(&own.volts).map(|(mean, volts)| (mean * count - volts).abs()).collect();
    fit::middle(&apart) / fit::middle(&own.volts)
}

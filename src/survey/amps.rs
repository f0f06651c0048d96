//! Currents: a field whose changes go with those of the cells' voltage, as through a resistance.

use super::bits::Run;
use super::cells::LAG;
use super::fit;
use super::starts::{Start, grown, starts};
use super::twins::Twins;
use super::view::View;
use super::volts::Taken;

/// How alike the changes of current and voltage are at least: the slow part of the voltage does not follow, and coarse
/// voltages hide small steps.
const ALIKE: f64 = 0.3;
/// Sets that are looked at closer, and how much less may speak for them than for the likeliest.
const MOST_SETS: usize = 5;
const NEARLY: f64 = 0.85;
/// A bit in the next byte that changes so much as often as the lowest one may belong to it.
const ALMOST: f64 = 0.8;
/// Lengths that are tried.
const LENGTHS: [u8; 8] = [8, 10, 12, 14, 16, 20, 24, 32];
/// A sign that changed so often shows which bits are copies of it.
const SIGN_CHANGES: u32 = 4;
/// The voltage drops by about this much per multiple of the capacity an hour, V, at 25 °C within seconds (judgement,
/// no source; the sag that is reckoned with while a resistance is not known is 0.11).
pub(super) const VOLTS_PER_C: f64 = 0.115;

/// A field that may be a current.
#[derive(Debug, Clone)]
pub(super) struct Amps {
    pub(super) view: usize,
    pub(super) run: Run,
    /// Counts at each point.
    pub(super) counts: Vec<f32>,
    /// Volts of a cell per count; its sign is that of the current.
    pub(super) slope: f64,
    /// How alike its changes are to the voltage's, 0 to 1.
    pub(super) together: f64,
    /// What ones above it that never change would add to its counts.
    pub(super) above: Vec<f64>,
    weight: f64,
}

impl Amps {
    /// The run with the ones above it that add so much to its counts, and what is always 0 above these in their byte.
    pub(super) fn with(&self, view: &View, above: f64) -> Run {
        let more = above as u64 >> self.run.len.min(63);
        if more == 0 {
            return self.run;
        }
        let len = self.run.len + (64 - more.leading_zeros()) as u8;
        grown(view, Run { len, ..self.run }, view.bits())
    }
}

/// Fields that may be the currents, one for each pack at one place of their messages, with how much speaks for them;
/// the likeliest first.
pub(super) fn find(views: &[View], mean: &[f32], taken: &Taken, twins: &Twins) -> Vec<(f64, Vec<Amps>)> {
    let mut all: Vec<Amps> = Vec::new();
    for (at, view) in views.iter().enumerate() {
        for start in starts(view).into_iter().map(Start::whole) {
            if start.changes(view) * 200 < view.pairs {
                continue;
            }
            let found = best(view, at, &start, mean, |run| view.is_own(run) && !taken.holds(views, at, run));
            let Some(found) = found else { continue };
            let place = |amps: &Amps| (amps.view, amps.run.big, amps.run.low);
            // deepened, it is what another start gave whole
            match all.iter_mut().find(|other| place(other) == place(&found)) {
                Some(other) if other.weight >= found.weight => {}
                Some(other) => *other = found,
                None => all.push(found),
            }
        }
    }
    let mut sets: Vec<(f64, Vec<Amps>)> = Vec::new();
    for head in &all {
        let Some(places) = views.get(head.view).and_then(|view| twins.views(view)) else { continue };
        let place = |amps: &Amps| (amps.run.big, amps.run.low);
        let at = |view: usize| all.iter().find(|other| other.view == view && place(other) == place(head));
        let Some(own) = places.into_iter().map(at).collect::<Option<Vec<&Amps>>>() else { continue };
        let score = own.iter().map(|amps| amps.together * amps.weight).sum::<f64>() / own.len().max(1) as f64;
        if own.iter().all(|amps| amps.slope * head.slope > 0.0) {
            sets.push((score, own.into_iter().cloned().collect()));
        }
    }
    sets.sort_by(|a, b| b.0.total_cmp(&a.0));
    let most = sets.first().map_or(0.0, |(score, _)| *score);
    sets.retain(|(score, _)| *score >= most * NEARLY);
    sets.truncate(MOST_SETS);
    for (_, own) in &mut sets {
        align(views, own);
    }
    sets
}

/// The run from a start that goes best with the voltage.
fn best(view: &View, at: usize, start: &Start, mean: &[f32], is_free: impl Fn(&Run) -> bool) -> Option<Amps> {
    let whole = (start.limit - start.low).min(32) as u8;
    let odd = ((view.bits() - start.low) % 8) as u8;
    let mut lengths: Vec<u8> =
        LENGTHS.iter().copied().chain([whole, odd + 8, odd + 16]).filter(|len| *len >= 7).collect();
    lengths.sort_unstable();
    lengths.dedup();
    let mut best: Option<Amps> = None;
    for len in lengths {
        for signed in [false, true] {
            let run = if signed { start.signed(view, len) } else { start.run(len, false) };
            let Some(run) = run.filter(&is_free) else { continue };
            let top_moves = view.changes(run.big, run.end() - 1) > 0;
            if signed && !top_moves {
                continue;
            }
            let counts = view.series(&run);
            let line = fit::changes(&counts, mean, LAG);
            let together = line.together.abs();
            if together > best.as_ref().map_or(ALIKE, |best| best.together + 0.002) {
                let weight = if start.shows { 1.0 } else { 0.93 } * if start.is_cut(view) { 0.9 } else { 1.0 };
                best = Some(Amps { view: at, run, counts, slope: line.slope, together, above: vec![0.0], weight });
            }
        }
    }
    let mut best = best?;
    let deep = deepened(view, best.run);
    if deep != best.run && is_free(&deep) {
        let line = fit::changes(&view.series(&deep), mean, LAG);
        if line.together.abs() > best.together - 0.01 {
            (best.run, best.slope, best.together) = (deep, line.slope, line.together.abs());
        }
    }
    // a top that stays as it is belongs to a number with an offset, not to a sign; so does all that moves above it in a
    // field that keeps to no bytes
    let moves = (best.run.end()..start.limit).any(|bit| view.changes(best.run.big, bit) > 0);
    let is_packed = moves && !best.run.low.is_multiple_of(8);
    let end = if is_packed { start.limit } else { best.run.end().next_multiple_of(8).min(start.limit) };
    let end = end.min(best.run.low + 32);
    let len = end.saturating_sub(best.run.low) as u8;
    let wide =
        Some(Run { len, signed: false, ..best.run }).filter(|run| !(run.big && run.is_in_byte()) && is_free(run));
    let is_sign = best.run.signed && grown(view, best.run, view.bits()).len > best.run.len;
    if let Some(run) = wide.filter(|run| run.len > best.run.len && !is_sign) {
        let counts = view.series(&run);
        if fit::changes(&counts, mean, LAG).together.abs() > best.together - 0.01 {
            best.run = run;
        }
    }
    best.run = settled(view, best.run, start.limit);
    best.counts = view.series(&best.run);
    Some(best)
}

/// The run with the bits below it that change nearly as often: among the lowest bits of a large number chance decides
/// which changes most.
fn deepened(view: &View, run: Run) -> Run {
    let often = |low: u16, share: f64| {
        let below = low.checked_sub(1).map_or(0, |below| view.changes(run.big, below));
        f64::from(below) > share * f64::from(view.changes(run.big, low))
    };
    let mut low = run.low;
    if view.changes(run.big, low) == 0 {
        return run; // it moves by a step, and begins where it should
    }
    let crosses = low.is_multiple_of(8) && often(low, ALMOST);
    low -= u16::from(crosses);
    while !low.is_multiple_of(8) && often(low, 1.0 / 3.0) {
        low -= 1;
    }
    if crosses && low.is_multiple_of(8) {
        return run; // a whole byte that changes as often is something else: a checksum
    }
    Run { low, len: run.len + (run.low - low) as u8, ..run }
}

/// The run with its sign and its full length: to the end of its byte with what is always a copy of the top.
fn settled(view: &View, run: Run, limit: u16) -> Run {
    let run = extended(view, grown(view, run, limit));
    if run.signed || view.changes(run.big, run.end() - 1) > 0 || !view.first(run.big, run.end() - 1) {
        return run;
    }
    // the top is always 1: negative all along, or a number with an offset
    let signed = Run { signed: true, ..run };
    let numbers: Vec<f64> = view.frames.iter().step_by(16).map(|&at| signed.number(view.data(at))).collect();
    let far = numbers.iter().fold(0.0_f64, |far, number| far.max(number.abs()));
    let small = far < f64::from(1_u32 << (u32::from(run.len) - 2).min(30));
    if small { grown(view, signed, limit) } else { run }
}

/// The run with all bits above it that are always copies of a sign that changes; a run within a byte may go on in
/// either order.
fn extended(view: &View, run: Run) -> Run {
    if !run.signed || view.changes(run.big, run.end() - 1) < SIGN_CHANGES {
        return run;
    }
    let mut longest = run;
    for big in [run.big, !run.big] {
        if !run.is_in_order(big) {
            continue;
        }
        let low = if big == run.big { run.low } else { turned(run, view.bytes()) };
        for len in run.len + 1..=32 {
            let longer = Run { big, low, len, signed: true };
            let same = |&at: &u32| run.number(view.data(at)) == longer.number(view.data(at));
            if longer.end() > view.bits() || !view.frames.iter().all(same) {
                break;
            }
            if len > longest.len {
                longest = longer;
            }
        }
    }
    longest
}

/// Where a run within a byte begins in the other order's row.
fn turned(run: Run, bytes: usize) -> u16 {
    (bytes as u16).saturating_sub(1 + run.low / 8) * 8 + run.low % 8
}

/// Packs of one kind have one field: the longest, signed if one of them is.
fn align(views: &[View], own: &mut [Amps]) {
    let len = own.iter().map(|amps| amps.run.len).max().unwrap_or(0);
    let signed = own.iter().any(|amps| amps.run.signed);
    for amps in own {
        let Some(view) = views.get(amps.view) else { continue };
        amps.run = Run { len, signed, ..amps.run };
        amps.counts = view.series(&amps.run);
        amps.above = above(view, &amps.run);
    }
}

/// What a number with an offset may have above the bits that move.
fn above(view: &View, run: &Run) -> Vec<f64> {
    let mut above = vec![0.0];
    let mut more = 0.0;
    for bit in run.end()..view.bits().min(run.low + 32) {
        if view.changes(run.big, bit) > 0 {
            break;
        }
        if view.first(run.big, bit) {
            more += 2_f64.powi(i32::from(bit - run.low));
            above.push(more);
        }
    }
    above
}

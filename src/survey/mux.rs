//! Multiplexors: a few bits that choose what the others mean. When frames are compared with the last one of the same
//! choice instead of the last one of all, the other bits change less.

use super::bits::Run;
use super::view::View;

/// Frames that are looked at.
const FRAMES: usize = 1500;
/// Choices at most, and frames that each must have.
const CHOICES: usize = 64;
const FRAMES_EACH: usize = 10;
/// So few choices, of a run that could hold more, are no counter.
const FEW: usize = 8;
/// A counter takes so many numbers at least.
const LEAST_ROUND: usize = 4;
/// Bytes at the front that are tried, beside the last one.
const BYTES: u16 = 8;

/// A multiplexor.
#[derive(Debug, Clone)]
pub(super) struct Mux {
    /// The bits that choose.
    pub(super) run: Run,
    /// Their numbers.
    pub(super) numbers: Vec<u64>,
    /// Bits of the frame that change less when frames of one choice are compared.
    pub(super) split: Vec<bool>,
}

/// The multiplexor of a message, if it has one.
pub(super) fn find(view: &View) -> Option<Mux> {
    let frames = view.frames.get(..view.frames.len().min(FRAMES))?;
    let all = changes(view, frames, None);
    let mut found: Vec<(f64, Mux)> = Vec::new();
    let mut counters: Vec<Run> = Vec::new();
    for run in runs(view.bytes() as u16) {
        let Some(numbers) = numbers(view, frames, &run) else { continue };
        let same = changes(view, frames, Some(&run));
        let few = numbers.len() <= FEW && numbers.len() < 1 << run.len;
        let Some((gain, bytes, split)) = judge(&all, &same, run.low / 8, few) else { continue };
        let mux = Mux { run, numbers, split };
        if bytes == 1 && mux.goes_round() {
            counters.push(run);
        }
        found.push((gain, mux));
    }
    // one byte goes with a counter: it is the checksum
    let counts = |run: &Run| counters.iter().any(|own| own.low < run.end() && run.low < own.end());
    found.retain(|(_, mux)| !counts(&mux.run));
    // other bits may go with the choice: the plainest explanation is the one in front with numbers in a row
    let most = found.iter().map(|(gain, _)| *gain).fold(0.0, f64::max);
    found.retain(|(gain, _)| *gain >= 0.7 * most);
    found
        .into_iter()
        .map(|(_, mux)| mux)
        .min_by_key(|mux| (mux.run.low / 8 != 0, !mux.is_in_a_row(), mux.numbers.len(), mux.run.low / 8))
}

/// The multiplexor of a neighbour, when the same bits take the same numbers in turn here.
pub(super) fn adopt(view: &View, mux: &Mux) -> Option<Mux> {
    let frames = view.frames.get(..view.frames.len().min(FRAMES))?;
    let own = numbers(view, frames, &mux.run).filter(|numbers| *numbers == mux.numbers)?;
    let split = (0..view.bytes() * 8).map(|bit| bit / 8 != usize::from(mux.run.low / 8)).collect();
    Some(Mux { run: mux.run, numbers: own, split })
}

impl Mux {
    fn is_in_a_row(&self) -> bool {
        let first = self.numbers.first().copied().unwrap_or(0);
        self.numbers.iter().zip(first..).all(|(number, counted)| *number == counted)
    }

    /// Whether some of its bits, and they alone, take every number that they can, as a counter does.
    fn goes_round(&self) -> bool {
        let [first, second, ..] = self.numbers[..] else { return false };
        let (step, count) = (second - first, self.numbers.len());
        let is_even = self.numbers.windows(2).all(|pair| pair[1] - pair[0] == step);
        count >= LEAST_ROUND && count.is_power_of_two() && step.is_power_of_two() && first < step && is_even
    }
}

/// Runs within one byte that could choose.
fn runs(bytes: u16) -> Vec<Run> {
    const SHAPES: [(u16, u8); 12] =
        [(0, 8), (4, 4), (0, 4), (0, 6), (2, 6), (0, 5), (0, 3), (5, 3), (0, 2), (6, 2), (0, 1), (7, 1)];
    let tried = (0..bytes).filter(|byte| *byte < BYTES || byte + 1 == bytes);
    let in_byte = |byte: u16| SHAPES.map(|(low, len)| Run { big: false, low: byte * 8 + low, len, signed: false });
    tried.flat_map(in_byte).collect()
}

/// The numbers of a run, when they are few and each comes often and in turn.
fn numbers(view: &View, frames: &[u32], run: &Run) -> Option<Vec<u64>> {
    let mut counts = [0_usize; 256];
    let mut seen: [Option<usize>; 256] = [None; 256];
    let mut rounds = Vec::with_capacity(frames.len());
    let (mut before, mut turns): (Option<u64>, _) = (None, 0);
    for (now, &at) in frames.iter().enumerate() {
        let number = run.raw(view.data(at));
        *counts.get_mut(number as usize)? += 1;
        turns += usize::from(before.is_some_and(|before| before != number));
        before = Some(number);
        rounds.extend(seen.get_mut(number as usize).and_then(|seen| seen.replace(now)).map(|last| now - last));
    }
    let numbers: Vec<u64> = (0..256).filter(|&number| counts[number as usize] > 0).collect();
    let often = numbers.iter().all(|&number| counts[number as usize] >= FRAMES_EACH);
    // each comes again when all others have come; two that are sent at about the same moment may change places
    let late = usize::from(numbers.len() > 2);
    let is_round = |round: &&usize| round.abs_diff(numbers.len()) <= late;
    let round = rounds.iter().filter(is_round).count() * 10 > frames.len() * 9
        || numbers.len() == 2 && turns * 20 > frames.len() * 13;
    let most = numbers.iter().map(|&number| counts[number as usize]).max().unwrap_or(0);
    let even = numbers.iter().all(|&number| counts[number as usize] * 3 > most * 2);
    let fits = (2..=CHOICES).contains(&numbers.len()) && often && even && round && turns * 3 > frames.len();
    fits.then_some(numbers)
}

/// Changes of each bit against the last frame (of the same choice), as a share, and the number of pairs.
fn changes(view: &View, frames: &[u32], run: Option<&Run>) -> (Vec<f64>, f64) {
    let mut counts = vec![0.0; view.bytes() * 8];
    let mut last: [Option<u32>; 256] = [None; 256];
    let mut pairs = 0.0;
    for &at in frames {
        let choice = run.map_or(0, |run| run.raw(view.data(at)) as usize);
        let Some(before) = last.get_mut(choice) else { continue };
        if let Some(before) = before.replace(at) {
            pairs += 1.0;
            for (byte, (a, b)) in view.data(before).iter().zip(view.data(at)).enumerate() {
                (0..8).filter(|bit| (a ^ b) >> bit & 1 == 1).for_each(|bit| counts[byte * 8 + bit] += 1.0);
            }
        }
    }
    counts.iter_mut().for_each(|count| *count /= f64::max(pairs, 1.0));
    (counts, pairs)
}

/// How much less the bits change within a choice, in how many bytes, and which; none when it is no multiplexor.
fn judge(all: &(Vec<f64>, f64), same: &(Vec<f64>, f64), own: u16, few: bool) -> Option<(f64, usize, Vec<bool>)> {
    let pairs = all.1.min(same.1).max(1.0);
    let (mut gain, mut better, mut worse) = (0.0, 0, 0);
    let mut split = vec![false; all.0.len()];
    for (bit, ((a, s), split)) in all.0.iter().zip(&same.0).zip(&mut split).enumerate() {
        if bit / 8 == usize::from(own) {
            continue; // the rest of the choice itself is no gain
        }
        let error = ((a * (1.0 - a) + s * (1.0 - s) + 0.01) / pairs).sqrt();
        if a - s > 4.0 * error && *s < 0.85 * a {
            (*split, better) = (true, better + 1);
        } else if s - a > 4.0 * error {
            worse += 1;
        }
        gain += a - s;
    }
    if worse * 4 > better || better == 0 {
        return None;
    }
    let bytes = split.chunks(8).filter(|byte| byte.contains(&true)).count();
    if few {
        // no counter: everything belongs to the choice, also what happens to be alike
        (0..split.len()).filter(|bit| bit / 8 != usize::from(own)).for_each(|bit| split[bit] = true);
    }
    (few || better >= 4 && gain > 1.0).then_some((gain, bytes, split))
}

//! Signals in the same bits: allowed only where no frame has both.

use super::error::{MOST_PROBLEMS, Problem, Trouble};
use super::{Message, Signal};
use crate::layout::{Bits, When};

/// Pairs of signals that overlap and can be there together: as cantools judges it, not those on different numbers of
/// the same switch, but those on different switches.
pub(super) fn overlaps(message: &Message) -> Vec<Problem> {
    let bits: Vec<Bits> = message.signals.iter().map(|signal| signal.field.bits()).collect();
    let mut problems = Vec::new();
    let mut above: Vec<(&Signal, &Bits)> = Vec::new();
    for (signal, bits) in message.signals.iter().zip(&bits) {
        let clash = above.iter().find(|(other, taken)| {
            bits.iter().zip(*taken).any(|(a, b)| a & b != 0) && together(&signal.when, &other.when)
        });
        if let Some((other, _)) = clash {
            problems.push(Problem {
                line: signal.line,
                what: Trouble::Overlap {
                    message: message.name.clone(),
                    signal: signal.name.clone(),
                    other: other.name.clone(),
                    line: other.line,
                },
            });
            if problems.len() >= MOST_PROBLEMS {
                break;
            }
        }
        above.push((signal, bits));
    }
    problems
}

/// Whether two signals can be in one frame.
fn together(a: &[When], b: &[When]) -> bool {
    let same_switch = a.iter().zip(b).take_while(|(a, b)| a.field == b.field);
    !same_switch.into_iter().any(|(a, b)| a.excludes(b))
}

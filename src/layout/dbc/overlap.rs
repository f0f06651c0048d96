//! Signals in the same bits: allowed only where no frame has both.

use super::error::{MOST_PROBLEMS, Problem, Trouble};
use super::{Message, Signal};
use crate::layout::{Order, When};

/// Bits of the longest frame, a word for every eight bytes.
type Bits = [u64; 8];

/// Pairs of signals that overlap and can be there together: as cantools judges it, not those on different numbers of
/// the same switch, but those on different switches.
pub(super) fn overlaps(message: &Message) -> Vec<Problem> {
    let bits: Vec<Bits> = message.signals.iter().map(bits_of).collect();
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
    !same_switch.into_iter().any(|(a, b)| apart(&a.any_of, &b.any_of))
}

/// Whether no number lies in both; both are in rising order.
fn apart(a: &[(u64, u64)], b: &[(u64, u64)]) -> bool {
    let (mut a, mut b) = (a.iter().peekable(), b.iter().peekable());
    while let (Some((low, high)), Some((other_low, other_high))) = (a.peek(), b.peek()) {
        if high < other_low {
            a.next();
        } else if other_high < low {
            b.next();
        } else {
            return false;
        }
    }
    true
}

/// The bits of a signal; those beyond any frame are not told apart.
fn bits_of(signal: &Signal) -> Bits {
    let mut bits = [0; 8];
    let field = &signal.field;
    let from = match field.order {
        Order::Little => field.start,
        Order::Big => field.start / 8 * 8 + (7 - field.start % 8),
    };
    for place in from..from.saturating_add(u16::from(field.len)) {
        // Counted from the most significant bit of byte 0 in both orders.
        let bit = if field.order == Order::Big { place } else { place / 8 * 8 + (7 - place % 8) };
        if let Some(word) = bits.get_mut(usize::from(bit / 64)) {
            *word |= 1 << (bit % 64);
        }
    }
    bits
}

//! The questions that technicians ask, answered from what was found and estimated: a table of questions, a function
//! each. An answer has its figures with their bounds and says what it rests on; what the data does not tell says why,
//! and what would tell.

mod charge;
mod look;
mod parts;
mod supply;

use crate::model::limits::Limits;
use crate::model::snapshot::{Answered, Snapshot};
use look::{Draft, Look};

/// A question.
struct Question {
    /// Name in JSON.
    code: &'static str,
    /// In plain words.
    words: &'static str,
    /// What the data says; none when the question does not arise for this bank.
    answer: fn(&Look) -> Option<Draft>,
}

/// Every question, in the order in which they are answered.
static QUESTIONS: &[Question] = &[
    Question { code: "cut-out", words: "Why did it cut out?", answer: charge::cut_out },
    Question { code: "charger", words: "Does the charger keep to what this bank allows?", answer: charge::charger },
    Question {
        code: "compensation",
        words: "Is lead-acid temperature compensation left on?",
        answer: charge::compensation,
    },
    Question { code: "cold", words: "Which source charges too hard when cold?", answer: charge::cold },
    Question { code: "winter", words: "Will it last the winter?", answer: supply::winter },
    Question { code: "night", words: "What draws current at night?", answer: supply::night },
    Question { code: "full", words: "When was it last full?", answer: supply::full },
    Question { code: "heater", words: "Is the heater doing its job?", answer: supply::heater },
    Question { code: "connection", words: "Which connection?", answer: parts::connection },
    Question { code: "capacity", words: "Is the capacity still there?", answer: parts::capacity },
    Question { code: "fighting", words: "Are packs fighting?", answer: parts::fighting },
];

/// What the data says to each question that arises for this bank; nothing before a pack was heard.
#[must_use]
pub(super) fn answers(snapshot: &Snapshot, limits: &Limits) -> Vec<Answered> {
    if snapshot.packs.is_empty() {
        return Vec::new();
    }
    let look = Look { snapshot, limits };
    QUESTIONS
        .iter()
        .filter_map(|question| Some((question.answer)(&look)?.done(question.code, question.words)))
        .collect()
}

#[cfg(test)]
mod tests;

//! A log cut in two and continued from the saved state is the log in one.

use super::drawn::{banks, few};
use super::told::{plain, run};
use cellwright::pipeline::{Pipeline, SavedState};
use proptest::prelude::*;

proptest! {
    #![proptest_config(few())]

    #[test]
    fn a_run_that_is_saved_and_continued_ends_as_one_that_was_not(bank in banks(), at in 0.01..0.99f64) {
        let inputs = bank.inputs();
        let whole = run(&inputs, plain());
        let (before, after) = inputs.split_at((at * inputs.len() as f64) as usize);
        let mut first = Pipeline::new(plain());
        before.iter().for_each(|input| first.push(input));
        let bytes = first.save().unwrap().as_bytes().to_vec();
        let mut second = Pipeline::new(plain()).restore(&SavedState::from_bytes(bytes)).unwrap();
        after.iter().for_each(|input| second.push(input));
        second.close();
        prop_assert!(second.snapshot() == whole.snapshot(), "cut at {}", at);
        prop_assert!(second.save().unwrap() == whole.save().unwrap(), "cut at {}", at);
    }
}

//! A healthy pack in parallel adds no finding: not of its own, not of the bank, and not of the pack beside it.

use super::drawn::{banks, few};
use super::frames::{changed, each, recoded};
use super::told::{judged, plain};
use cellwright::model::{Body, Input, Quantity as Q, Slot, Value};
use proptest::prelude::*;

/// What the second pack says: only frames of packs, as pack 2.
fn second(inputs: &[Input]) -> Vec<Input> {
    let of_pack = |frame: &cellwright::model::Frame| {
        let (group, sender) = cellwright::layout::own::split(frame.id)?;
        match super::frames::known(frame) {
            None => (sender == 0 && group == 0).then(|| cellwright::layout::own::hello(1)),
            Some(_) if sender != 0 => None,
            Some(_) => Some(recoded(frame, |part, _| (part, 1), |slot| Slot { pack: 0, ..slot }, |_, value| value)),
        }
    };
    each(inputs, of_pack).into_iter().filter(|input| matches!(input.body, Body::Frame(_))).collect()
}

/// Both packs on one bus, which is a bank of two.
fn beside(first: &[Input], other: &[Input]) -> Vec<Input> {
    let two = |slot: Slot, value| if slot.quantity == Q::PackCount { Value::Present(2.0) } else { value };
    let mut both = each(first, |frame| Some(changed(frame, two)));
    both.extend(second(other));
    both.sort_by_key(|input| (input.body == Body::Closing, input.stamp));
    both
}

proptest! {
    #![proptest_config(few())]

    #[test]
    fn a_healthy_pack_beside_it_adds_no_finding(bank in banks()) {
        let alone = judged(&bank.inputs(), plain());
        // of the weather both packs have their share
        let weather = bank.wrong.kind == "air";
        prop_assume!(!weather);
        let both = judged(&beside(&bank.inputs(), &bank.healthy().inputs()), plain());
        // a pack that is cut off or silent while the other carries on does share the current unequally
        let off = bank.wrong.kind == "pack-silent" || alone.findings.iter().any(|told| told.code == "bms-cutoff");
        let both = both.without(if off { &["unequal-sharing"] } else { &[] });
        prop_assert_eq!(alone.findings, both.findings);
    }
}

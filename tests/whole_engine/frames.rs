//! Frames of our own format taken apart into values, changed, and put together again.

use cellwright::layout::own::{self, OwnFrame};
use cellwright::model::{Body, Frame, Input, Slot, Value};

/// Group, part and sender of a frame of our format that carries values.
pub(crate) fn known(frame: &Frame) -> Option<(&'static OwnFrame, u8, u8)> {
    let (group, sender) = own::split(frame.id)?;
    let (own, part) = own::frame_of(group)?;
    Some((own, part, sender))
}

/// Every input, its frame put through a change; what is no frame of values stays.
pub(crate) fn each(inputs: &[Input], change: impl Fn(&Frame) -> Option<Frame>) -> Vec<Input> {
    let through = |input: &Input| match &input.body {
        Body::Frame(frame) => change(frame).map(|frame| Input { stamp: input.stamp, body: Body::Frame(frame) }),
        _ => Some(input.clone()),
    };
    inputs.iter().filter_map(through).collect()
}

/// The frame with each value changed by its slot, sent as another part of its kind by another sender.
pub(crate) fn recoded(
    frame: &Frame,
    place: impl Fn(u8, u8) -> (u8, u8),
    source: impl Fn(Slot) -> Slot,
    value: impl Fn(Slot, Value) -> Value,
) -> Frame {
    let Some((own, part, sender)) = known(frame) else { return *frame };
    let data = frame.data();
    let read = |slot: Slot| {
        let found = own.slots(part, sender).zip(own.fields).find(|(at, _)| *at == slot);
        found.and_then(|(_, field)| field.field.get(data).map(|raw| field.field.value(raw))).unwrap_or(Value::Missing)
    };
    let (new_part, new_sender) = place(part, sender);
    own::encode(own, new_part, new_sender, |slot| {
        let from = source(slot);
        value(from, read(from))
    })
}

/// The frame with each value changed by its slot.
pub(crate) fn changed(frame: &Frame, value: impl Fn(Slot, Value) -> Value) -> Frame {
    recoded(frame, |part, sender| (part, sender), |slot| slot, value)
}

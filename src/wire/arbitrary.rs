//! Any frame and any input, for property tests.

use crate::model::input::{ControllerState, Loss};
use crate::model::{Body, Frame, FrameKind, Id, Input, Rejection, Stamp, Subject};
use proptest::collection::vec;
use proptest::prelude::*;

pub(super) fn id() -> impl Strategy<Value = Id> {
    prop_oneof![(0..=Id::STANDARD_MAX).prop_map(Id::Standard), (0..=Id::EXTENDED_MAX).prop_map(Id::Extended)]
}

pub(super) fn frame() -> impl Strategy<Value = Frame> {
    let small = || vec(any::<u8>(), 0..=8);
    prop_oneof![
        (id(), small()).prop_map(|(id, data)| Frame::new(id, FrameKind::Data, &data).unwrap()),
        (id(), 0..=8u8).prop_map(|(id, len)| Frame::remote(id, len)),
        (0..=Id::EXTENDED_MAX, small())
            .prop_map(|(id, data)| Frame::new(Id::Extended(id), FrameKind::Error, &data).unwrap()),
        (id(), 0..16u8, vec(any::<u8>(), 0..=64)).prop_map(|(id, flags, data)| Frame::new(
            id,
            FrameKind::Fd(flags),
            &data
        )
        .unwrap()),
    ]
}

/// Any input on one of `channels` interfaces, that a recording can hold.
pub(super) fn input(channels: u8) -> impl Strategy<Value = Input> {
    let stamp = (0..=i64::MAX).prop_map(Stamp::from_nanos);
    (stamp, body(channels)).prop_map(|(stamp, body)| Input { stamp, body })
}

fn body(channels: u8) -> impl Strategy<Value = Body> {
    let state = prop::sample::select(vec![
        ControllerState::Active,
        ControllerState::Warning,
        ControllerState::Passive,
        ControllerState::BusOff,
        ControllerState::Stopped,
    ]);
    let loss = prop::sample::select(vec![Loss::Computer, Loss::Adapter, Loss::Sender]);
    let reason = prop::sample::select(Rejection::ALL.to_vec());
    let part = || prop::option::of(0..40u8);
    let subject = (part(), part(), part()).prop_map(|(pack, cell, sensor)| Subject { pack, cell, sensor });
    prop_oneof![
        6 => (frame(), 0..channels).prop_map(|(frame, channel)| Body::Frame(frame.on(channel))),
        1 => (reason, any::<u32>()).prop_map(|(reason, count)| Body::Rejected { reason, count }),
        1 => (loss, any::<u32>()).prop_map(|(by, count)| Body::Lost { by, count }),
        1 => (0..channels, any::<bool>()).prop_map(|(channel, up)| Body::Link { channel, up }),
        1 => (0..channels, state).prop_map(|(channel, state)| Body::Controller { channel, state }),
        1 => any::<i64>().prop_map(|old| Body::ClockStep { old: Stamp::from_nanos(old) }),
        1 => any::<u32>().prop_map(|secs| Body::Suspend { secs }),
        1 => any::<u32>().prop_map(|count| Body::Gap { count }),
        1 => "[a-z =\\n]{1,200}".prop_map(|text| Body::BankFile { digest: super::reserved::digest(&text), text: text.as_str().into() }),
        1 => (any::<u16>(), subject).prop_map(|(rule, subject)| Body::Acknowledge { rule, subject }),
        2 => "[a-zA-Z0-9 äß€漢.,]{0,60}".prop_map(Body::Note),
        1 => Just(Body::Closing),
    ]
}

//! An unknown bus is mapped by physics: foreign buses drawn at random, and how many of their values are found.

#[allow(dead_code)] // the count beside it uses the rest
mod bus;
#[allow(dead_code)] // the count beside it uses the rest
mod chatter;
#[allow(dead_code)] // the count beside it uses the rest
mod day;
#[allow(dead_code)] // the count beside it uses the rest
mod dice;
#[allow(dead_code)] // the count beside it uses the rest
mod encoding;
#[allow(dead_code)] // the count beside it uses the rest
mod layout;
#[allow(dead_code)] // the count beside it uses the rest
mod score;
#[allow(dead_code)] // the count beside it uses the rest
mod suite;

use bus::Bus;
use cellwright::model::{Frame, FrameKind, Id, Stamp};
use cellwright::survey::{Known, Survey};
use score::Score;

#[test]
fn most_cells_of_foreign_buses_are_found() {
    let shapes = suite::drawn(7);
    let (mut sum, mut all) = (Score::default(), Vec::new());
    for number in 0..6 {
        let bus = Bus::new(900 + number, number % 3 == 2, &shapes);
        let frames = bus.frames();
        let mut survey = Survey::new();
        frames.iter().for_each(|(stamp, frame)| survey.push(*stamp, frame));
        let known = Known { capacity: Some(bus.day.capacity), celsius: Some(bus.day.air) };
        let mut told = Vec::new();
        let (score, _) = score::score(&bus, &frames, &survey.find(&known), |text| told.push(text));
        all.extend(told);
        sum.add(score);
    }
    assert!(sum.wrong * 50 <= sum.all(), "more than 2 % wrong: {all:#?}");
    assert!(sum.right * 10 >= sum.all() * 9, "{sum:?}: {all:#?}");
}

/// A log in which every frame has an id of its own: no more messages are followed than a bus has, and nothing is found.
#[test]
fn a_hundred_thousand_ids_are_counted_and_not_all_followed() {
    let mut survey = Survey::new();
    for number in 0..100_000_u32 {
        let stamp = Stamp::from_secs(1_772_323_200).plus_secs(f64::from(number) * 0.01);
        let data = [number.to_le_bytes(), [0x0C, 0xE4, 0x0C, 0xE5]].concat();
        survey.push(stamp, &Frame::new(Id::Extended(number), FrameKind::Data, &data).expect("a frame"));
    }
    let found = survey.find(&Known { capacity: Some(100.0), celsius: Some(20.0) });
    assert_eq!((found.frames, found.messages, found.packs), (100_000, 1024, 0));
    assert!(found.roles.is_empty(), "{:?}", found.roles);
}

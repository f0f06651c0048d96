//! An unknown bus is mapped by physics: foreign buses drawn at random, and how many of their values are found.

mod bus;
mod chatter;
mod day;
mod dice;
mod encoding;
mod layout;
mod score;
mod suite;

use bus::Bus;
use cellwright::survey::{Known, Survey};
use score::Score;

#[test]
fn most_cells_of_foreign_buses_are_found() {
    let shapes = suite::drawn(7);
    let mut sum = Score::default();
    for number in 0..6 {
        let bus = Bus::new(900 + number, number % 3 == 2, &shapes);
        let frames = bus.frames();
        let mut survey = Survey::new();
        frames.iter().for_each(|(stamp, frame)| survey.push(*stamp, frame));
        let known = Known { capacity: Some(bus.day.capacity), celsius: Some(bus.day.air) };
        let mut told = Vec::new();
        let (score, _) = score::score(&bus, &frames, &survey.find(&known), |text| told.push(text));
        assert!(score.wrong * 50 <= score.all(), "bus {number}: {told:#?}");
        sum.add(score);
    }
    assert!(sum.right * 2 >= sum.all(), "{sum:?}");
}

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
    assert!(sum.right * 2 >= sum.all(), "{sum:?}");
}

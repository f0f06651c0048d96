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
use cellwright::model::{Body, Frame, FrameKind, Id, Quantity, Stamp};
use cellwright::sim::{Options, Simulation};
use cellwright::survey::{Found, Known, Survey};
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

/// A bus of which the temperatures are written in another way; what the survey makes of them: right, wrong, not found.
fn with_warmth(number: u64, scale: f64, offset: f64) -> Score {
    let mut bus = Bus::new(number, false, &suite::drawn(7));
    let parts = bus.layout.iter_mut().flat_map(|layout| &mut layout.messages).flat_map(|message| &mut message.parts);
    for part in parts.filter(|part| part.slot.quantity == Quantity::Temperature) {
        (part.field.scale, part.field.offset) = (scale, offset);
    }
    let frames = bus.frames();
    let mut survey = Survey::new();
    frames.iter().for_each(|(stamp, frame)| survey.push(*stamp, frame));
    let known = Known { capacity: Some(bus.day.capacity), celsius: Some(bus.day.air) };
    let (_, by) = score::score(&bus, &frames, &survey.find(&known), drop);
    by.get(&Quantity::Temperature).copied().unwrap_or_default()
}

/// Buses whose temperatures have 16 bits, and 8.
const LONG_WARMTH: u64 = 914;
const BYTE_WARMTH: u64 = 912;
/// K.
const FAHRENHEIT: f64 = 5.0 / 9.0;

/// In °F a field rises 1.8 times as much as it would in °C.
#[test]
fn temperatures_in_fahrenheit_are_told() {
    for (number, scale) in [(LONG_WARMTH, 0.1 * FAHRENHEIT), (BYTE_WARMTH, FAHRENHEIT)] {
        let score = with_warmth(number, scale, -32.0 * FAHRENHEIT);
        assert!(score.right > 0 && score.wrong + score.missed == 0, "{scale}: {score:?}");
    }
}

/// With each scale that is usual they would rise by more than half as much again as the heat of the current can warm
/// them, or by less than two thirds: none is claimed.
#[test]
fn temperatures_that_the_heat_denies_in_every_usual_scale_are_not_claimed() {
    let score = with_warmth(LONG_WARMTH, 0.22, 0.0);
    assert!(score.missed > 0 && score.right + score.wrong == 0, "{score:?}");
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

/// A day of a simulated bank whose meters are coarser than the scale of its fields, a set each so many seconds.
fn quiet_day(scenario: &str, sample: f64, known: &Known) -> Found {
    let options = Options { seed: 1, days: Some(1.0), sample: Some(sample) };
    let mut survey = Survey::new();
    for input in Simulation::new(scenario, options).expect("the scenario is there") {
        if let Body::Frame(frame) = &input.body {
            survey.push(input.stamp, frame);
        }
    }
    survey.find(known)
}

/// Two batteries of one kind, each on an interface of its own with the ids of the other: a bank file tells messages by
/// their ids, so that no draft could tell the one from the other, and none is made.
#[test]
fn ids_that_are_heard_on_two_interfaces_are_no_bank() {
    let day = |seed| Simulation::new("hot-locker", Options { seed, days: Some(1.0), sample: Some(10.0) });
    let (one, other) = (day(1).expect("the scenario is there"), day(2).expect("the scenario is there"));
    let mut survey = Survey::new();
    for (first, second) in one.zip(other) {
        for (channel, input) in [(0, first), (1, second)] {
            if let Body::Frame(frame) = input.body {
                survey.push(input.stamp, &frame.on(channel));
            }
        }
    }
    let found = survey.find(&Known { capacity: Some(200.0), celsius: Some(30.0) });
    assert_eq!((found.packs, found.roles.len()), (0, 0), "{:?}", places(&found));
    let open: Vec<String> = found.open.iter().map(|open| format!("{}: {}", open.what.name(), open.why)).collect();
    assert!(open.iter().any(|line| line.contains("more than one interface")), "{open:?}");
}

/// Quantity, message, first bit and scale of every role, in the order in which they were found.
fn places(found: &Found) -> Vec<(Quantity, Id, u16, f64)> {
    found.roles.iter().map(|role| (role.slot.quantity, role.id, role.field.start, role.field.scale)).collect()
}

const CELLS_AND_SUM: [(Quantity, Id, u16, f64); 5] = [
    (Quantity::CellVoltage, Id::Extended(0x18FF_1080), 0, 0.0001),
    (Quantity::CellVoltage, Id::Extended(0x18FF_1080), 16, 0.0001),
    (Quantity::CellVoltage, Id::Extended(0x18FF_1080), 32, 0.0001),
    (Quantity::CellVoltage, Id::Extended(0x18FF_1080), 48, 0.0001),
    (Quantity::PackVoltage, Id::Extended(0x18FF_3080), 32, 0.002),
];

/// With little current a cell moves over two minutes by less than its meter errs; one drifts from the others; a
/// charger holds the bank full. The cells are found, and so is their sum rather than the voltage beyond the switch.
#[test]
fn a_bank_that_hardly_moves_is_found() {
    for (scenario, sample) in
        [("weak-heater", 20.0), ("sunny-noon", 20.0), ("winter-charger", 20.0), ("shore-float", 60.0)]
    {
        let found = quiet_day(scenario, sample, &Known::default());
        let places = places(&found);
        assert_eq!(places.get(..5), Some(&CELLS_AND_SUM[..]), "{scenario}: {places:?}");
    }
}

/// A current that goes in steps of 50 counts with an offset far from 0, and a state of charge in steps of 20: each begins
/// where its number does, and not at a bit within it that happens to change more often.
#[test]
fn a_coarse_meter_in_a_fine_scale_is_read_from_its_first_bit() {
    let found = quiet_day("hot-locker", 10.0, &Known { capacity: Some(200.0), celsius: Some(30.0) });
    let bits = |quantity: Quantity| {
        let role = found.roles.iter().find(|role| role.slot.quantity == quantity)?;
        Some((role.id, role.field.start, role.field.len, role.field.scale, role.field.offset))
    };
    assert_eq!(bits(Quantity::Current), Some((Id::Extended(0x18FF_3080), 0, 24, 0.001, -2000.0)));
    assert_eq!(bits(Quantity::ReportedSoc), Some((Id::Extended(0x18FF_3180), 16, 16, 0.0001, 0.0)));
    assert_eq!(bits(Quantity::Temperature), None, "the voltage beyond the switch is no temperature");
}

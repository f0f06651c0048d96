//! Invented banks as logs: told by hand, or by the simulated bank.

use cellwright::layout::own::{BEAT, encode, frame_of, hello};
use cellwright::model::{Body, Frame, Input, Quantity, Slot, Stamp, Value};
use cellwright::sim::{Options, Simulation};
use cellwright::wire::Interfaces;
use cellwright::wire::textlog::write_line;

/// An invented day.
pub(crate) const BEGIN: Stamp = Stamp::from_secs(1_768_021_200);

/// A log of inputs, as text.
pub(crate) fn text_of(inputs: impl IntoIterator<Item = Input>) -> String {
    let mut interfaces = Interfaces::new();
    interfaces.channel(b"can0").expect("a valid name");
    let mut text = Vec::new();
    for input in inputs {
        write_line(&mut text, &input, &interfaces);
    }
    String::from_utf8(text).expect("a log is text")
}

/// A simulated bank's inputs.
pub(crate) fn simulated(name: &str, days: f64, sample: f64) -> Vec<Input> {
    let options = Options { seed: 3, days: Some(days), sample: Some(sample) };
    Simulation::new(name, options).expect("a scenario of ours").collect()
}

/// A frame of pack 1 with these values; what is not named is 'not available'.
pub(crate) fn frame(group: u8, values: &[(Slot, f64)]) -> Frame {
    let (layout, part) = frame_of(group).expect("a group of the format");
    encode(layout, part, 0, |slot| {
        values.iter().find(|(named, _)| *named == slot).map_or(Value::Missing, |(_, number)| Value::Present(*number))
    })
}

/// Ten minutes of a pack of four cells, a set a second: `cells` gives the volts at each second.
pub(crate) fn ten_minutes(cells: impl Fn(u32) -> [f64; 4]) -> Vec<Input> {
    let mut inputs = Vec::new();
    for second in 0..600_u32 {
        let at = BEGIN.plus_secs(f64::from(second));
        let mut say = |frame: Frame| inputs.push(Input { stamp: at, body: Body::Frame(frame) });
        let one = |quantity| Slot::of(0, quantity);
        say(hello(0));
        say(frame(
            BEAT,
            &[
                (one(Quantity::SenderFrames), f64::from(second * 6 + 2)),
                (one(Quantity::SenderUptime), f64::from(second)),
            ],
        ));
        say(frame(0x60, &[(one(Quantity::CellCount), 4.0), (one(Quantity::RatedCapacity), 100.0)]));
        let volts = cells(second);
        let slots: Vec<(Slot, f64)> =
            (0..4).map(|cell| (Slot::at(0, Quantity::CellVoltage, cell), volts[usize::from(cell)])).collect();
        say(frame(0x10, &slots));
        say(frame(0x20, &[(Slot::at(0, Quantity::Temperature, 0), 21.0)]));
        say(frame(
            0x30,
            &[
                (one(Quantity::Current), 5.0),
                (one(Quantity::PackVoltage), volts.iter().sum()),
                (one(Quantity::BusVoltage), volts.iter().sum()),
            ],
        ));
    }
    inputs
}

/// Cell 3 stands far too high for ten seconds.
pub(crate) fn one_cell_far_too_high() -> Vec<Input> {
    ten_minutes(|second| [3.40, 3.40, if (300..310).contains(&second) { 3.95 } else { 3.41 }, 3.40])
}

/// Cell 3 stands a little too high for two minutes.
pub(crate) fn one_cell_a_little_high() -> Vec<Input> {
    ten_minutes(|second| [3.50, 3.50, if (300..420).contains(&second) { 3.72 } else { 3.51 }, 3.50])
}

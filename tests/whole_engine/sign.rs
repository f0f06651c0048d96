//! A bus that counts discharge as positive, and a bank file that says so, tell the same.

use super::drawn::{Bank, banks, few};
use super::frames::{each, known};
use super::told::judged;
use cellwright::model::{Frame, FrameKind, Id, Input};
use cellwright::pipeline::{Filed, Setup};
use proptest::prelude::*;

/// Counts of the current for 0 A in our own format.
const ZERO: i64 = 2_000_000;

/// The values of pack 1 as frames of an invented bus with 11-bit ids, its current a signed number of this sign.
fn foreign(inputs: &[Input], sign: i64) -> Vec<Input> {
    each(inputs, |frame| {
        let (own, part, sender) = known(frame)?;
        if sender != 0 || !(0x10..0x40).contains(&own.group) {
            return None;
        }
        let mut data = [0; 8];
        data.copy_from_slice(frame.data());
        if own.group == 0x30 {
            let raw = i64::from(u32::from_le_bytes([data[0], data[1], data[2], data[3]]));
            data[..4].copy_from_slice(&((sign * (raw - ZERO)) as i32).to_le_bytes());
        }
        Frame::new(Id::Standard(0x100 + u16::from(own.group + part)), FrameKind::Data, &data)
    })
}

fn bank_file(bank: &Bank, sign: &str, of_signal: bool) -> Setup {
    let four = f64::from(bank.cells) / 4.0;
    let (top, signal) = if of_signal { ("charge-positive", sign) } else { (sign, sign) };
    let sensors: Vec<String> = (1..=bank.cells).map(|cell| format!("{{ role = \"cell\", cell = {cell} }}")).collect();
    let text = format!(
        "dialect = \"file\"\ncurrent = \"{top}\"\n\
         [[pack]]\ncells = {cells}\ncapacity = {}\ncharge = {}\ndischarge = {}\nabsorption = {}\nfloat = {}\n\
         heater = {{ fitted = false }}\nsensors = [{}]\n\
         balance = {{ kind = \"bleed-highest\", current = {}, threshold = 3.42 }}\n\
         [[signal]]\nrole = \"cell-voltage\"\nnumber = \"1..{cells}\"\nid = \"110\"\nid-step = 1\nper-frame = 4\n\
         start = 0\nlength = 16\nstep = 16\nscale = 0.0001\nblank = \"two\"\n\
         [[signal]]\nrole = \"temperature\"\nnumber = \"1..{cells}\"\nid = \"120\"\nid-step = 1\nper-frame = 4\n\
         start = 0\nlength = 16\nstep = 16\nscale = 0.01\noffset = -100\nblank = \"two\"\n\
         [[signal]]\nrole = \"current\"\nid = \"130\"\nstart = 0\nlength = 32\nform = \"signed\"\nscale = 0.001\n\
         current = \"{signal}\"\n\
         [[signal]]\nrole = \"pack-voltage\"\nid = \"130\"\nstart = 32\nlength = 16\nscale = 0.002\nblank = \"two\"\n\
         [[signal]]\nrole = \"charge-path\"\nid = \"131\"\nstart = 0\nlength = 2\nstates = {{ 0 = \"open\", 1 = \"closed\" }}\n\
         [[signal]]\nrole = \"discharge-path\"\nid = \"131\"\nstart = 2\nlength = 2\nstates = {{ 0 = \"open\", 1 = \"closed\" }}\n\
         [[signal]]\nrole = \"cell-balancing\"\nnumber = \"1..{cells}\"\nid = \"132\"\nstart = 0\nlength = 2\nstep = 2\n\
         states = {{ 0 = \"off\", 1 = \"on\" }}\n",
        bank.capacity,
        bank.capacity * 0.5,
        bank.capacity,
        14.4 * four,
        13.6 * four,
        sensors.join(", "),
        bank.capacity * 0.0006,
        cells = bank.cells,
    );
    Setup::default().with(Filed::read(&text).expect("the bank file can be read"))
}

proptest! {
    #![proptest_config(few())]

    #[test]
    fn the_sign_of_the_current_turned_in_bank_file_and_data_changes_nothing(bank in banks(), of_signal: bool) {
        let inputs = bank.inputs();
        let charge = judged(&foreign(&inputs, 1), bank_file(&bank, "charge-positive", of_signal));
        let discharge = judged(&foreign(&inputs, -1), bank_file(&bank, "discharge-positive", of_signal));
        prop_assert_eq!(charge, discharge);
    }
}

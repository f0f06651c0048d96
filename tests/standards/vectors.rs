//! Worked examples, byte for byte.

use super::bus::{Bus, number, value};
use cellwright::decode::Settings;
use cellwright::model::{Dialect, Quantity as Q, Value};

const BMS: u8 = 0x46;

fn forced(dialect: Dialect) -> Bus {
    Bus::new(Settings { dialect: Some(dialect), ..Settings::default() })
}

#[test]
fn voltage_and_current_of_a_dc_source() {
    let mut bus = Bus::found();
    let said = bus.say(0x1_FFFD, BMS, [0x01, 0x78, 0x00, 0x01, 0xA0, 0x1A, 0x37, 0x77]);
    assert_eq!(number(&said, 0, Q::PackVoltage, 0), 12.8);
    assert_eq!(number(&said, 0, Q::Current, 0), -100.0, "the standard counts discharge as positive");
    let said = bus.say(0x1_FFFD, BMS, [0x01, 0x78, 0x09, 0x01, 0x00, 0x94, 0x35, 0x77]);
    assert_eq!((number(&said, 0, Q::PackVoltage, 0), number(&said, 0, Q::Current, 0)), (13.25, 0.0));
}

#[test]
fn temperature_and_state_of_charge_of_a_dc_source() {
    let said = forced(Dialect::RvC).say(0x1_FFFC, BMS, [0x01, 0x78, 0x40, 0x25, 0xAE, 0xF4, 0x00, 0xFD]);
    assert_eq!(number(&said, 0, Q::Temperature, 0), 25.0);
    assert_eq!(number(&said, 0, Q::ReportedSoc, 0), 0.87);
    assert_eq!(number(&said, 0, Q::SensorRole, 0), 2.0, "the case");
    let said = forced(Dialect::RvC).say(0x1_FFFC, BMS, [0x01, 0x78, 0xE0, 0x20, 0xFF, 0xFF, 0xFF, 0xFF]);
    assert_eq!(number(&said, 0, Q::Temperature, 0), -10.0);
    assert_eq!(value(&said, 0, Q::ReportedSoc, 0), Some(Value::Missing));
}

#[test]
fn a_cell_in_detail() {
    let said = Bus::found().say(0x1_FDDD, BMS, [0x01, 0x01, 0x03, 0xD5, 0x11, 0x0D, 0x41, 0xFF]);
    assert_eq!(number(&said, 0, Q::CellVoltage, 2), 3.345);
    assert_eq!(number(&said, 0, Q::CellBalancing, 2), 1.0);
    assert_eq!(number(&said, 0, Q::Temperature, 3), 25.0);
    assert_eq!((number(&said, 0, Q::SensorRole, 3), number(&said, 0, Q::SensorCell, 3)), (1.0, 3.0));
}

#[test]
fn a_cells_states_are_not_the_two_bit_codes_of_the_rest() {
    let mut bus = Bus::found();
    // 0 is 'invalid' for voltage and temperature, 3 is 'under' and no 'not available'.
    let said = bus.say(0x1_FDDD, BMS, [1, 1, 1, 0b1100_0000, 0x11, 0x0D, 0x41, 0xFF]);
    assert_eq!(value(&said, 0, Q::CellVoltage, 0), Some(Value::Invalid(0x0D11)));
    assert_eq!(value(&said, 0, Q::Temperature, 1), Some(Value::Invalid(0x41)));
    let said = bus.say(0x1_FDDD, BMS, [1, 1, 1, 0b1111_1111, 0xC4, 0x09, 0x41, 0xFF]);
    assert_eq!(number(&said, 0, Q::CellVoltage, 0), 2.5);
    assert_eq!(value(&said, 0, Q::CellBalancing, 0), Some(Value::Missing));
}

#[test]
fn the_three_codes_at_the_top_are_no_numbers() {
    let mut bus = forced(Dialect::RvC);
    for (low, expected) in [(0xFF, Value::Missing), (0xFE, Value::Invalid(0xFFFE)), (0xFD, Value::Invalid(0xFFFD))] {
        let said = bus.say(0x1_FFFD, BMS, [1, 120, low, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF]);
        assert_eq!(value(&said, 0, Q::PackVoltage, 0), Some(expected));
        assert_eq!(value(&said, 0, Q::Current, 0), Some(Value::Missing));
    }
}

#[test]
fn a_warning_before_a_disconnect_is_one_value() {
    let mut bus = forced(Dialect::RvC);
    let mut warning = |bytes: [u8; 3]| {
        let said = bus.say(0x1_FEC7, BMS, [1, 120, bytes[0], bytes[1], bytes[2], 0xFF, 0xFF, 0xFF]);
        value(&said, 0, Q::PreAlarm, 0)
    };
    assert_eq!(warning([0, 0, 0]), Some(Value::Present(0.0)));
    assert_eq!(warning([0b0001_0000, 0, 0]), Some(Value::Present(0.0)), "a limit alone disconnects nothing");
    assert_eq!(warning([0b0000_0100, 0, 0]), Some(Value::Present(1.0)), "too high");
    assert_eq!(warning([0xFF, 0b0100_1111, 0xFF]), Some(Value::Present(1.0)), "too cold");
    assert_eq!(warning([0xFF; 3]), Some(Value::Missing));
}

#[test]
fn cells_of_later_modules_count_on() {
    let mut bus = Bus::found();
    let cell = |module: u8| [1, module, 2, 0xD5, 0x11, 0x0D, 0x41, 0xFF];
    assert_eq!(bus.say(0x1_FDDD, BMS, cell(2)), [], "how many cells a module has is not known yet");
    let summary = bus.say(0x1_FDF1, BMS, [1, 1, 1, 2, 4, 0xFF, 0xFF, 0xFF]);
    assert_eq!(number(&summary, 0, Q::CellCount, 0), 8.0);
    assert_eq!(number(&bus.say(0x1_FDDD, BMS, cell(2)), 0, Q::CellVoltage, 5), 3.345);
}

#[test]
fn a_battery_of_a_vessel_in_one_frame() {
    let said = Bus::found().say(0x1_F214, BMS, [0x00, 0x32, 0x05, 0x78, 0x01, 0x77, 0x74, 0x05]);
    assert_eq!(number(&said, 0, Q::PackVoltage, 0), 13.3);
    assert_eq!(number(&said, 0, Q::Current, 0), 37.6);
    assert_eq!(number(&said, 0, Q::Temperature, 0), 25.0);
}

#[test]
fn a_battery_of_a_vessel_whose_current_has_the_other_sign() {
    let settings = Settings { dialect: Some(Dialect::Marine), reversed: true, ..Settings::default() };
    let said = Bus::new(settings).say(0x1_F214, BMS, [0x00, 0x32, 0x05, 0x78, 0x01, 0x77, 0x74, 0x05]);
    assert_eq!(number(&said, 0, Q::Current, 0), -37.6);
}

#[test]
fn a_battery_of_a_vessel_in_two_frames() {
    let mut bus = Bus::found();
    assert_eq!(bus.say(0x1_F212, BMS, [0x40, 0x0B, 0x05, 0x00, 0x00, 0x57, 0x64, 0xF4]), []);
    let said = bus.say(0x1_F212, BMS, [0x41, 0x00, 0xFF, 0xFF, 0x78, 0x00, 0xFF, 0xFF]);
    assert_eq!(number(&said, 0, Q::ReportedSoc, 0), 0.87);
    bus.say(0x1_F212, BMS, [0x60, 0x0B, 0x05, 0x00, 0x01, 0x57, 0x64, 0xF4]);
    let alternator = bus.say(0x1_F212, BMS, [0x61, 0x00, 0xFF, 0xFF, 0x78, 0x00, 0xFF, 0xFF]);
    assert_eq!(alternator, [], "an alternator's state is no battery's");
}

#[test]
fn not_available_and_error_of_a_vessel_are_no_numbers() {
    let mut bus = Bus::found();
    let said = bus.say(0x1_F214, BMS, [0x00, 0xFF, 0x7F, 0xFF, 0x7F, 0xFF, 0xFF, 0x05]);
    for quantity in [Q::PackVoltage, Q::Current, Q::Temperature] {
        assert_eq!(value(&said, 0, quantity, 0), Some(Value::Missing));
    }
    let said = bus.say(0x1_F214, BMS, [0x00, 0xFE, 0x7F, 0xFE, 0x7F, 0xFE, 0xFF, 0x05]);
    assert_eq!(value(&said, 0, Q::Current, 0), Some(Value::Invalid(0x7FFE)));
}

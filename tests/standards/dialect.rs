//! Which standard a bus speaks, and which of its numbers is which pack.

use super::bus::{Bus, id, number, value};
use cellwright::decode::Settings;
use cellwright::model::{Dialect, Frame, Quantity as Q};

/// DC source `source` at 13.25 V, 0 A, from a device of this priority.
fn source(source: u8, priority: u8) -> [u8; 8] {
    [source, priority, 0x09, 0x01, 0x00, 0x94, 0x35, 0x77]
}

/// Battery instance `instance` at 13.30 V, 37.6 A.
fn battery(instance: u8) -> [u8; 8] {
    [instance, 0x32, 0x05, 0x78, 0x01, 0x77, 0x74, 0x05]
}

fn speaks(bus: &Bus) -> Vec<Dialect> {
    bus.decoder.buses().first().map_or_else(Vec::new, |bus| bus.dialects.clone())
}

fn remarks(bus: &Bus) -> String {
    bus.decoder.buses().iter().flat_map(|bus| bus.remarks.clone()).collect::<Vec<_>>().join("\n")
}

#[test]
fn the_first_frame_that_only_one_standard_has_decides_and_is_read() {
    let mut bus = Bus::found();
    assert!(!bus.say(0x1_FFFD, 0x46, source(1, 120)).is_empty());
    assert_eq!(speaks(&bus), [Dialect::RvC]);
    let mut bus = Bus::found();
    assert!(!bus.say(0x1_F214, 0x46, battery(0)).is_empty());
    assert_eq!(speaks(&bus), [Dialect::Marine]);
}

#[test]
fn a_makers_fast_packet_on_a_vessel_is_no_dc_source() {
    let mut bus = Bus::found();
    // Group 1FFFD lies in the makers' range there: length, maker and industry, then anything.
    bus.say(0x1_FFFD, 0x10, [0x20, 0x14, 0x3A, 0x9F, 1, 2, 3, 4]);
    bus.say(0x1_FFFD, 0x10, [0x21, 5, 6, 7, 8, 9, 10, 11]);
    assert_eq!(speaks(&bus), []);
    bus.say(0x1_F214, 0x46, battery(0));
    bus.say(0x1_F214, 0x46, battery(0));
    assert_eq!(bus.say(0x1_FFFD, 0x10, [0x20, 0x14, 0x3A, 0x9F, 1, 2, 3, 4]), []);
    assert_eq!(speaks(&bus), [Dialect::Marine]);
}

#[test]
fn two_standards_on_one_bus_are_said_and_never_both_read() {
    let mut bus = Bus::found();
    for _ in 0..2 {
        bus.say(0x1_FFFD, 0x46, source(1, 120));
    }
    for _ in 0..5 {
        assert_eq!(bus.say(0x1_F214, 0x46, battery(0)), []);
    }
    assert_eq!(speaks(&bus), [Dialect::RvC]);
    assert!(remarks(&bus).contains("5 frames look like IEC 61162-3; they are not read"), "{}", remarks(&bus));
}

#[test]
fn a_single_odd_frame_does_not_decide_for_good() {
    let mut bus = Bus::found();
    bus.say(0x1_FFFD, 0x46, source(1, 120));
    assert!(!bus.say(0x1_F214, 0x46, battery(0)).is_empty());
    assert_eq!(speaks(&bus), [Dialect::Marine]);
}

#[test]
fn each_interface_speaks_for_itself() {
    let mut bus = Bus::found();
    bus.hear(&Frame::extended(id(6, 0x1_FFFD, 0x46), source(1, 120)));
    bus.hear(&Frame::extended(id(6, 0x1_F214, 0x46), battery(0)).on(1));
    let dialects: Vec<_> = bus.decoder.buses().iter().map(|bus| (bus.channel, bus.dialects.clone())).collect();
    assert_eq!(dialects, [(0, vec![Dialect::RvC]), (1, vec![Dialect::Marine])]);
}

#[test]
fn a_told_dialect_is_not_looked_for() {
    let mut bus = Bus::new(Settings { dialect: Some(Dialect::Marine), ..Settings::default() });
    assert_eq!(bus.say(0x1_FFFD, 0x46, source(1, 120)), []);
    assert!(!bus.say(0x1_F214, 0x46, battery(0)).is_empty());
    assert!(bus.decoder.buses()[0].forced);
    let mut bus = Bus::new(Settings { dialect: Some(Dialect::Own), ..Settings::default() });
    assert_eq!(bus.say(0x1_F214, 0x46, battery(0)), []);
}

#[test]
fn the_chassis_battery_is_not_the_house_bank() {
    let mut bus = Bus::found();
    assert_eq!(bus.say(0x1_FFFD, 0x46, source(2, 120)), []);
    assert!(
        value(&bus.say(0x1_FFFD, 0x47, source(3, 120)), 0, Q::PackVoltage, 0).is_some(),
        "the only house bank so far"
    );
    assert!(!bus.say(0x1_FFFD, 0x46, source(1, 120)).is_empty());
    assert_eq!(bus.say(0x1_FFFD, 0x47, source(3, 120)), []);
    assert!(remarks(&bus).contains("DC source 1 is read as the bank; heard and not read: 2, 3"), "{}", remarks(&bus));
}

#[test]
fn of_two_devices_the_one_with_the_better_priority_is_read() {
    let mut bus = Bus::found();
    bus.say(0x1_FFFD, 0x50, source(1, 40));
    bus.say(0x1_FFFD, 0x46, source(1, 120));
    assert_eq!(bus.say(0x1_FFFD, 0x50, source(1, 40)), []);
    assert!(
        remarks(&bus)
            .contains("pack 1: two devices send the same values; address 46 (priority 120) is read, address 50"),
        "{}",
        remarks(&bus)
    );
}

#[test]
fn with_several_batteries_the_source_is_the_whole_bank() {
    let mut bus = Bus::found();
    let of = |battery: u8| [battery, 1, 0x09, 0x01, 0x00, 0x94, 0x35, 0x77];
    bus.say(0x1_FE95, 0x46, of(1));
    assert_eq!(number(&bus.say(0x1_FFFD, 0x46, source(1, 120)), 0, Q::PackVoltage, 0), 13.25);
    assert_eq!(number(&bus.say(0x1_FE95, 0x47, of(2)), 1, Q::PackVoltage, 0), 13.25);
    let whole = bus.say(0x1_FFFD, 0x46, source(1, 120));
    assert_eq!((number(&whole, 0, Q::BankVoltage, 0), number(&whole, 0, Q::BankCurrent, 0)), (13.25, 0.0));
}

#[test]
fn a_starter_battery_is_no_pack_unless_the_bank_file_says_so() {
    let mut bus = Bus::found();
    bus.say(0x1_F214, 0x46, battery(0));
    assert_eq!(bus.say(0x1_F214, 0x47, battery(1)), []);
    assert!(remarks(&bus).contains("battery instances heard and not read: 1"), "{}", remarks(&bus));
    let mut bus = Bus::new(Settings { packs: Some(2), ..Settings::default() });
    assert_eq!(number(&bus.say(0x1_F214, 0x47, battery(1)), 1, Q::PackVoltage, 0), 13.3);
}

#[test]
fn groups_that_are_sent_when_asked_are_said_to_be_missing_for_that_reason() {
    let mut bus = Bus::found();
    bus.say(0x1_FFFD, 0x46, source(1, 120));
    assert!(
        remarks(&bus)
            .contains("Cell voltages are missing: RV-C sends them (cell_detail, group 1FDDD) only when a device asks"),
        "{}",
        remarks(&bus)
    );
    bus.say(0x1_FDDD, 0x46, [1, 1, 3, 0xD5, 0x11, 0x0D, 0x41, 0xFF]);
    assert!(!remarks(&bus).contains("Cell voltages"), "{}", remarks(&bus));
}

#[test]
fn a_current_that_the_standard_itself_turns_over_is_not_turned_again() {
    // 37.6 A of discharge: a count of 1 mA above the middle.
    let drawn = [1, 120, 0x09, 0x01, 0xE0, 0x26, 0x36, 0x77];
    for dialect in [None, Some(Dialect::RvC)] {
        for reversed in [false, true] {
            let mut bus = Bus::new(Settings { dialect, reversed, ..Settings::default() });
            assert_eq!(number(&bus.say(0x1_FFFD, 0x46, drawn), 0, Q::Current, 0), -37.6);
            let said = "turns nothing over here: RV-C itself says that discharge is positive";
            assert_eq!(remarks(&bus).contains(said), reversed, "{}", remarks(&bus));
        }
    }
}

#[test]
fn a_remark_says_which_way_round_a_current_is_taken() {
    for (reversed, taken) in [(false, "taken as charging"), (true, "taken as discharging, as the bank file says")] {
        let mut bus = Bus::new(Settings { reversed, ..Settings::default() });
        bus.say(0x1_F214, 0x46, battery(0));
        assert!(remarks(&bus).ends_with(&format!("A positive current is {taken}")), "{}", remarks(&bus));
    }
}

#[test]
fn without_a_word_about_instances_their_numbers_count_and_what_that_leaves_out_is_said() {
    let mut bus = Bus::new(Settings { packs: Some(2), ..Settings::default() });
    assert_eq!(number(&bus.say(0x1_F214, 0x46, battery(1)), 1, Q::PackVoltage, 0), 13.3);
    assert_eq!(bus.say(0x1_F214, 0x46, battery(2)), []);
    let told = remarks(&bus);
    assert!(
        told.contains("battery instances heard and not read: 2. Without 'instance' in [[pack]] instance 0"),
        "{told}"
    );
    assert!(told.contains("nothing is heard here of pack 1 (instance 0)"), "{told}");
}

#[test]
fn a_bank_file_says_which_instance_is_which_pack() {
    let mut bus = Bus::new(Settings { packs: Some(2), instances: vec![1, 2], ..Settings::default() });
    assert_eq!(bus.say(0x1_F214, 0x46, battery(0)), [], "the battery for starting");
    assert_eq!(number(&bus.say(0x1_F214, 0x46, battery(2)), 1, Q::PackVoltage, 0), 13.3);
    assert!(remarks(&bus).contains("nothing is heard here of pack 1 (instance 1)"), "{}", remarks(&bus));
    assert_eq!(number(&bus.say(0x1_F214, 0x46, battery(1)), 0, Q::PackVoltage, 0), 13.3);
    let told = remarks(&bus);
    assert!(told.contains("heard and not read, since no [[pack]] of the bank file names them: 0"), "{told}");
    assert!(!told.contains("nothing is heard"), "{told}");
    let mut bus = Bus::new(Settings { packs: Some(1), instances: vec![1], ..Settings::default() });
    assert_eq!(bus.say(0x1_F214, 0x46, battery(0)), []);
    assert_eq!(number(&bus.say(0x1_F214, 0x46, battery(1)), 0, Q::PackVoltage, 0), 13.3, "the house bank");
}

#[test]
fn where_a_value_of_a_standard_comes_from_names_the_bytes_that_say_whose_it_is() {
    let mut bus = Bus::found();
    bus.say(0x1_FFFD, 0x46, source(1, 120));
    let origins = bus.decoder.origins();
    let cell = origins.iter().flat_map(|map| map.iter()).find(|origin| origin.slot.quantity == Q::CellVoltage);
    let from = &cell.expect("cell detail").from;
    assert!(
        from.ends_with("battery by 8 bits from bit 0, module by 8 bits from bit 8, cell by 8 bits from bit 16"),
        "{from}"
    );
}

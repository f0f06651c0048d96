//! What a standard sends only when a device asks: that it stops says nothing.

use super::bus::id;
use super::encoder::{cell_detail, rv_c_1, rv_c_2};
use cellwright::model::{Bank, Body, Frame, Input, Snapshot, Stamp};
use cellwright::pipeline::{Pipeline, Setup};

const START: i64 = 1_768_435_200;

/// A pack of four cells on RV-C: the source speaks until `source`, somebody asks for the cells until `cells`, seconds.
fn heard(source: i64, cells: i64, until: i64) -> Snapshot {
    let mut bank = Bank::default();
    bank.pack_mut(0).expect("the first").cells = Some(4);
    let mut pipeline = Pipeline::new(Setup { bank: Some(bank), ..Setup::default() });
    let mut push = |second: i64, group: u32, data: [u8; 8]| {
        let frame = Frame::extended(id(6, group, 0x46), data);
        pipeline.push(&Input { stamp: Stamp::from_secs(START + second), body: Body::Frame(frame) });
    };
    for second in 0..until {
        if second < source {
            push(second, 0x1_FFFD, rv_c_1(1, 120, Some(13.2), Some(-5.0)));
            push(second, 0x1_FFFC, rv_c_2(1, 120, Some(20.0), Some(0.6)));
        }
        if second < cells && second % 5 == 0 {
            (1..=4).for_each(|cell| push(second, 0x1_FDDD, cell_detail(1, cell, Some(3.3), None, None)));
        }
    }
    pipeline.advance(Stamp::from_secs(START + until));
    pipeline.snapshot()
}

fn stale(snapshot: &Snapshot) -> Vec<String> {
    let stale = snapshot.findings.iter().filter(|found| found.code == "stale-data");
    stale.map(|found| found.text.clone()).collect()
}

#[test]
fn cells_that_nobody_asks_for_any_longer_are_no_finding_and_no_longer_known() {
    let snapshot = heard(600, 300, 600);
    assert_eq!(stale(&snapshot), [""; 0]);
    assert!(
        snapshot.packs[0].cells.iter().all(|cell| cell.voltage.now().is_none()),
        "an old number is not shown as now"
    );
    assert!(snapshot.verdict.text.contains("the cells are not seen"), "{}", snapshot.verdict.text);
}

#[test]
fn a_source_that_falls_silent_is_a_finding() {
    let snapshot = heard(300, 600, 600);
    assert_eq!(
        stale(&snapshot),
        [
            "The current, pack voltage of pack 1 have not been heard for 5 min.",
            "Sensor 1 of pack 1 has not been heard for 5 min."
        ]
    );
}

#[test]
fn a_pack_that_falls_silent_is_said_to_be_and_is_a_gap() {
    let snapshot = heard(300, 300, 600);
    assert!(stale(&snapshot)[0].starts_with("Pack 1 has not been heard"), "{:?}", stale(&snapshot));
    assert_eq!(snapshot.quality.gaps, 1);
}

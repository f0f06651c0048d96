use super::*;
use crate::bank::table::{Column, TimeColumn, TimeForm};
use crate::layout::own;
use crate::model::Quantity as Q;

fn column(heading: &str, slot: Slot) -> Column {
    Column { heading: heading.into(), slot, unit: None, scale: 1.0, offset: 0.0 }
}

fn cell(number: u8) -> Slot {
    Slot::at(0, Q::CellVoltage, number - 1)
}

fn table(form: TimeForm, columns: Vec<Column>) -> Table {
    Table { separator: None, decimal: None, time: TimeColumn { heading: "Time".into(), form }, zone: None, columns }
}

fn seconds() -> TimeForm {
    TimeForm::Count { per_second: 1.0, start: Stamp::from_secs(1_769_835_600) }
}

/// The described bank of the stories: four cells, 100 Ah.
fn bank() -> Bank {
    let mut bank = Bank::default();
    let pack = bank.pack_mut(0).unwrap();
    pack.cells = Some(4);
    pack.rated.capacity = Some(crate::unit::AmpHours::of(100.0));
    bank
}

/// A row: its moment and what its frames say, or why it gave nothing.
type Read = Result<(Stamp, Vec<(Slot, Value)>), Refusal>;

/// Every row: its moment and the values that its frames say, or why it gave nothing.
fn read(table: &Table, text: &str, zone: TimeZone) -> Vec<Read> {
    let map = own::compile();
    let mut lines = text.lines().map(str::as_bytes);
    let mut converter = Converter::new(table, &bank(), zone, lines.next().unwrap()).unwrap().expect("a heading");
    let rows = lines.map(|line| {
        let (mut moment, mut values) = (Stamp::MIN, Vec::new());
        converter.row(line, |stamp, frame| {
            moment = stamp;
            let Some(message) = map.find(frame.id) else { return };
            values.extend(
                map.values(message, &frame)
                    .filter(|(slot, value)| !slot.quantity.is_description() && *value != Value::Missing),
            );
        })?;
        Ok((moment, values))
    });
    rows.collect()
}

fn value(row: &Read, slot: Slot) -> Option<f64> {
    let (_, values) = row.as_ref().unwrap();
    values.iter().find_map(|(of, value)| match value {
        Value::Present(number) if *of == slot => Some((number * 1e4).round() / 1e4),
        _ => None,
    })
}

#[test]
fn a_table_as_a_spreadsheet_writes_it_where_the_decimal_mark_is_a_comma() {
    let columns = vec![
        column("Zelle 1", cell(1)),
        column("Strom", Slot::of(0, Q::Current)),
        column("Temp", Slot::at(0, Q::Temperature, 0)),
    ];
    let text = "\u{FEFF}Time [s];Zelle 1 (mV);Strom [A];Temp [°F];remark\n\
                0;3344,5;-12,25;50;\"a; b\"\n\
                1,5;;0;-;\n\
                1;3344;1;50;x\n\
                3;x;1;50;x\n\
                4;3345";
    let rows = read(&table(seconds(), columns), text, TimeZone::UTC);
    assert_eq!(value(&rows[0], cell(1)), Some(3.3445));
    assert_eq!(value(&rows[0], Slot::of(0, Q::Current)), Some(-12.25));
    assert_eq!(value(&rows[0], Slot::at(0, Q::Temperature, 0)), Some(10.0));
    assert_eq!(rows[1].as_ref().unwrap().0, Stamp::from_secs(1_769_835_601).plus_secs(0.5));
    assert_eq!(value(&rows[1], cell(1)), None, "an empty cell is missing, never zero");
    assert_eq!(value(&rows[1], Slot::of(0, Q::Current)), Some(0.0), "zero is a measured zero");
    assert_eq!(rows[2], Err(Refusal::TimeBack));
    let (_, values) = rows[3].as_ref().unwrap();
    assert!(values.iter().any(|(slot, value)| *slot == cell(1) && matches!(value, Value::Invalid(_))));
    assert_eq!(rows[4], Err(Refusal::FewColumns));
}

#[test]
fn a_heading_is_taken_whole_before_it_is_taken_without_its_brackets() {
    let columns = || vec![column("Temp (bow)", Slot::at(0, Q::Temperature, 0)), column("Cell 1", cell(1))];
    let of = |text: &str, mut columns: Vec<Column>| {
        columns[0].unit = Some("°C".into());
        let heading = text.lines().next().unwrap().as_bytes();
        Converter::new(&table(seconds(), columns.clone()), &bank(), TimeZone::UTC, heading)
            .map_err(|e| e.to_string())?;
        Ok::<_, String>(read(&table(seconds(), columns), text, TimeZone::UTC))
    };
    let rows = of("Time,Temp (stern),Temp (bow),Cell 1 [mV]\n0,11,22,3300", columns()).unwrap();
    assert_eq!(value(&rows[0], Slot::at(0, Q::Temperature, 0)), Some(22.0));
    assert_eq!(value(&rows[0], cell(1)), Some(3.3));
    assert!(of("Time,Temp (stern),Cell 1 [mV]\n", columns()).unwrap_err().contains("no column is headed 'Temp (bow)'"));
    for text in ["Time,Temp (bow),Cell 1 [V],Cell 1 [mV]\n", "Time,Temp (bow),Cell 1,cell 1\n"] {
        assert!(of(text, columns()).unwrap_err().starts_with("several columns are headed 'Cell 1': '"), "{text}");
    }
}

#[test]
fn words_in_brackets_behind_a_switch_are_no_unit() {
    let columns = vec![column("Heater", Slot::of(0, Q::HeaterOn))];
    let rows = read(&table(seconds(), columns), "Time,Heater (on/off)\n0,on\n1,off", TimeZone::UTC);
    assert_eq!([0, 1].map(|row| value(&rows[row], Slot::of(0, Q::HeaterOn))), [Some(1.0), Some(0.0)]);
}

#[test]
fn decimal_commas_between_commas_are_read_in_quotes_and_refused_without() {
    let columns = || vec![column("c", cell(1)), column("I", Slot::of(0, Q::Current))];
    let text = "Time,c,I\n0,\"3,301\",\"-5,2\"\n1,\"3,302\",-5\n2,3,302,-5,2\n3,\"3,3\",1,,";
    let told = Table { decimal: Some(','), separator: Some(','), ..table(seconds(), columns()) };
    for table in [table(seconds(), columns()), told] {
        let rows = read(&table, text, TimeZone::UTC);
        assert_eq!((value(&rows[0], cell(1)), value(&rows[0], Slot::of(0, Q::Current))), (Some(3.301), Some(-5.2)));
        assert_eq!(value(&rows[1], cell(1)), Some(3.302));
        assert_eq!(rows[2], Err(Refusal::ManyColumns), "a number was taken apart");
        assert_eq!(value(&rows[3], cell(1)), Some(3.3), "empty cells at the end are nothing");
    }
    // In mV three digits behind a comma may as well be thousands: what it is, another number must show.
    let mut millivolts = columns();
    millivolts[0].unit = Some("mV".into());
    let rows =
        read(&table(seconds(), millivolts), "Time,c,I\n0,\"3,301\",1\n1,\"3,301\",1.5\n2,3301,1.5", TimeZone::UTC);
    assert_eq!([0, 1, 2].map(|row| value(&rows[row], cell(1))), [None, None, Some(3.301)]);
}

#[test]
fn local_stamps_pass_through_the_hour_that_comes_twice() {
    let zone = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").expect("a rule of summer time");
    let form = TimeForm::Stamp { format: Some("%d.%m.%Y %H:%M".into()) };
    let text = "Time,V\n25.10.2026 01:30,13.2\n25.10.2026 02:30,13.2\n25.10.2026 02:30,13.2\n25.10.2026 02:15,13.2\n\
                25.10.2026 03:00,13.3\n31.13.2026 00:00,1";
    let columns = vec![column("V", Slot::of(0, Q::PackVoltage))];
    let rows = read(&table(form, columns), text, zone);
    let at = |row: usize| rows[row].as_ref().unwrap().0.to_string();
    assert_eq!(at(0), "2026-10-24T23:30:00.000000000Z");
    assert_eq!((at(1), at(2)), ("2026-10-25T00:30:00.000000000Z".into(), "2026-10-25T00:30:00.000000000Z".into()));
    assert_eq!(at(3), "2026-10-25T01:15:00.000000000Z", "the second time round");
    assert_eq!(at(4), "2026-10-25T02:00:00.000000000Z");
    assert_eq!(rows[5], Err(Refusal::BadTime));
}

#[test]
fn a_stamp_that_names_its_zone_needs_no_other() {
    let form = TimeForm::Stamp { format: None };
    let text = "Time,SOC (%),path\n2026-01-31T06:00:00+01:00,87,open\n2026-01-31 05:00:01,87.5,ON";
    let columns = vec![column("SOC", Slot::of(0, Q::ReportedSoc)), column("path", Slot::of(0, Q::ChargePath))];
    let rows = read(&table(form, columns), text, TimeZone::UTC);
    assert_eq!(rows[1].as_ref().unwrap().0.since(rows[0].as_ref().unwrap().0), 1.0);
    assert_eq!(value(&rows[0], Slot::of(0, Q::ReportedSoc)), Some(0.87));
    assert_eq!([0, 1].map(|row| value(&rows[row], Slot::of(0, Q::ChargePath))), [Some(0.0), Some(1.0)]);
}

#[test]
fn what_does_not_fit_is_said_with_what_there_is() {
    let error = |columns, heading: &str| {
        Converter::new(&table(seconds(), columns), &bank(), TimeZone::UTC, heading.as_bytes()).unwrap_err().to_string()
    };
    let volts = || vec![column("Cell 1", cell(1))];
    assert_eq!(error(volts(), "Time,Cell1"), "no column is headed 'Cell 1'; the headings are: 'Time', 'Cell1'");
    assert_eq!(
        error(volts(), "Time,Cell 1 (A)"),
        "column 'Cell 1 (A)': 'A' is no unit of cell_voltage; expected one of V, mV, kV. If it is no unit, say the unit in \
         the bank file: unit = \"…\" in its [[column]]"
    );
    let soc = vec![column("SOC", Slot::of(0, Q::ReportedSoc))];
    assert!(error(soc, "Time,SOC").contains("say whether it is in %"));
    let later = Converter::new(&table(seconds(), volts()), &bank(), TimeZone::UTC, b"Exported 2026-01-31").unwrap();
    assert!(later.is_none(), "a line before the heading");
}

#[test]
fn the_description_goes_out_with_the_first_row_and_again_after_ten_minutes() {
    let table = table(seconds(), vec![column("c", cell(1))]);
    let mut converter = Converter::new(&table, &bank(), TimeZone::UTC, b"Time,c").unwrap().unwrap();
    let mut said = crate::model::Bank::default();
    let map = own::compile();
    let counts = ["0,3.3", "1,3.3", "600,3.3"].map(|line| {
        let mut frames = 0;
        let row = converter.row(line.as_bytes(), |_, frame| {
            frames += 1;
            let Some(message) = map.find(frame.id) else { return };
            map.read(message, &frame, |slot, value| {
                said.describe(&crate::model::Reading { slot, value });
            });
        });
        row.unwrap();
        frames
    });
    assert_eq!(said, bank());
    assert_eq!((counts[0], counts[1]), (counts[2], 1));
}

proptest::proptest! {
    #[test]
    fn no_line_is_too_odd(line: Vec<u8>, heading in "Time[,;|\t]c[,;|\t\"a-z]{0,20}") {
        let table = table(seconds(), vec![column("c", cell(1))]);
        if let Ok(Some(mut converter)) = Converter::new(&table, &bank(), TimeZone::UTC, heading.as_bytes()) {
            let _ = converter.row(&line, |_, frame| assert_eq!(frame.len(), 8));
        }
    }
}

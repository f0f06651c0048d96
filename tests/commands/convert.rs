//! `convert`: from a spreadsheet's table to the verdict of a bank.

use crate::program::{Desk, cellwright};
use serde_json::Value;

/// An invented bank of four cells, and how its owner's table is laid out.
const BANK: &str = r#"
[[pack]]
cells = 4
capacity = 100
sensors = [{ role = "cell", cell = 1 }]

[table]
time = "Hora"
format = "%d/%m/%Y %H:%M:%S"
zone = "+01:00"

[[column]]
role = "cell-voltage"
number = "1..4"
heading = "Celda {1..4}"

[[column]]
role = "current"
heading = "Corriente"
current = "discharge-positive"

[[column]]
role = "temperature"
heading = "Temp"
"#;

/// Twenty minutes of charging with 40 A at -5 °C, a row in two seconds, as a spreadsheet with decimal commas writes it.
fn table() -> String {
    let mut text = "Exportado por mi barco\nHora;Celda 1 [mV];Celda 2 [mV];Celda 3 [mV];Celda 4 [mV];Corriente (A);Temp [°C];Nota\n".to_owned();
    for row in 0..600 {
        let (minute, second) = (row * 2 / 60, row * 2 % 60);
        text += &format!("31/01/2026 06:{minute:02}:{second:02};3352,5;3351;3353;3352;-40,2;-5,0;\"a; b\"\n");
    }
    text + "31/01/2026 06:21:00;;;;;;;\n31/01/2026 05:00:00;3352;3351;3353;3352;-40,2;-5,0;\nnada;1;1;1;1;1;1;\n"
}

#[test]
fn a_table_with_decimal_commas_and_local_time_is_judged_like_any_log() {
    let desk = Desk::new();
    let (bank, csv) = (desk.put("boat.toml", BANK), desk.put("winter.csv", table()));
    let ran = cellwright(&["convert", &csv, "--bank", &bank]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let said = "600 rows became ";
    assert!(ran.err.contains(said), "{}", ran.err);
    for refused in [
        "1 rows refused: the time cannot be read, first in line 605",
        "1 rows refused: the time runs backwards, first in line 604",
        "1 rows refused: no value in any column that is used, first in line 603",
    ] {
        assert!(ran.err.contains(refused), "{}", ran.err);
    }
    let log = desk.put("winter.log", ran.out);
    let checked = cellwright(&["check", "--format", "json", &log]);
    let report: Value = serde_json::from_str(&checked.out).unwrap();
    assert_eq!(checked.code, 1, "{}", checked.out);
    let found: Vec<_> = report["findings"].as_array().unwrap().iter().map(|finding| &finding["code"]).collect();
    assert_eq!(found, ["cold-charge"]);
    assert_eq!(report["input"]["first"], "2026-01-31T05:00:00Z", "the stamps were local");
    assert_eq!(report["findings"][0]["evidence"]["peak_a"], 40.2, "charging, though the table counts it negative");
    assert_eq!(report["input"]["invalid_values"], 0);
}

#[test]
fn what_is_missing_is_said_with_what_there_is() {
    let desk = Desk::new();
    let csv = desk.put("a.csv", "Time,Cell 1\n0,3.3\n");
    let bank = desk.put("boat.toml", BANK);
    let ran = cellwright(&["convert", &csv, "--bank", &bank]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("no line has a column headed 'Hora' for the time; its first line is: Time,Cell 1"),
        "{}",
        ran.err
    );
    let bare = desk.put("bare.toml", "[[pack]]\ncells = 4\n");
    assert!(cellwright(&["convert", &csv, "--bank", &bare]).err.contains("says nothing of a table"));
    let wrong = desk.put(
        "wrong.toml",
        "[table]\ntime = \"Time\"\ncount = \"hours\"\n\n[[column]]\nrole = \"cell-volts\"\nheading = \"Cell 1\"\n",
    );
    let err = cellwright(&["convert", &csv, "--bank", &wrong]).err;
    assert!(
        err.contains("line 3: count = 'hours': ")
            && err.contains("line 6: role = 'cell-volts': did you mean 'cell-voltage'?"),
        "{err}"
    );
}

#[test]
fn a_line_of_a_hundred_million_bytes_costs_a_row_and_no_memory() {
    let desk = Desk::new();
    let mut csv = b"Hora;Celda 1;Celda 2;Celda 3;Celda 4;Corriente;Temp [\xC2\xB0C]\n".to_vec();
    csv.extend(std::iter::repeat_n(b'1', 100_000_000));
    csv.extend(b"\n31/01/2026 06:00:00;3,3;3,3;3,3;3,3;1;20\n\x1b[31m\"");
    let (bank, csv) = (desk.put("boat.toml", BANK), desk.put("long.csv", csv));
    let ran = cellwright(&["convert", &csv, "--bank", &bank]);
    assert_eq!(ran.code, 0);
    assert!(ran.err.contains("1 rows became ") && ran.err.contains("2 rows refused: too long"), "{}", ran.err);
    assert!(!ran.err.contains('\u{1b}'));
}

#[test]
fn a_table_with_the_newest_row_first_is_no_log() {
    let desk = Desk::new();
    let bank = desk.put(
        "boat.toml",
        "[[pack]]\ncells = 4\n[table]\n[[column]]\nrole = \"cell-voltage\"\nnumber = 1\nheading = \"Cell 1\"\n",
    );
    for rows in [3, 5000] {
        let row = |row: i64| format!("2026-01-10 {:02}:{:02}:{:02},3.30\n", row / 3600, row / 60 % 60, row % 60);
        let text: String = (0..rows).rev().map(row).collect();
        let csv = desk.put("export.csv", format!("Time,Cell 1 [V]\n{text}"));
        let ran = cellwright(&["convert", &csv, "--bank", &bank]);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains("the table runs backwards in time"), "{}", ran.err);
        assert!(ran.err.contains("Sort it by its time, the oldest row first"), "{}", ran.err);
        assert!(ran.out.len() < 10_000, "given up soon");
    }
}

#[test]
fn what_a_table_became_is_judged_with_the_bank_file_of_the_table_whatever_else_that_says() {
    let desk = Desk::new();
    let more = "\n[[signal]]\nrole = \"pack-voltage\"\nid = \"123\"\nstart = 0\nlength = 16\nscale = 0.01\n";
    let text = format!("dialect = \"file\"\n{BANK}{more}");
    let (bank, csv) = (desk.put("boat.toml", text), desk.put("winter.csv", table()));
    let log = desk.put("winter.log", cellwright(&["convert", &csv, "--bank", &bank]).out);
    let checked = cellwright(&["check", "--format", "json", "--bank", &bank, &log]);
    let report: Value = serde_json::from_str(&checked.out).unwrap();
    let found: Vec<_> = report["findings"].as_array().unwrap().iter().map(|finding| &finding["code"]).collect();
    assert_eq!(found, ["cold-charge"], "{}", checked.out);
    assert_eq!(checked.code, 1);
    assert_eq!(report["input"]["never_sent"], serde_json::json!(["pack1_pack_voltage_v"]));
}

//! The days of a log, pack by pack: what was charged and drawn, between which voltages and temperatures, and for how long
//! next to no current flowed, by band of voltage.

use super::words::number;
use crate::model::Stamp;
use crate::model::day::{BAND_EDGES, BANDS, Day, PackDays};
use serde_json::{Value, json};
use std::fmt::Write;

/// A table of the days of every pack, for people.
#[must_use]
pub fn days_text(packs: &[PackDays]) -> String {
    let mut out = String::from("\nDay by day, UTC\n");
    for one in packs.iter().filter(|one| !one.days.is_empty()) {
        let title = format!("Pack {}", one.pack + 1);
        let _ = writeln!(out, "\n{title:<36}{:>44}", "hours at next to no current, from V a cell");
        let from: String = BAND_EDGES.iter().map(|edge| format!("{:>6}", number(*edge))).collect();
        let _ = writeln!(
            out,
            "{:<10}{:>7}{:>7}{:>7}{:>10}{:>10}{:>5}{from}",
            "day", "heard", "Ah in", "Ah out", "V a cell", "°C", "0"
        );
        one.days.iter().for_each(|day| row(&mut out, one, day));
    }
    if packs.iter().all(|pack| pack.days.is_empty()) {
        out += "  no cell voltage or charge was heard\n";
    }
    out
}

fn row(out: &mut String, pack: &PackDays, day: &Day) {
    let charge = |mah: u32| if day.has_current() { format!("{:.1}", ampere_hours(mah)) } else { "-".into() };
    let volts = day.cells.seen().map(|(low, high)| format!("{:.2}-{:.2}", volts(low), volts(high)));
    let celsius = day.celsius.seen().map(|(low, high)| format!("{low} to {high}"));
    let quiet = quiet(pack, day).map(|bands| bands.map(|hours| format!("{hours:.1}")));
    let [below, above @ ..] = quiet.unwrap_or_else(|| std::array::from_fn(|_| "-".into()));
    let above: String = above.iter().map(|hours| format!("{hours:>6}")).collect();
    let _ = writeln!(
        out,
        "{} {:>4.1} h{:>7}{:>7}{:>10}{:>10}{below:>5}{above}",
        date(day),
        hours(day.seen_s),
        charge(day.charged_mah),
        charge(day.drawn_mah),
        volts.unwrap_or_else(|| "-".into()),
        celsius.unwrap_or_else(|| "-".into()),
    );
}

/// The same for programs.
#[must_use]
pub fn days_json(packs: &[PackDays]) -> Value {
    let all = packs.iter().flat_map(|pack| pack.days.iter().map(move |day| (pack, day)));
    let object = |(pack, day): (&PackDays, &Day)| {
        let charge = |mah: u32| day.has_current().then(|| ampere_hours(mah));
        let (lowest, highest) = day.cells.seen().map(|(low, high)| (volts(low), volts(high))).unzip();
        let (coldest, warmest) = day.celsius.seen().unzip();
        json!({
            "pack": pack.pack + 1,
            "day": date(day),
            "heard_h": hours(day.seen_s),
            "charged_ah": charge(day.charged_mah),
            "drawn_ah": charge(day.drawn_mah),
            "lowest_cell_v": lowest,
            "highest_cell_v": highest,
            "coldest_c": coldest,
            "warmest_c": warmest,
            "quiet_h": quiet(pack, day),
        })
    };
    all.map(object).collect()
}

/// Hours at next to no current in each band of voltage, where that can be told.
fn quiet(pack: &PackDays, day: &Day) -> Option<[f64; BANDS]> {
    (pack.has_capacity && day.has_current()).then(|| day.quiet_s.map(hours))
}

fn date(day: &Day) -> String {
    let stamp = Stamp::from_secs(i64::from(day.day) * 86_400).to_string();
    stamp.split('T').next().unwrap_or_default().to_owned()
}

/// To a hundredth of an hour.
fn hours(secs: u32) -> f64 {
    (f64::from(secs) / 36.0).round() / 100.0
}

fn ampere_hours(mah: u32) -> f64 {
    f64::from(mah) / 1e3
}

fn volts(millivolts: u16) -> f64 {
    f64::from(millivolts) / 1e3
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::day::{Degrees, Millivolts};

    fn two_days() -> Vec<PackDays> {
        let first = Day {
            day: 20_454,
            seen_s: 86_400,
            quiet_s: [36_720, 11_160, 0, 0, 360],
            charged_mah: 41_234,
            drawn_mah: 138_040,
            cells: Millivolts { low: 3112, high: 3561 },
            celsius: Degrees { low: -12, high: 31 },
            ..Day::default()
        };
        let second = Day { day: 20_455, seen_s: 1800, ..Day::default() };
        let pack = |pack, days| PackDays { pack, has_capacity: true, days };
        vec![pack(0, vec![first, second]), pack(1, Vec::new())]
    }

    #[test]
    fn days_are_rows_within_eighty_columns_and_what_was_not_heard_is_a_dash() {
        let text = days_text(&two_days());
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
        insta::assert_snapshot!(text, @r"

        Day by day, UTC

        Pack 1                                hours at next to no current, from V a cell
        day         heard  Ah in Ah out  V a cell        °C    0   3.4 3.475  3.55  3.65
        2026-01-01 24.0 h   41.2  138.0 3.11-3.56 -12 to 31 10.2   3.1   0.0   0.0   0.1
        2026-01-02  0.5 h      -      -         -         -    -     -     -     -     -
        ");
        assert!(days_text(&[]).contains("no cell voltage or charge was heard"));
    }

    #[test]
    fn programs_read_the_same_and_null() {
        let days = days_json(&two_days());
        assert_eq!(days[0]["quiet_h"], json!([10.2, 3.1, 0.0, 0.0, 0.1]));
        assert_eq!((&days[0]["day"], &days[0]["drawn_ah"]), (&json!("2026-01-01"), &json!(138.04)));
        for name in ["charged_ah", "coldest_c", "quiet_h"] {
            assert_eq!(days[1][name], Value::Null, "{name}");
        }
        let unrated: Vec<PackDays> =
            two_days().into_iter().map(|pack| PackDays { has_capacity: false, ..pack }).collect();
        assert_eq!(days_json(&unrated)[0]["quiet_h"], Value::Null, "of which capacity would it be little?");
    }
}

//! The sentences that go with every verdict: how far it sees, and what it does not see at all.

use super::words::moment;
use crate::model::{Level, Snapshot};

/// What no verdict of this program covers.
pub const NOT_VISIBLE: &str =
    "Not visible here: swelling, smell, gas, insulation, connections outside the measured path.";
/// What this program is not.
pub const NOT_A_PROTECTION: &str = "A monitor, not a protection device: it does not replace BMS, fuses and disconnects. Estimates of ageing are comparisons.";

/// How far the verdict sees, as in 'Within limits, as far as 4 cells and 2 sensors show; last heard …'.
///
/// It says 'within limits' only when nothing worse than a notice was found and everything that should be known is.
#[must_use]
pub fn scope(snapshot: &Snapshot) -> String {
    let Some(last) = snapshot.quality.last else { return "Nothing was heard, so nothing was judged.".to_owned() };
    let opening = match snapshot.verdict.level {
        Level::Well => "Within limits, as far as",
        Level::Notice => "Within limits but for the notices, as far as",
        Level::NotKnown | Level::Warning | Level::Urgent => "This is as far as",
    };
    format!("{opening} {}; last heard {} UTC.", seen(snapshot), moment(last))
}

/// Who shows what is known: 'N cells and M sensors show', or the stated substitute.
fn seen(snapshot: &Snapshot) -> String {
    let packs = &snapshot.packs;
    let cells = packs.iter().flat_map(|pack| &pack.cells).filter(|cell| cell.voltage.value.is_some()).count();
    let sensors = packs.iter().flat_map(|pack| &pack.sensors).filter(|sensor| sensor.value.is_some()).count();
    let sensors = many(sensors, "sensor");
    if cells > 0 {
        return format!("{} and {sensors} show", many(cells, "cell"));
    }
    let pack_voltage = packs.iter().any(|pack| pack.pack_voltage.value.or(pack.bus_voltage.value).is_some());
    let current = packs.iter().any(|pack| pack.current.value.is_some()) || snapshot.bank_current.value.is_some();
    let mut by = Vec::new();
    if pack_voltage || snapshot.bank_voltage.value.is_some() {
        by.push("pack voltage".to_owned());
    }
    if current {
        by.push("current".to_owned());
    }
    by.push(sensors);
    let last = by.pop().unwrap_or_default();
    let by = if by.is_empty() { last } else { format!("{} and {last}", by.join(", ")) };
    format!("{by} show; the cells are not seen")
}

fn many(number: usize, what: &str) -> String {
    match number {
        0 => format!("no {what}s"),
        1 => format!("1 {what}"),
        _ => format!("{number} {what}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Stamp;
    use crate::model::snapshot::{CellView, PackView, Shown, Standing};

    fn some(value: f64) -> Shown {
        Shown { value: Some(value), standing: Standing::Present, ..Shown::default() }
    }

    fn heard_at(secs: i64, pack: PackView) -> Snapshot {
        let mut snapshot = Snapshot { packs: vec![pack], ..Snapshot::default() };
        snapshot.quality.last = Some(Stamp::from_secs(secs));
        snapshot.verdict.level = Level::Well;
        snapshot
    }

    #[test]
    fn a_verdict_says_how_many_cells_and_sensors_it_rests_on() {
        let cell = CellView { voltage: some(3.3), ..CellView::default() };
        let cells = vec![cell.clone(), cell, CellView::default()];
        let pack = PackView { cells, sensors: vec![some(21.0)], ..PackView::default() };
        assert_eq!(
            scope(&heard_at(1_769_835_600, pack)),
            "Within limits, as far as 2 cells and 1 sensor show; last heard 2026-01-31 05:00:00 UTC."
        );
    }

    #[test]
    fn without_cells_it_names_the_substitute() {
        let pack = PackView { pack_voltage: some(13.2), current: some(-2.0), ..PackView::default() };
        assert_eq!(
            scope(&heard_at(1_769_835_600, pack)),
            "Within limits, as far as pack voltage, current and no sensors show; the cells are not seen; \
             last heard 2026-01-31 05:00:00 UTC."
        );
    }

    #[test]
    fn what_is_not_known_is_never_called_within_limits() {
        assert_eq!(scope(&Snapshot::default()), "Nothing was heard, so nothing was judged.");
        let mut snapshot = heard_at(0, PackView::default());
        snapshot.verdict.level = Level::NotKnown;
        assert!(scope(&snapshot).starts_with("This is as far as no sensors show"));
    }
}

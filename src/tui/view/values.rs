//! Every value of the open pack and of the bank, with its lowest and highest since the start.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{DASH, cut, left, near, number, right, why_none, wrap};
use crate::model::snapshot::{PackView, Shown};
use crate::model::{Estimate, figure};
use ratatui::text::Line;

/// The pane.
pub(super) fn all(app: &App, width: usize) -> Vec<Line<'static>> {
    let mut table = Table { app, width, lines: Vec::new() };
    let many = app.snapshot.packs.len();
    if let Some(pack) = app.snapshot.packs.get(app.open_pack) {
        let of = if many > 1 { format!(" of {many}; tab opens the next") } else { String::new() };
        table.head(&format!("Pack {}{of}", app.open_pack + 1));
        table.pack(pack);
    }
    table.head("Bank");
    table.row("current over the bank's shunt", &app.snapshot.bank_current, "A", 1);
    table.row("voltage of the bank's bus", &app.snapshot.bank_voltage, "V", 2);
    for (index, source) in app.snapshot.sources.iter().enumerate() {
        table.row(&format!("source {}: {}, {}", index + 1, source.kind, source.state), &source.current, "A", 1);
        table.row("  could give", &source.offer, "A", 1);
    }
    if !app.snapshot.estimates.is_empty() {
        let title = cut(" Estimates, of now unless another time is told", width);
        table.lines.extend([Line::default(), Line::styled(title, app.theme.style(Role::Strong))]);
    }
    let (unknown, known): (Vec<&Estimate>, Vec<&Estimate>) =
        app.snapshot.estimates.iter().partition(|estimate| estimate.says_nothing());
    for estimate in known.into_iter().chain(unknown) {
        table.estimate(estimate);
    }
    table.lines
}

struct Table<'a> {
    app: &'a App,
    width: usize,
    lines: Vec<Line<'static>>,
}

impl Table<'_> {
    /// Whether only the value of now has room.
    fn is_narrow(&self) -> bool {
        self.width < 69
    }

    /// Columns of the names when it has.
    fn label(&self) -> usize {
        self.width.saturating_sub(11)
    }

    fn head(&mut self, text: &str) {
        if !self.lines.is_empty() {
            self.lines.push(Line::default());
        }
        let text = match self.is_narrow() {
            true => format!(" {}{:>10}", left(text, self.label()), "now"),
            false => format!(" {text:<36}{:>10} {:>10} {:>10}", "now", "lowest", "highest"),
        };
        self.lines.push(Line::styled(cut(&text, self.width), self.app.theme.style(Role::Strong)));
    }

    fn row(&mut self, what: &str, shown: &Shown, unit: &str, digits: usize) {
        let one = |value: Option<f64>| value.map_or(DASH.to_owned(), |v| format!("{} {unit}", number(v, digits)));
        let why = why_none(shown);
        let role = if why.is_some() { Role::Quiet } else { Role::Plain };
        if self.is_narrow() {
            let now = why.unwrap_or_else(|| one(shown.value));
            let text = format!(" {}{}", left(what, self.label()), right(&now, 10));
            return self.lines.push(Line::styled(text, self.app.theme.style(role)));
        }
        let text = format!(
            " {:<36}{:>10} {:>10} {:>10}  {}",
            cut(what, 36),
            one(shown.value),
            one(shown.lowest),
            one(shown.highest),
            why.unwrap_or_default()
        );
        self.lines.push(Line::styled(cut(&text, self.width), self.app.theme.style(role)));
    }

    fn pack(&mut self, pack: &PackView) {
        for (index, cell) in pack.cells.iter().enumerate() {
            self.row(&format!("cell {}", index + 1), &cell.voltage, "V", 3);
        }
        let spec = self.app.snapshot.bank.packs.get(self.app.open_pack);
        for (index, sensor) in pack.sensors.iter().enumerate() {
            let place = spec.and_then(|s| s.sensors.get(index)).copied().unwrap_or_default();
            let at = place.cell.map_or(String::new(), |c| format!(" at cell {}", c + 1));
            self.row(&format!("sensor {}: {}{at}", index + 1, place.role.word()), sensor, "°C", 1);
        }
        self.row("pack voltage, cells' side", &pack.pack_voltage, "V", 2);
        self.row("voltage beyond the BMS", &pack.bus_voltage, "V", 2);
        self.row("current, charging positive", &pack.current, "A", 1);
        let percent = |value: Option<f64>| value.map(|fraction| fraction * 100.0);
        let soc = &pack.reported_soc;
        let soc =
            Shown { value: percent(soc.value), lowest: percent(soc.lowest), highest: percent(soc.highest), ..*soc };
        self.row("state of charge, as the pack says", &soc, "%", 0);
    }

    /// An estimate, in as many lines as it takes: a figure that is cut off is none.
    fn estimate(&mut self, estimate: &Estimate) {
        let (why, now) = (estimate.why.as_deref(), self.app.snapshot.now);
        let value = if estimate.says_nothing() {
            format!("not known: {}", why.unwrap_or("not enough data yet"))
        } else {
            let digits = figure(estimate.name).map_or(2, |figure| figure.digits);
            let as_of = estimate.earlier_than(now).map_or(String::new(), |at| format!(", as of {}", near(at, now)));
            let why = why.map_or(String::new(), |why| format!("; {why}"));
            format!("{}{as_of}{why}", estimate.figure(|value| number(value, digits)))
        };
        let role = if estimate.says_nothing() { Role::Quiet } else { Role::Plain };
        let words = figure(estimate.name).map_or(estimate.name, |figure| figure.words);
        let text = format!("{words}, {}: {value}", estimate.subject);
        for (at, line) in wrap(&text, self.width.saturating_sub(5), usize::MAX).into_iter().enumerate() {
            let indent = if at == 0 { " " } else { "     " };
            self.lines.push(Line::styled(format!("{indent}{line}"), self.app.theme.style(role)));
        }
    }
}

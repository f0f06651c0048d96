//! Where each value of the open pack and of the bank comes from, and what is promised and never sent.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{beside, cut};
use ratatui::text::Line;

/// Columns of the names, where the screen has them.
const LABEL: usize = 30;

/// The pane.
pub(super) fn all(app: &App, width: usize) -> Vec<Line<'static>> {
    let line = |text: &str, role| Line::styled(cut(text, width), app.theme.style(role));
    let mut lines = vec![line(" Where each value comes from", Role::Strong), Line::default()];
    let sources = app.snapshot.sources_of_values();
    let of_open = |pack: u8| usize::from(pack) == app.open_pack;
    for (slot, from) in sources.iter().filter(|(slot, _)| of_open(slot.pack)) {
        lines.extend(beside(&format!(" {slot}"), from, LABEL, width).into_iter().map(|text| line(&text, Role::Plain)));
    }
    if sources.is_empty() {
        lines.push(line(" Nothing has been read yet", Role::Quiet));
    }
    if !app.snapshot.never_sent.is_empty() {
        lines.extend([Line::default(), line(" Promised by the bank file and never sent", Role::Strong)]);
    }
    for slot in &app.snapshot.never_sent {
        lines.push(line(&format!(" {slot}"), Role::Plain));
    }
    lines
}

//! How good the data is: a line under the bank, and a pane of its own.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{beside, cut, minute, wrap};
use super::verdict::last_heard;
use crate::model::snapshot::Quality;
use ratatui::text::Line;

/// Columns of the names in the pane, where the screen has them.
const LABEL: usize = 39;

/// One line: how much was heard, and what was not.
pub(super) fn brief(app: &App, width: usize) -> Line<'static> {
    let quality = &app.snapshot.quality;
    let trouble = troubles(quality);
    let role = if trouble.is_empty() { Role::Quiet } else { Role::Plain };
    let mut parts = trouble;
    parts.push(format!("{} frames, {}", grouped(quality.frames), last_heard(app)));
    let judged = app.snapshot.not_judged.len();
    if judged > 0 {
        parts.push(format!("{judged} not judged: a says why"));
    }
    Line::styled(cut(&format!(" {}", parts.join(" · ")), width), app.theme.style(role))
}

fn troubles(quality: &Quality) -> Vec<String> {
    let rejected: u64 = quality.rejected.iter().map(|(_, count)| count).sum();
    let unknown = quality.frames.saturating_sub(quality.decoded);
    let mut parts = Vec::new();
    if quality.frames > 0 && quality.decoded == 0 {
        parts.push("none of them known".to_owned());
    } else if unknown > 0 {
        parts.push(format!("{} not known", grouped(unknown)));
    }
    for (count, word) in [
        (quality.lost, "lost"),
        (rejected, "rejected"),
        (quality.gaps, "gaps"),
        (quality.invalid_values, "bad values"),
        (quality.error_frames, "error frames"),
        (quality.clock_steps, "clock steps"),
        (quality.unrecorded, "not recorded"),
    ] {
        if count > 0 {
            parts.push(format!("{} {word}", grouped(count)));
        }
    }
    let down = quality.links.iter().filter(|(_, up, _)| !up).count();
    if down > 0 {
        parts.push(format!("{down} link down"));
    }
    parts
}

/// The pane.
pub(super) fn all(app: &App, width: usize) -> Vec<Line<'static>> {
    let quality = &app.snapshot.quality;
    let style = app.theme.style(Role::Plain);
    let quiet = app.theme.style(Role::Quiet);
    let mut lines = vec![Line::styled(" How good the data is", app.theme.style(Role::Strong)), Line::default()];
    let stamp = |stamp: Option<_>| stamp.map_or("—".to_owned(), minute);
    let rows = [
        ("first and last frame, UTC", format!("{} to {}", stamp(quality.first), stamp(quality.last))),
        ("frames", grouped(quality.frames)),
        ("of these known and decoded", grouped(quality.decoded)),
        ("lost on the way", grouped(quality.lost)),
        ("gaps in what should have come", grouped(quality.gaps)),
        ("values that say 'error' or cannot be", grouped(quality.invalid_values)),
        ("error frames of the bus", grouped(quality.error_frames)),
        ("steps of the clock", grouped(quality.clock_steps)),
        ("not kept by the recorder", grouped(quality.unrecorded)),
    ];
    for (what, value) in rows {
        let told = beside(&format!(" {what}"), &value, LABEL, width);
        lines.extend(told.into_iter().map(|text| Line::styled(text, style)));
    }
    lines.push(Line::default());
    for (_, text) in app.transport.live().into_iter().flat_map(|live| &live.links) {
        lines.extend(
            wrap(text, width.saturating_sub(2), 4).into_iter().map(|text| Line::styled(format!(" {text}"), style)),
        );
    }
    if quality.rejected.is_empty() {
        lines.push(Line::styled(" Nothing was rejected.", quiet));
    }
    for (reason, count) in &quality.rejected {
        let what = format!(" rejected: {}", reason.code().replace('_', " "));
        let told = beside(&what, &grouped(*count), LABEL, width);
        lines.extend(told.into_iter().map(|text| Line::styled(text, style)));
    }
    for (channel, up, state) in &quality.links {
        let state = state.map_or(String::new(), |s| format!(", controller {s:?}").to_lowercase());
        let text = format!(" link {:<33}{}{state}", channel + 1, if *up { "up" } else { "down" });
        lines.push(Line::styled(cut(&text, width), style));
    }
    for bus in &app.snapshot.buses {
        let text = format!("interface {} speaks {bus}", bus.channel + 1);
        for text in std::iter::once(&text).chain(&bus.remarks) {
            let wrapped = wrap(text, width.saturating_sub(2), usize::MAX);
            lines.extend(wrapped.into_iter().map(|text| Line::styled(format!(" {text}"), style)));
        }
    }
    for (at, note) in &app.snapshot.notes {
        for text in wrap(&format!("{} note: {note}", minute(*at)), width.saturating_sub(2), 4) {
            lines.push(Line::styled(format!(" {text}"), quiet));
        }
    }
    lines
}

/// A count with its thousands apart.
fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    #[test]
    fn thousands_stand_apart() {
        assert_eq!(super::grouped(0), "0");
        assert_eq!(super::grouped(999), "999");
        assert_eq!(super::grouped(1_234_567), "1 234 567");
    }
}

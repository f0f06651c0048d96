//! The keys and what the signs mean. The keys come from their table.

use super::super::app::App;
use super::super::keys::{Act, KEYS, Key};
use super::super::theme::Role;
use super::super::words::{cut, wrap};
use crate::model::limits::LimitId;
use ratatui::text::{Line, Span};

/// The pane.
pub(super) fn all(app: &App, width: usize) -> Vec<Line<'static>> {
    let strong = app.theme.style(Role::Strong);
    let mut lines = vec![Line::styled(" Keys", strong)];
    for key in KEYS {
        for (at, text) in wrap(key.does, width.saturating_sub(13), 3).into_iter().enumerate() {
            let label = if at == 0 { key.label } else { "" };
            lines.push(Line::from(vec![Span::styled(format!(" {label:<11}"), strong), Span::raw(text)]));
        }
    }
    lines.push(Line::default());
    lines.push(Line::styled(" Signs", strong));
    for text in signs(app) {
        lines.extend(wrap(&text, width.saturating_sub(2), 4).into_iter().map(|t| Line::raw(format!(" {t}"))));
    }
    lines
}

fn signs(app: &App) -> Vec<String> {
    let v = |limit| format!("{:.2} V", app.limits.get(limit));
    vec![
        "The ruler is narrow on the plateau, where voltage tells little, and wide at both ends.".into(),
        "A cell on the plateau is a mark. Above or below, a bar grows from the plateau's edge; the thin line is \
         where the cell has been since the start."
            .into(),
        format!(
            "Ticks: W below {} warning, n below {} notice, held high from {}, n above {} notice, W {} warning, U {} urgent.",
            v(LimitId::UndervoltageWarning),
            v(LimitId::UndervoltageNotice),
            v(LimitId::FloatHigh),
            v(LimitId::OvervoltageNotice),
            v(LimitId::OvervoltageWarning),
            v(LimitId::OvervoltageUrgent)
        ),
        "Hatching: no value, with the reason beside it. A broken stroke is a value that has grown old.".into(),
        "On the line of time: n, W, U are notices, warnings and urgent alerts.".into(),
        "Not visible here: swelling, smell, gas, insulation, connections outside the measured path. This is a \
         monitor, not a protection device; it does not replace BMS, fuses and disconnects."
            .into(),
    ]
}

/// The last line: the keys of this screen, as many as fit.
pub(super) fn last_line(app: &App, width: usize, in_pane: bool) -> Line<'static> {
    if let Some(entry) = &app.entry {
        return Line::styled(
            cut(&format!(" note: {entry}_   (enter keeps it, esc drops it)"), width),
            app.theme.style(Role::Strong),
        );
    }
    if let Some(remark) = &app.remark {
        return Line::styled(cut(&format!(" {remark}"), width), app.theme.style(Role::Strong));
    }
    let mut spans = vec![Span::raw(" ")];
    let mut used = 1;
    let mut keys: Vec<&Key> = KEYS.iter().filter(|key| stands_here(app, key, in_pane)).collect();
    if in_pane {
        // Where few fit, the way back is among them.
        keys.sort_by_key(|key| !matches!(key.act, Act::Help | Act::Quit | Act::Leave));
    }
    for key in keys {
        let short = short(app, key);
        let wide = key.label.chars().count() + short.chars().count() + 3;
        if used + wide > width {
            break;
        }
        spans.push(Span::styled(key.label, app.theme.style(Role::Strong)));
        spans.push(Span::styled(format!(" {short}  "), app.theme.style(Role::Quiet)));
        used += wide;
    }
    Line::from(spans)
}

fn stands_here(app: &App, key: &Key, in_pane: bool) -> bool {
    let is_live = app.transport.live().is_some();
    if in_pane {
        let pauses = key.act == Act::Pause && !is_live;
        return pauses || matches!(key.act, Act::Help | Act::Quit | Act::Leave | Act::Up | Act::Down);
    }
    let travels = matches!(key.act, Act::Pause | Act::NextAlert | Act::Faster | Act::Slower | Act::Step);
    let only_here = if is_live { !travels } else { !matches!(key.act, Act::Record | Act::Note) };
    only_here && !key.short.is_empty()
}

fn short(app: &App, key: &Key) -> &'static str {
    match key.act {
        Act::Pause if app.transport.ended => "from start",
        Act::Pause if app.transport.paused => "go on",
        Act::Leave => "back",
        Act::Up | Act::Down => "scroll",
        _ => key.short,
    }
}

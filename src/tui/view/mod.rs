//! The panes, stacked in the order of their importance. A pane gives lines of text and is told how many it may
//! take; so nothing can be drawn outside of the screen.

mod alerts;
mod cells;
mod data;
mod help;
mod origins;
mod packs;
mod questions;
mod ruler;
mod timeline;
mod values;
mod verdict;

#[cfg(test)]
mod tests;

use super::app::{App, Pane};
use super::theme::Role;
use super::transport::Origin;
use super::words::wrap;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::text::Line;

/// Below this the screen is a line or two.
const SMALLEST: (u16, u16) = (38, 10);

/// Draws the whole screen.
pub fn draw(app: &App, area: Rect, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    if width == 0 || height == 0 {
        return;
    }
    let screen = if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        tiny(app, width, height)
    } else {
        match app.pane {
            Pane::Bank => bank(app, width, height),
            Pane::Alerts => {
                let (lines, chosen) = alerts::all(app, width);
                pane(app, lines, chosen, width, height)
            }
            Pane::Values => pane(app, values::all(app, width), app.scroll, width, height),
            Pane::Origins => pane(app, origins::all(app, width), app.scroll, width, height),
            Pane::Questions => pane(app, questions::all(app, width), app.scroll, width, height),
            Pane::Data => pane(app, data::all(app, width), app.scroll, width, height),
            Pane::Help => pane(app, help::all(app, width), app.scroll, width, height),
        }
    };
    for (y, line) in (area.top()..area.bottom()).zip(&screen) {
        buffer.set_line(area.left(), y, line, area.width);
    }
    app.theme.simplify(buffer);
}

/// The verdict, and what the current does.
fn tiny(app: &App, width: usize, height: usize) -> Vec<Line<'static>> {
    let mut lines =
        if height < 4 { vec![verdict::one_line(app, width)] } else { verdict::lines(app, width, height / 2) };
    let rest = height.saturating_sub(lines.len());
    lines.extend(packs::now(app, width, rest));
    lines
}

/// A pane of its own under the verdict, scrolled so that line `from` is seen.
fn pane(app: &App, body: Vec<Line<'static>>, from: usize, width: usize, height: usize) -> Vec<Line<'static>> {
    let mut lines = verdict::lines(app, width, (height / 8).clamp(1, 3));
    lines.push(Line::default());
    let room = height.saturating_sub(lines.len() + 2);
    let from = from.min(body.len().saturating_sub(room));
    let below = body.len().saturating_sub(from + room);
    lines.extend(body.into_iter().skip(from).take(room));
    fill(&mut lines, height.saturating_sub(2));
    let more = if below > 0 { format!(" {below} lines below") } else { String::new() };
    lines.push(Line::styled(more, app.theme.style(Role::Quiet)));
    lines.push(help::last_line(app, width, true));
    lines
}

/// The bank: verdict, packs, what the current and the temperatures do, cells, findings, data, time, keys.
fn bank(app: &App, width: usize, height: usize) -> Vec<Line<'static>> {
    let bottom = bottom(app, width, height);
    let room = height.saturating_sub(bottom.len());
    let mut blocks = vec![verdict::lines(app, width, (height / 4).clamp(2, 5))];
    blocks.push(invented(app, width, height / 12));
    blocks.push(packs::lines(app, width, (height / 4).max(2)));
    let mut now = packs::now(app, width, if height < 16 { 1 } else { 3 });
    now.extend(packs::fine_now(app, width, if height < 16 { 1 } else { 2 }));
    blocks.push(now);
    let left = |blocks: &[Vec<Line>]| room.saturating_sub(blocks.iter().map(Vec::len).sum());
    let found = app.snapshot.findings.len();
    let for_alerts = if found == 0 { 0 } else { (left(&blocks) / 3).min(3 + found) };
    let rows = left(&blocks).saturating_sub(for_alerts);
    blocks.push(cells::lines(app, width, rows));
    let rows = left(&blocks);
    blocks.push(alerts::brief(app, width, rows.saturating_sub(usize::from(rows > 6))));
    let mut lines = stacked(blocks, room);
    fill(&mut lines, room);
    lines.extend(bottom);
    lines
}

/// What is always at the bottom, as much as the height allows.
fn bottom(app: &App, width: usize, height: usize) -> Vec<Line<'static>> {
    let mut lines = Vec::new();
    if height >= 14 {
        lines.push(data::brief(app, width));
    }
    lines.extend(timeline::lines(
        app,
        width,
        if height >= 20 {
            3
        } else if height >= 16 {
            2
        } else {
            1
        },
    ));
    if height >= 12 || app.remark.is_some() {
        lines.push(help::last_line(app, width, false));
    }
    lines
}

/// A bank that is not real says so.
fn invented(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let Origin::Invented { name, about } = &app.transport.origin else { return Vec::new() };
    let about = if rows > 2 { format!(". {about}.") } else { String::new() };
    let text = format!("Not a real bank: invented and simulated ({name}){about}");
    let style = app.theme.style(Role::Quiet);
    wrap(&text, width.saturating_sub(2), rows).into_iter().map(|t| Line::styled(format!(" {t}"), style)).collect()
}

/// Blocks one under another, with an empty line between them while there is room.
fn stacked(blocks: Vec<Vec<Line<'static>>>, room: usize) -> Vec<Line<'static>> {
    let blocks: Vec<_> = blocks.into_iter().filter(|block| !block.is_empty()).collect();
    let mut spare = room.saturating_sub(blocks.iter().map(Vec::len).sum());
    let mut lines = Vec::new();
    for (at, block) in blocks.into_iter().enumerate() {
        if at > 0 && spare > 0 {
            lines.push(Line::default());
            spare -= 1;
        }
        lines.extend(block);
    }
    lines.truncate(room);
    lines
}

fn fill(lines: &mut Vec<Line<'static>>, to: usize) {
    lines.truncate(to);
    lines.resize_with(to, Line::default);
}

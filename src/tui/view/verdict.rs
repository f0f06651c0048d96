//! The verdict in words, on top of everything.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{cut, near, wrap};
use crate::model::Level;
use ratatui::text::{Line, Span};

/// Below this width the sentence goes on under the word of its level.
const NARROW: usize = 60;

/// The word of a level as it stands before the sentence.
pub(super) const fn badge(level: Level) -> &'static str {
    match level {
        Level::Well => "WELL",
        Level::Notice => "NOTICE",
        Level::NotKnown => "NOT KNOWN",
        Level::Warning => "WARNING",
        Level::Urgent => "URGENT",
    }
}

/// The verdict: level and sentence, then what to do; at most `rows` lines.
pub(super) fn lines(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let verdict = &app.snapshot.verdict;
    let theme = &app.theme;
    let word = format!(" {} ", badge(verdict.level));
    let long = word.chars().count() + 1;
    let indent = if width < NARROW { 1 } else { long };
    let room = width.saturating_sub(indent);
    let for_action = usize::from(!verdict.what_to_do.is_empty() && rows > 1);
    let mut lines = Vec::new();
    // The word of the level takes its place in the first line.
    let text = format!("{}{}", "_".repeat(long - indent), verdict.text);
    for (at, text) in wrap(&text, room, rows.saturating_sub(for_action).max(1)).into_iter().enumerate() {
        let (lead, text) = if at == 0 {
            let text = text.get(long - indent..).unwrap_or_default().to_owned();
            (Span::styled(word.clone(), theme.style(Role::Badge(verdict.level))), text)
        } else {
            (Span::raw(" ".repeat(indent - 1)), text)
        };
        lines.push(Line::from(vec![
            lead,
            Span::raw(" "),
            Span::styled(text, theme.style(Role::Sentence(verdict.level))),
        ]));
    }
    for text in wrap(&verdict.what_to_do, room, rows.saturating_sub(lines.len())) {
        let strong = if verdict.level > Level::Notice { Role::Strong } else { Role::Quiet };
        lines.push(Line::from(vec![Span::raw(" ".repeat(indent)), Span::styled(text, theme.style(strong))]));
    }
    lines.truncate(rows);
    lines
}

/// What stands when there is room for a line or two only.
pub(super) fn one_line(app: &App, width: usize) -> Line<'static> {
    let verdict = &app.snapshot.verdict;
    let text = format!("{} {}", badge(verdict.level), verdict.text);
    Line::styled(cut(&text, width), app.theme.style(Role::Sentence(verdict.level)))
}

/// When the newest frame came.
pub(super) fn last_heard(app: &App) -> String {
    match app.snapshot.quality.last {
        Some(last) => format!("last heard {}", near(last, app.snapshot.now)),
        None => "nothing heard yet".to_owned(),
    }
}

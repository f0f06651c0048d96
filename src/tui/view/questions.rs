//! The questions that technicians ask: first those that the data answers, then those that it does not, with the reason.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::wrap;
use ratatui::text::Line;

/// Columns before an answer.
const INDENT: usize = 3;

/// The pane.
pub(super) fn all(app: &App, width: usize) -> Vec<Line<'static>> {
    let mut lines = vec![Line::styled(" What technicians ask", app.theme.style(Role::Strong)), Line::default()];
    let mut put = |text: &str, indent: usize, role: Role| {
        let room = width.saturating_sub(indent + 1);
        let wrapped = wrap(text, room, usize::MAX).into_iter();
        lines.extend(wrapped.map(|text| Line::styled(format!("{}{text}", " ".repeat(indent)), app.theme.style(role))));
    };
    let answers = &app.snapshot.answers;
    for answered in answers {
        let Some(answer) = &answered.answer else { continue };
        put(answered.question, 1, Role::Strong);
        put(answer, INDENT, Role::Plain);
        if let Some(open) = answered.open() {
            put(&format!("Open: {open}"), INDENT, Role::Quiet);
        }
    }
    for answered in answers.iter().filter(|answered| answered.answer.is_none()) {
        put(answered.question, 1, Role::Plain);
        let open = answered.open().unwrap_or_else(|| "the data does not tell.".into());
        put(&format!("No answer: {open}"), INDENT, Role::Quiet);
    }
    if answers.is_empty() {
        put("Nothing has been heard that could answer one.", 1, Role::Quiet);
    }
    lines
}

//! Findings: what, since when, on which evidence, what to do, and the caution that goes with it.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{cut, fact, near, wrap};
use crate::model::{Finding, Level, span};
use ratatui::text::{Line, Span};

/// Under the bank: the chosen finding with its evidence, the others as a line each.
pub(super) fn brief(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let findings = &app.snapshot.findings;
    let Some(chosen) = app.chosen_index() else { return Vec::new() };
    let others = findings.len() - 1;
    let for_others = others.min(rows / 3);
    let mut lines = Vec::new();
    let before = chosen.min(for_others.saturating_sub(usize::from(chosen + 1 < findings.len())));
    let from = chosen - before;
    for (at, finding) in findings.iter().enumerate().skip(from).take(for_others + 1) {
        if at == chosen {
            let room = rows.saturating_sub(for_others).saturating_sub(usize::from(others > for_others && rows > 6));
            lines.extend(full(app, finding, width, room, says_the_verdict(app, finding)));
        } else {
            lines.push(title(app, finding, width));
        }
    }
    if others > for_others && lines.len() < rows {
        let text = format!("           {} more: a shows all", others - for_others);
        lines.push(Line::styled(cut(&text, width), app.theme.style(Role::Quiet)));
    }
    lines
}

/// All of them in full, then what could not be judged.
pub(super) fn all(app: &App, width: usize) -> (Vec<Line<'static>>, usize) {
    let mut lines = Vec::new();
    let mut at_chosen = 0;
    for (at, finding) in app.snapshot.findings.iter().enumerate() {
        if Some(at) == app.chosen_index() {
            at_chosen = lines.len();
        }
        lines.extend(full(app, finding, width, usize::MAX, false));
        lines.push(Line::default());
    }
    if app.snapshot.findings.is_empty() {
        lines.push(Line::raw(" Nothing found so far."));
        lines.push(Line::default());
    }
    let quiet = app.theme.style(Role::Quiet);
    if !app.snapshot.not_judged.is_empty() {
        lines.push(Line::styled(" Not judged", app.theme.style(Role::Strong)));
    }
    for one in &app.snapshot.not_judged {
        for text in wrap(&format!("{} of {}: {}", one.code, one.subject, one.why), width.saturating_sub(2), 3) {
            lines.push(Line::styled(format!(" {text}"), quiet));
        }
    }
    (lines, at_chosen)
}

/// Its sentence stands on top already.
fn says_the_verdict(app: &App, finding: &Finding) -> bool {
    app.snapshot.verdict.text == finding.text && app.snapshot.verdict.what_to_do == finding.what_to_do
}

/// Sentence, evidence, what to do, caution, code. `told`: the verdict says the sentence and what to do already.
fn full(app: &App, finding: &Finding, width: usize, rows: usize, told: bool) -> Vec<Line<'static>> {
    let theme = &app.theme;
    let level = Level::from(finding.severity);
    let indent = 11;
    let room = width.saturating_sub(indent + 1);
    let mut lines = Vec::new();
    let role = if finding.active { Role::Sentence(level) } else { Role::Plain };
    let first = if told { when(app, finding) } else { finding.text.clone() };
    let role = if told { Role::Plain } else { role };
    for (at, text) in wrap(&first, room, 4).into_iter().enumerate() {
        let lead = if at == 0 { lead(app, finding) } else { Span::raw(" ".repeat(indent)) };
        lines.push(Line::from(vec![lead, Span::styled(text, theme.style(role))]));
    }
    let mut put = |text: &str, role: Role| {
        for text in wrap(text, room, 6) {
            lines.push(Line::styled(format!("{}{text}", " ".repeat(indent)), theme.style(role)));
        }
    };
    if !told {
        put(&when(app, finding), Role::Quiet);
        put(&format!("Do: {}", finding.what_to_do), Role::Plain);
    }
    if !finding.caution.is_empty() {
        put(&format!("Caution: {}", finding.caution), Role::Plain);
    }
    put(&format!("{} · limit: {}", finding.code, finding.source), Role::Quiet);
    lines.truncate(rows);
    lines
}

fn title(app: &App, finding: &Finding, width: usize) -> Line<'static> {
    let role = if finding.active { Role::Plain } else { Role::Quiet };
    let text = cut(&finding.text, width.saturating_sub(12));
    Line::from(vec![lead(app, finding), Span::styled(text, app.theme.style(role))])
}

fn lead(app: &App, finding: &Finding) -> Span<'static> {
    let chosen = app.chosen_finding().is_some_and(|f| f.rule == finding.rule && f.subject == finding.subject);
    let several = app.snapshot.findings.len() > 1;
    let sign = if chosen && several { '▸' } else { ' ' };
    let word = if finding.active { finding.severity.word() } else { "past" };
    let role = if finding.active { Role::Sign(Level::from(finding.severity)) } else { Role::Quiet };
    Span::styled(format!("{sign}{word:<9} "), app.theme.style(role))
}

/// Since when, how long, how often, and the figures.
fn when(app: &App, finding: &Finding) -> String {
    let now = app.snapshot.now;
    let mut parts = vec![if finding.active {
        format!("since {}", near(finding.first, now))
    } else {
        format!("{} to {}", near(finding.first, now), near(finding.last, now))
    }];
    if finding.total_secs >= 1.0 {
        parts.push(format!("met for {}", span(finding.total_secs)));
    }
    if finding.episodes > 1 {
        parts.push(format!("{} times", finding.episodes));
    }
    parts.extend(finding.evidence.0.iter().filter_map(|(name, value)| fact(*name, *value)));
    if finding.acknowledged {
        parts.push("seen".to_owned());
    }
    parts.join(" · ")
}

//! Time is a place: the whole log as one line, alerts as marks on it, where we are and how fast.

use super::super::app::App;
use super::super::theme::Role;
use super::super::transport::{Live, Origin, Scan, Transport};
use super::super::words::{cut, minute, near};
use super::verdict::badge;
use crate::model::{Level, Severity};
use ratatui::text::{Line, Span};

/// The line, and above it where we are and what is known of the whole; at most `rows` lines.
pub(super) fn lines(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    if let Some(live) = app.transport.live() {
        return self::live(app, live, width, rows);
    }
    let mut lines = Vec::new();
    if rows >= 3 {
        lines.push(whole(app, width));
    }
    if rows >= 2 {
        lines.push(place(app, width));
    }
    if rows >= 1 {
        lines.push(bar(app, width));
    }
    lines
}

/// A live run: the sources, those that deliver nothing first, and under them the time and where it is recorded.
fn live(app: &App, live: &Live, width: usize, rows: usize) -> Vec<Line<'static>> {
    let at = app.transport.at.map_or("nothing heard yet".to_owned(), |at| format!("{} UTC", with_seconds(at)));
    let recording = live.recording.as_ref().map_or("not recorded".to_owned(), |file| format!("recorded in {file}"));
    let mut links: Vec<_> = live.links.iter().filter(|(_, text)| !text.is_empty()).collect();
    links.sort_by_key(|(up, _)| *up);
    let style = |up: bool| app.theme.style(if up { Role::Quiet } else { Role::Strong });
    let mut lines: Vec<_> = links
        .into_iter()
        .take(rows.saturating_sub(1))
        .map(|(up, text)| Line::styled(cut(&format!(" {text}"), width), style(*up)))
        .collect();
    lines.push(Line::styled(cut(&format!(" {at} · live, {recording}"), width), app.theme.style(Role::Plain)));
    lines
}

fn place(app: &App, width: usize) -> Line<'static> {
    let transport = &app.transport;
    let at = transport.at.map_or("not started".to_owned(), |at| format!("{} UTC", with_seconds(at)));
    let mut parts = vec![at, motion(transport)];
    if let Origin::Log(name) = &transport.origin {
        parts.push(name.clone());
    }
    Line::styled(cut(&format!(" {}", parts.join(" · ")), width), app.theme.style(Role::Plain))
}

fn with_seconds(at: crate::model::Stamp) -> String {
    let text = format!("{at:.0}");
    text.get(..19).map_or(text.clone(), |t| t.replace('T', " "))
}

/// Whether and how fast it plays.
pub(super) fn motion(transport: &Transport) -> String {
    if let Some(trouble) = &transport.trouble {
        return format!("stopped: {trouble}");
    }
    let speed = transport.pace();
    match (transport.seeking, transport.ended, transport.paused) {
        (true, ..) => "on the way".to_owned(),
        (_, true, _) => "at the end".to_owned(),
        (_, _, true) => format!("held; plays {speed}"),
        _ => format!("playing {speed}"),
    }
}

/// The verdict over the whole log, or how far it has been read.
fn whole(app: &App, width: usize) -> Line<'static> {
    let (text, role) = match &app.transport.scan {
        Scan::Reading(share) => {
            let alerts = app.transport.marks.len();
            let so_far =
                if alerts > 0 { format!(", {alerts} alerts so far: n goes to the next") } else { String::new() };
            (format!("Reading to the end: {:.0} %{so_far}", share * 100.0), Role::Quiet)
        }
        Scan::Done(verdict) => {
            (format!("Whole log: {}. {}", badge(verdict.level).to_lowercase(), verdict.text), Role::Sign(verdict.level))
        }
        Scan::Failed(why) => (format!("The whole log could not be read: {why}"), Role::Strong),
    };
    Line::styled(cut(&format!(" {text}"), width), app.theme.style(role))
}

fn bar(app: &App, width: usize) -> Line<'static> {
    let transport = &app.transport;
    let first = transport.first.map_or(String::new(), minute);
    let last = transport.last.map_or(String::new(), |last| near(last, None));
    let ends = width >= 72 && !first.is_empty();
    let labels = if ends { first.len() + last.len() + 4 } else { 2 };
    let mut track = marks(app, width.saturating_sub(labels));
    if ends {
        let quiet = app.theme.style(Role::Quiet);
        track.insert(0, Span::styled(format!(" {first} "), quiet));
        track.push(Span::styled(format!(" {last} "), quiet));
    } else {
        track.insert(0, Span::raw(" "));
    }
    Line::from(track)
}

fn marks(app: &App, wide: usize) -> Vec<Span<'static>> {
    let transport = &app.transport;
    let column = |fraction: f64| ((fraction * wide as f64) as usize).min(wide.saturating_sub(1));
    let scanned = match transport.scan {
        Scan::Reading(share) => column(share),
        _ => wide,
    };
    let here = transport.at.and_then(|at| transport.fraction(at)).map(column);
    let mut track: Vec<(char, Role)> = (0..wide)
        .map(|at| match here {
            Some(here) if at < here => ('━', Role::Quiet),
            _ if at <= scanned => ('─', Role::Quiet),
            _ => ('·', Role::Quiet),
        })
        .collect();
    let mut worst: Vec<Option<Severity>> = vec![None; wide];
    for mark in &transport.marks {
        let place = transport.fraction(mark.raised).and_then(|f| worst.get_mut(column(f)));
        if let Some(place) = place {
            *place = (*place).max(Some(mark.severity()));
        }
    }
    for (place, severity) in track.iter_mut().zip(worst) {
        if let Some(severity) = severity {
            let sign = match severity {
                Severity::Notice => 'n',
                Severity::Warning => 'W',
                Severity::Urgent => 'U',
            };
            *place = (sign, Role::Sign(Level::from(severity)));
        }
    }
    if let Some(place) = here.and_then(|here| track.get_mut(here)) {
        let over_mark = place.0.is_ascii_alphabetic();
        *place = (if over_mark { place.0 } else { '┃' }, Role::Chosen);
    }
    track.into_iter().map(|(c, role)| Span::styled(c.to_string(), app.theme.style(role))).collect()
}

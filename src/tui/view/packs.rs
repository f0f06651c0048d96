//! What the current and the temperatures do, up to which current charging is fine now, and several packs as a
//! line each.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{DASH, amps, cut, left, motion, number, right, why_none, wrap};
use super::ruler::Ruler;
use crate::model::snapshot::{Motion, PackView, Shown};
use crate::model::{Level, SensorRole};
use ratatui::text::{Line, Span};

/// Voltage, current with its direction, temperatures, charge and switches of the open pack.
pub(super) fn now(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let Some(pack) = app.snapshot.packs.get(app.open_pack) else { return Vec::new() };
    let mut parts = vec![(motion(pack.motion, &pack.current), Role::Strong), (voltage(pack), Role::Plain)];
    if let Some(bank) = app.snapshot.bank_current.now().filter(|_| app.snapshot.packs.len() > 1) {
        parts.push((format!("bank {}", signed_words(bank)), Role::Plain));
    }
    parts.push((temperatures(app, pack), Role::Plain));
    parts.extend(charge(app, pack).map(|text| (text, Role::Plain)));
    parts.extend(switches(pack).into_iter().map(|text| (text.to_owned(), Role::Strong)));
    let mut lines = flow(app, parts, width);
    lines.truncate(rows);
    lines
}

/// Parts one after another, broken between parts only.
fn flow(app: &App, parts: Vec<(String, Role)>, width: usize) -> Vec<Line<'static>> {
    let mut lines: Vec<Vec<Span<'static>>> = vec![vec![Span::raw(" ")]];
    let mut used = 1;
    for (text, role) in parts {
        let text = cut(&text, width.saturating_sub(2));
        let wide = text.chars().count();
        if used > 1 && used + 3 + wide > width {
            lines.push(vec![Span::raw(" ")]);
            used = 1;
        }
        if let Some(line) = lines.last_mut() {
            if used > 1 {
                line.push(Span::styled(" · ", app.theme.style(Role::Quiet)));
                used += 3;
            }
            line.push(Span::styled(text, app.theme.style(role)));
        }
        used += wide;
    }
    lines.into_iter().map(Line::from).collect()
}

fn voltage(pack: &PackView) -> String {
    let sum: Option<f64> = pack.cells.iter().map(|cell| cell.voltage.now()).sum();
    match (pack.pack_voltage.now(), sum.filter(|_| !pack.cells.is_empty()), why_none(&pack.pack_voltage)) {
        (Some(volts), ..) => format!("{volts:.2} V"),
        (None, Some(volts), _) => format!("{volts:.2} V (sum of cells)"),
        (None, None, why) => format!("{DASH} V ({})", why.unwrap_or_default()),
    }
}

fn signed_words(current: f64) -> String {
    let word = if current > 0.0 { "charging" } else { "drawing" };
    format!("{word} {}", amps(current))
}

/// Coldest and hottest of the sensors that set limits, or what is there instead.
fn temperatures(app: &App, pack: &PackView) -> String {
    let role = |index: usize| {
        let spec = app.snapshot.bank.packs.get(app.open_pack)?;
        Some(spec.sensors.get(index)?.role)
    };
    let valid: Vec<(usize, f64, SensorRole)> = pack
        .sensors
        .iter()
        .enumerate()
        .filter_map(|(i, shown)| Some((i, shown.now()?, role(i).unwrap_or_default())))
        .collect();
    let limiting: Vec<&(usize, f64, SensorRole)> = valid.iter().filter(|(_, _, role)| role.sets_limits()).collect();
    let coldest = limiting.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    let hottest = limiting.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    match (coldest, hottest, valid.first()) {
        (Some(cold), Some(hot), _) if cold.0 == hot.0 => {
            format!("{} {} °C (sensor {})", cold.2.word(), number(cold.1, 1), cold.0 + 1)
        }
        (Some(cold), Some(hot), _) => {
            format!("coldest {} °C (sensor {}), hottest {} °C", number(cold.1, 1), cold.0 + 1, number(hot.1, 1))
        }
        (_, _, Some(other)) => format!("{} {} °C, no cell or case sensor", other.2.word(), number(other.1, 1)),
        _ => {
            let why = pack.sensors.iter().find_map(why_none).unwrap_or_else(|| "no sensor".to_owned());
            format!("temperature {DASH} ({why})")
        }
    }
}

/// State of charge with its bounds, beside what the pack says of itself.
fn charge(app: &App, pack: &PackView) -> Option<String> {
    let estimate = app.snapshot.estimates.iter().find(|estimate| {
        let here = estimate.subject.pack.is_none_or(|p| usize::from(p) == app.open_pack);
        here && estimate.name == "soc_percent"
    });
    let percent = |value: f64| number(value, 0);
    let ours = match estimate.map(|e| (e.value, e.low, e.high)) {
        Some((Some(value), Some(low), Some(high))) => {
            Some(format!("charge {} % ({} to {})", percent(value), percent(low), percent(high)))
        }
        Some((Some(value), ..)) => Some(format!("charge {} %", percent(value))),
        Some(_) => Some("charge not known yet".to_owned()),
        None => None,
    };
    let reported = pack.reported_soc.now().map(|soc| format!("pack says {} %", percent(soc * 100.0)));
    match (ours, reported) {
        (Some(ours), Some(reported)) => Some(format!("{ours}, {reported}")),
        (ours, reported) => ours.or(reported),
    }
}

fn switches(pack: &PackView) -> Vec<&'static str> {
    let s = &pack.switches;
    let mut words = Vec::new();
    for (is, word) in [
        (s.charge_path == Some(false), "charge path open"),
        (s.discharge_path == Some(false), "discharge path open"),
        (s.pre_alarm == Some(true), "BMS will cut off soon"),
        (s.heater_on == Some(true), "heater on"),
        (s.balancing == Some(true), "balancing"),
    ] {
        if is {
            words.push(word);
        }
    }
    words
}

/// The number that nobody has: up to which current charging is within limits now, and how far the present one is.
pub(super) fn fine_now(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let Some(pack) = app.snapshot.packs.get(app.open_pack) else { return Vec::new() };
    let fine = &pack.fine_now;
    let why = if fine.why.is_empty() { String::new() } else { format!(" ({})", fine.why) };
    let Some(limit) = fine.amps else {
        let text = if why.is_empty() { String::new() } else { format!("Limit for charging now: not known{why}.") };
        return told(app, &text, Role::Plain, width, rows);
    };
    let none = limit < 0.05;
    let up_to = match none {
        true => format!("Do not charge now{why}."),
        false => format!("Limit for charging now: {}{why}.", amps(limit)),
    };
    let present = pack.current.now().filter(|_| pack.motion == Motion::Charging);
    let (text, role) = match present {
        Some(_) if none => (up_to, Role::Sign(Level::Warning)),
        Some(now) if now > limit => {
            (format!("{up_to} Now {}: {} too much.", amps(now), amps(now - limit)), Role::Sign(Level::Warning))
        }
        Some(now) => (format!("{up_to} Now {}: {} to spare.", amps(now), amps(limit - now)), Role::Plain),
        None => (up_to, Role::Plain),
    };
    told(app, &text, role, width, rows)
}

fn told(app: &App, text: &str, role: Role, width: usize, rows: usize) -> Vec<Line<'static>> {
    let style = app.theme.style(role);
    wrap(text, width.saturating_sub(2), rows).into_iter().map(|l| Line::styled(format!(" {l}"), style)).collect()
}

/// A line for each pack when there are several; the open one is marked. At most `rows` lines, around the open one.
pub(super) fn lines(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let packs = &app.snapshot.packs;
    if packs.len() < 2 || rows == 0 {
        return Vec::new();
    }
    let shown = rows.min(packs.len());
    let from = app.open_pack.saturating_sub(shown / 2).min(packs.len() - shown);
    let ruler = Ruler::new(&app.limits);
    packs.iter().enumerate().skip(from).take(shown).map(|(index, pack)| one(app, index, pack, &ruler, width)).collect()
}

fn one(app: &App, index: usize, pack: &PackView, ruler: &Ruler, width: usize) -> Line<'static> {
    let theme = &app.theme;
    let role = if index == app.open_pack { Role::Strong } else { Role::Plain };
    let sign = if index == app.open_pack { '▸' } else { ' ' };
    let mut spans = vec![Span::styled(format!("{sign}pack {:<3}", index + 1), theme.style(role))];
    let (low, high) = ends(pack);
    let text = match low.zip(high) {
        Some((low, high)) => format!("{low:.3} to {high:.3} V"),
        None => voltage(pack),
    };
    let tail =
        [left(&motion(pack.motion, &pack.current), 20), right(&coldest(app, index, pack), 8), finding_here(app, index)];
    let band = width.saturating_sub(9 + 1 + 18 + 2 + 20 + 8 + 2 + 8).min(44);
    if band >= 8 {
        spans.extend(ruler.band(low, high, band, theme).spans);
        spans.push(Span::raw(" "));
    }
    spans.push(Span::styled(left(&text, 18), theme.style(role)));
    spans.push(Span::styled(left(&format!("  {}", tail[0]), 22), theme.style(role)));
    spans.push(Span::styled(tail[1].clone(), theme.style(role)));
    spans.push(Span::styled(format!("  {}", tail[2]), theme.style(Role::Strong)));
    Line::from(spans)
}

/// The lowest and the highest valid cell.
fn ends(pack: &PackView) -> (Option<f64>, Option<f64>) {
    let valid = || pack.cells.iter().filter_map(|cell| cell.voltage.now());
    (valid().min_by(f64::total_cmp), valid().max_by(f64::total_cmp))
}

fn coldest(app: &App, index: usize, pack: &PackView) -> String {
    let limits = |at: usize| {
        app.snapshot.bank.packs.get(index).and_then(|s| s.sensors.get(at)).is_some_and(|s| s.role.sets_limits())
    };
    let valid = pack.sensors.iter().enumerate().filter(|(at, _)| limits(*at)).filter_map(|(_, s): (_, &Shown)| s.now());
    valid.min_by(f64::total_cmp).map_or(format!("{DASH} °C"), |t| format!("{} °C", number(t, 1)))
}

/// The worst active finding of a pack, as a word.
fn finding_here(app: &App, index: usize) -> String {
    let of_pack = app.snapshot.findings.iter().filter(|f| f.active && f.subject.pack.map(usize::from) == Some(index));
    of_pack.map(|f| f.severity).max().map_or(String::new(), |s| s.word().to_owned())
}

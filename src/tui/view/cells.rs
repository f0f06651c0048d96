//! The cells of the open pack on the ruler, each with its number, its distance from the median and a word.

use super::super::app::App;
use super::super::theme::Role;
use super::super::words::{DASH, left, number, right, why_none};
use super::ruler::Ruler;
use crate::model::snapshot::{CellView, PackView};
use ratatui::text::{Line, Span};

const NUMBER: usize = 4;
const VOLTS: usize = 8;
const DELTA: usize = 9;
const WORD: usize = 15;
const RANGE: usize = 14;

/// How a row of cells is divided.
#[derive(Debug, Clone, Copy)]
struct Columns {
    side_by_side: usize,
    ruler: usize,
    word: usize,
    range: usize,
}

impl Columns {
    fn new(width: usize, cells: usize, rows: usize) -> Self {
        let side_by_side = if cells + 1 > rows && width >= 72 { 2 } else { 1 };
        let each = (width + 2) / side_by_side - 2;
        let fixed = NUMBER + VOLTS + DELTA + 1;
        let word = if each >= fixed + WORD + 24 { WORD } else { 0 };
        let range = if each >= fixed + WORD + RANGE + 40 { RANGE } else { 0 };
        Self { side_by_side, ruler: each.saturating_sub(fixed + word + range), word, range }
    }
}

/// The cells, with labels if there is room; at most `rows` lines.
pub(super) fn lines(app: &App, width: usize, rows: usize) -> Vec<Line<'static>> {
    let Some(pack) = app.snapshot.packs.get(app.open_pack) else { return Vec::new() };
    if pack.cells.is_empty() {
        return without_cells(app, rows);
    }
    let columns = Columns::new(width, pack.cells.len(), rows);
    let ruler = Ruler::new(&app.limits);
    let high = pack.cells.len().div_ceil(columns.side_by_side);
    let labels = rows.saturating_sub(high).min(2);
    let mut lines = heads(app, &ruler, columns, labels);
    let room = rows.saturating_sub(lines.len());
    let order = order(app, pack);
    let shown = if high > room { room.saturating_sub(1) } else { high };
    for row in 0..shown {
        let mut spans = Vec::new();
        for column in 0..columns.side_by_side {
            let Some(index) = order.get(column * high + row).copied() else { continue };
            if column > 0 {
                spans.push(Span::raw("  "));
            }
            spans.extend(cell(app, pack, index, &ruler, columns));
        }
        lines.push(Line::from(spans));
    }
    if shown < high && room > 0 {
        let hidden = pack.cells.len().saturating_sub(shown * columns.side_by_side);
        let hint = format!("    {hidden} more cells: v shows every value, w the worst first");
        lines.push(Line::styled(hint, app.theme.style(Role::Quiet)));
    }
    lines
}

/// A bank whose cells are not on the bus is judged by its pack voltage, and that is said.
fn without_cells(app: &App, rows: usize) -> Vec<Line<'static>> {
    let text = "    No cell voltages on this bus: the cells are not seen.";
    let mut lines = vec![Line::styled(text, app.theme.style(Role::Strong))];
    lines.truncate(rows);
    lines
}

fn order(app: &App, pack: &PackView) -> Vec<usize> {
    match &app.order {
        Some(order) if order.len() == pack.cells.len() => order.clone(),
        _ => (0..pack.cells.len()).collect(),
    }
}

fn heads(app: &App, ruler: &Ruler, columns: Columns, rows: usize) -> Vec<Line<'static>> {
    let quiet = app.theme.style(Role::Quiet);
    let labels = ruler.labels(columns.ruler, rows);
    let last = labels.len();
    let mut heads = Vec::new();
    for (at, label) in labels.into_iter().enumerate() {
        let tail = if at + 1 == last && columns.side_by_side == 1 {
            let range = if columns.range > 0 { "   since start" } else { "" };
            format!("{}{}{range}", right("V", VOLTS), right("to median", DELTA + 1))
        } else {
            " ".repeat(VOLTS + DELTA + columns.word)
        };
        let one = format!("{}{label} {tail}", " ".repeat(NUMBER));
        heads.push(Line::styled(if columns.side_by_side == 2 { format!("{one}  {one}") } else { one }, quiet));
    }
    heads
}

fn cell(app: &App, pack: &PackView, index: usize, ruler: &Ruler, columns: Columns) -> Vec<Span<'static>> {
    let theme = &app.theme;
    let Some(cell) = pack.cells.get(index) else { return Vec::new() };
    let quiet = theme.style(Role::Quiet);
    let mut spans = vec![Span::styled(right(&format!("{} ", index + 1), NUMBER), theme.style(Role::Plain))];
    spans.extend(ruler.row(&cell.voltage, columns.ruler, theme).spans);
    spans.push(Span::raw(" "));
    match why_none(&cell.voltage) {
        None => {
            let volts = cell.voltage.value.unwrap_or_default();
            let level = ruler.level(volts);
            let role = if level > crate::model::Level::Well { Role::Sentence(level) } else { Role::Plain };
            spans.push(Span::styled(right(&format!("{volts:.3} V"), VOLTS), theme.style(role)));
            let delta = cell.delta_mv.map_or(String::new(), |mv| format!("{} mV", signed(mv)));
            spans.push(Span::styled(right(&delta, DELTA), theme.style(Role::Plain)));
        }
        Some(why) => {
            let old = cell.voltage.value.map_or(DASH.to_owned(), |v| format!("{v:.3} V"));
            spans.push(Span::styled(right(&old, VOLTS), quiet));
            spans.push(Span::styled(right(&why, DELTA), theme.style(Role::Strong)));
        }
    }
    if columns.range > 0 {
        spans.push(Span::styled(right(&since_start(cell), RANGE), quiet));
    }
    if columns.word > 0 {
        spans.push(Span::styled(left(&format!("  {}", word(cell)), columns.word), theme.style(Role::Plain)));
    }
    spans
}

fn since_start(cell: &CellView) -> String {
    match cell.voltage.lowest.zip(cell.voltage.highest) {
        Some((low, high)) => format!("{low:.3} – {high:.3}"),
        None => String::new(),
    }
}

/// A short word when there is something to say.
fn word(cell: &CellView) -> &'static str {
    match (cell.remark, cell.balancing) {
        (Some(remark), _) => remark,
        (None, Some(true)) => "balancing",
        _ => "",
    }
}

fn signed(mv: f64) -> String {
    let text = number(mv, 0);
    if text.starts_with('-') || text == "0" { text } else { format!("+{text}") }
}

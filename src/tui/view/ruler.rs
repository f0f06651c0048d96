//! The ruler: cell voltage in three stretches of unequal density. A lithium-iron-phosphate cell tells almost
//! nothing on its plateau and almost everything at both ends, so the plateau is narrow and the ends are wide.

use super::super::theme::{Role, Theme};
use crate::model::Level;
use crate::model::limits::{LimitId, Limits};
use crate::model::snapshot::{Shown, Standing};
use ratatui::text::{Line, Span};

/// Where the plateau starts, V: below it the open-circuit curve falls away (published curves, docs/sources.md).
const PLATEAU_FROM: f64 = 3.20;
/// Shares of the width: low knee, plateau, top.
const SHARES: [f64; 3] = [0.28, 0.18, 0.54];
/// From this width on the labels are whole words.
const WIDE: usize = 90;

/// A limit in force, as a tick.
#[derive(Debug, Clone, Copy)]
struct Tick {
    volts: f64,
    word: &'static str,
    level: Level,
    above: bool,
}

impl Tick {
    /// In words, or with the letter that stands for the level on the line of time too.
    fn word(&self, width: usize) -> &'static str {
        match self.level {
            _ if width >= WIDE => self.word,
            Level::Notice => "n",
            Level::Warning => "W",
            Level::Urgent => "U",
            Level::Well | Level::NotKnown => self.word,
        }
    }
}

/// A voltage without a zero at its end: '2.5', '3.55'.
fn short(volts: f64) -> String {
    let text = format!("{volts:.2}");
    text.strip_suffix('0').map_or(text.clone(), str::to_owned)
}

/// The ruler with the limits in force.
#[derive(Debug, Clone)]
pub(super) struct Ruler {
    ends: [f64; 4],
    ticks: Vec<Tick>,
}

impl Ruler {
    /// The ruler for these limits.
    pub(super) fn new(limits: &Limits) -> Self {
        let tick = |limit, word, level, above| Tick { volts: limits.get(limit), word, level, above };
        let ticks = vec![
            tick(LimitId::UndervoltageWarning, "warn", Level::Warning, false),
            tick(LimitId::UndervoltageNotice, "notice", Level::Notice, false),
            tick(LimitId::FloatHigh, "held", Level::Well, true),
            tick(LimitId::OvervoltageNotice, "notice", Level::Notice, true),
            tick(LimitId::OvervoltageWarning, "warn", Level::Warning, true),
            tick(LimitId::OvervoltageUrgent, "urgent", Level::Urgent, true),
        ];
        let plateau_to = limits.get(LimitId::KneeLow).max(PLATEAU_FROM + 0.05);
        let low = (limits.get(LimitId::UndervoltageWarning) - 0.1).min(PLATEAU_FROM - 0.2);
        let high = (limits.get(LimitId::OvervoltageUrgent) + 0.05).max(plateau_to + 0.2);
        Self { ends: [low, PLATEAU_FROM, plateau_to, high], ticks }
    }

    /// Place of a voltage on `width` columns, in columns; outside of the ruler it is beyond the ends.
    fn place(&self, volts: f64, width: usize) -> f64 {
        let mut from = 0.0;
        for (pair, share) in self.ends.windows(2).zip(SHARES) {
            let [low, high] = pair else { break };
            let wide = share * width as f64;
            if volts < *high || share == SHARES[2] {
                return from + (volts - low) / (high - low) * wide;
            }
            from += wide;
        }
        from
    }

    fn column(&self, volts: f64, width: usize) -> usize {
        (self.place(volts, width).max(0.0) as usize).min(width.saturating_sub(1))
    }

    /// The worst limit that a voltage is beyond.
    pub(super) fn level(&self, volts: f64) -> Level {
        let beyond = self.ticks.iter().filter(|t| if t.above { volts > t.volts } else { volts < t.volts });
        beyond.map(|t| t.level).max().unwrap_or(Level::Well)
    }

    /// The labels above the ruler: the three stretches, the numbers of the ticks, and what they stand for.
    pub(super) fn labels(&self, width: usize, rows: usize) -> Vec<String> {
        let mut numbers = Labels::new(width);
        let mut words = Labels::new(width);
        for volts in &self.ends[1..3] {
            numbers.put(self.column(*volts, width), &short(*volts));
        }
        for tick in self.ticks.iter().rev() {
            if numbers.put(self.column(tick.volts, width), &short(tick.volts)) {
                words.put(self.column(tick.volts, width), tick.word(width));
            }
        }
        let middle = |a: f64, b: f64| (self.column(a, width) + self.column(b, width)) / 2;
        words.centre(middle(self.ends[1], self.ends[2]), "plateau");
        if width >= WIDE {
            words.centre(middle(self.ends[0], self.ends[1]), "low knee");
            words.centre(middle(self.ends[2], self.ends[3]), "top");
        }
        let mut lines = vec![words.text(), numbers.text()];
        lines.drain(..2_usize.saturating_sub(rows));
        lines
    }

    /// One cell on the ruler: a bar from the plateau's edge to the voltage, over the stretch between the lowest
    /// and the highest. On the plateau there is only a mark.
    pub(super) fn row(&self, shown: &Shown, width: usize, theme: &Theme) -> Line<'static> {
        let mut track = self.track(width);
        if let (Some(low), Some(high)) = (shown.lowest, shown.highest) {
            for at in self.column(low, width)..=self.column(high, width) {
                set(&mut track, at, '─', Role::Quiet);
            }
        }
        match shown.now() {
            Some(volts) => self.mark(&mut track, volts, width),
            None => match shown.value.filter(|_| shown.standing == Standing::Stale) {
                Some(old) => set(&mut track, self.column(old, width), '╎', Role::Quiet),
                None => (0..width).for_each(|at| set(&mut track, at, '░', Role::Quiet)),
            },
        }
        spans(track, theme)
    }

    /// A pack on the ruler: the band between its lowest and its highest cell.
    pub(super) fn band(&self, low: Option<f64>, high: Option<f64>, width: usize, theme: &Theme) -> Line<'static> {
        let mut track = self.track(width);
        match low.zip(high) {
            Some((low, high)) => {
                let level = self.level(low).max(self.level(high));
                for at in self.column(low, width)..=self.column(high, width) {
                    set(&mut track, at, '█', Role::Sign(level));
                }
            }
            None => (0..width).for_each(|at| set(&mut track, at, '░', Role::Quiet)),
        }
        spans(track, theme)
    }

    fn track(&self, width: usize) -> Vec<(char, Role)> {
        let mut track = vec![(' ', Role::Quiet); width];
        if width == 0 {
            return track;
        }
        for at in self.column(self.ends[1], width)..=self.column(self.ends[2], width) {
            set(&mut track, at, '·', Role::Quiet);
        }
        for tick in &self.ticks {
            set(&mut track, self.column(tick.volts, width), '┊', Role::Quiet);
        }
        track
    }

    fn mark(&self, track: &mut [(char, Role)], volts: f64, width: usize) {
        let sign = Role::Sign(self.level(volts).max(Level::Notice));
        let place = self.place(volts, width);
        let at = self.column(volts, width);
        if volts > self.ends[2] {
            (self.column(self.ends[2], width)..at).for_each(|at| set(track, at, '█', sign));
            let tip = if place >= width as f64 {
                '▸'
            } else if place.fract() < 0.5 {
                '▌'
            } else {
                '█'
            };
            set(track, at, tip, sign);
        } else if volts < self.ends[1] {
            (at..self.column(self.ends[1], width)).for_each(|at| set(track, at, '█', sign));
            let tip = if place < 0.0 {
                '◂'
            } else if place.fract() < 0.5 {
                '█'
            } else {
                '▐'
            };
            set(track, at, tip, sign);
        } else {
            set(track, at, '┃', Role::Strong);
        }
    }
}

fn set(track: &mut [(char, Role)], at: usize, c: char, role: Role) {
    if let Some(place) = track.get_mut(at) {
        *place = (c, role);
    }
}

fn spans(track: Vec<(char, Role)>, theme: &Theme) -> Line<'static> {
    let mut spans: Vec<Span<'static>> = Vec::new();
    let mut run = String::new();
    let mut role = Role::Quiet;
    for (c, its) in track {
        if its != role && !run.is_empty() {
            spans.push(Span::styled(std::mem::take(&mut run), theme.style(role)));
        }
        role = its;
        run.push(c);
    }
    spans.push(Span::styled(run, theme.style(role)));
    Line::from(spans)
}

/// A line of labels, none over another.
struct Labels(Vec<char>);

impl Labels {
    fn new(width: usize) -> Self {
        Self(vec![' '; width])
    }

    /// Puts a label with its first character over `at`, or as far left as it must to stay on the ruler.
    fn put(&mut self, at: usize, text: &str) -> bool {
        let wide = text.chars().count();
        if wide > self.0.len() {
            return false;
        }
        let from = at.min(self.0.len() - wide);
        let around = from.saturating_sub(1)..(from + wide + 1).min(self.0.len());
        let free = self.0.get(around).is_some_and(|cells| cells.iter().all(|c| *c == ' '));
        if free {
            for (place, c) in self.0.iter_mut().skip(from).zip(text.chars()) {
                *place = c;
            }
        }
        free
    }

    fn centre(&mut self, middle: usize, text: &str) {
        self.put(middle.saturating_sub(text.chars().count() / 2), text);
    }

    fn text(self) -> String {
        self.0.into_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ruler_rises_without_a_jump_and_the_ends_are_finer_than_their_share() {
        let ruler = Ruler::new(&Limits::default());
        let places: Vec<f64> = (2400..=3950).map(|mv| ruler.place(f64::from(mv) / 1000.0, 100)).collect();
        assert!(places.windows(2).all(|pair| pair[1] > pair[0] && pair[1] - pair[0] < 0.2));
        assert_eq!(places.first().map(|p| p.round()), Some(0.0));
        assert_eq!(places.last().map(|p| p.round()), Some(100.0));
    }

    #[test]
    fn a_cell_that_never_spoke_is_hatched_and_not_empty() {
        let ruler = Ruler::new(&Limits::default());
        let text = |shown: &Shown| ruler.row(shown, 20, &Theme::default()).to_string();
        assert_eq!(text(&Shown::default()), "░".repeat(20));
        assert_eq!(text(&present(0.0)).chars().next(), Some('◂'), "a measured zero is off the low end");
        assert_eq!(text(&present(4.4)).chars().last(), Some('▸'));
    }

    fn present(volts: f64) -> Shown {
        let standing = crate::model::snapshot::Standing::Present;
        Shown { value: Some(volts), standing, ..Shown::default() }
    }
}

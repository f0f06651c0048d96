//! How things look. Everything is said in words, weight and place; colour only repeats it.

use crate::model::Level;
use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier, Style};

/// What a piece of text is, for its look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Ordinary text.
    Plain,
    /// Scales, hints, what is old or fine.
    Quiet,
    /// What one came for.
    Strong,
    /// The word of a level.
    Badge(Level),
    /// The sentence of a level.
    Sentence(Level),
    /// A mark or a bar in the colour of a level.
    Sign(Level),
    /// What the keys act on.
    Chosen,
}

/// A theme.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Theme {
    /// Modifiers only.
    pub without_colour: bool,
    /// Only the verdict is bright.
    pub night: bool,
    /// Nothing but ASCII.
    pub ascii: bool,
}

impl Theme {
    /// The theme that an environment asks for: `NO_COLOR`, `TERM`, and the locale in force.
    #[must_use]
    pub fn of_environment(no_color: Option<&str>, term: Option<&str>, locale: Option<&str>) -> Self {
        let locale = locale.unwrap_or_default().to_ascii_lowercase().replace('-', "");
        let plain_terminal = matches!(term, None | Some("" | "dumb" | "linux" | "vt100" | "vt220"));
        Self {
            without_colour: no_color.is_some_and(|v| !v.is_empty()) || term == Some("dumb"),
            night: false,
            ascii: plain_terminal || !locale.contains("utf8"),
        }
    }

    /// The look of a role.
    #[must_use]
    pub fn style(&self, role: Role) -> Style {
        let style = weight(role);
        if self.without_colour {
            return if self.night && dims_at_night(role) { style.add_modifier(Modifier::DIM) } else { style };
        }
        if self.night && dims_at_night(role) {
            return style.fg(Color::DarkGray).remove_modifier(Modifier::BOLD | Modifier::DIM);
        }
        match role {
            Role::Quiet => Style::new().fg(Color::DarkGray),
            Role::Badge(level) | Role::Sentence(level) | Role::Sign(level) => {
                colour(level).map_or(style, |c| style.fg(c))
            }
            Role::Plain | Role::Strong | Role::Chosen => style,
        }
    }

    /// Replaces what a plain terminal cannot show, cell by cell.
    pub fn simplify(&self, buffer: &mut Buffer) {
        if !self.ascii {
            return;
        }
        for cell in &mut buffer.content {
            if !cell.symbol().is_ascii() {
                let simple = cell.symbol().chars().next().map_or(' ', simple);
                cell.set_char(simple);
            }
        }
    }
}

/// What is said without colour.
fn weight(role: Role) -> Style {
    let modifier = match role {
        Role::Plain | Role::Sign(Level::Well | Level::Notice) => Modifier::empty(),
        Role::Quiet => Modifier::DIM,
        Role::Badge(Level::Well) | Role::Sentence(Level::Well) => Modifier::empty(),
        Role::Badge(Level::Notice) | Role::Sentence(Level::Notice) => Modifier::BOLD,
        Role::Strong | Role::Sentence(Level::NotKnown | Level::Warning) | Role::Sign(_) => Modifier::BOLD,
        Role::Badge(Level::NotKnown) => Modifier::BOLD.union(Modifier::UNDERLINED),
        Role::Badge(_) | Role::Sentence(Level::Urgent) => Modifier::BOLD.union(Modifier::REVERSED),
        Role::Chosen => Modifier::REVERSED,
    };
    Style::new().add_modifier(modifier)
}

/// Blue, magenta, yellow and red-on-reverse keep apart for colour-blind eyes; green is not used.
const fn colour(level: Level) -> Option<Color> {
    match level {
        Level::Well => None,
        Level::Notice => Some(Color::Cyan),
        Level::NotKnown => Some(Color::Magenta),
        Level::Warning => Some(Color::Yellow),
        Level::Urgent => Some(Color::LightRed),
    }
}

const fn dims_at_night(role: Role) -> bool {
    !matches!(role, Role::Badge(_) | Role::Sentence(_))
}

const fn simple(c: char) -> char {
    match c {
        '█' | '▌' | '▐' | '▎' => '#',
        '┃' | '│' | '┊' | '╎' => '|',
        '─' | '━' | '–' | '—' | '−' | '╌' => '-',
        '·' | '…' => '.',
        '░' | '╱' => '/',
        '×' => 'x',
        '±' => '~',
        'µ' => 'u',
        '≤' | '≥' => '=',
        '▸' => '>',
        '◂' => '<',
        '‘' | '’' => '\'',
        '°' => ' ',
        '→' => '>',
        _ => '?',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_terminal_and_a_locale_without_utf_8_get_ascii() {
        assert!(Theme::of_environment(None, Some("linux"), Some("C.UTF-8")).ascii);
        assert!(Theme::of_environment(None, Some("xterm"), Some("C")).ascii);
        assert!(!Theme::of_environment(None, Some("xterm"), Some("de_DE.utf8")).ascii);
        assert!(Theme::of_environment(Some("1"), Some("xterm"), Some("C.UTF-8")).without_colour);
        assert!(!Theme::of_environment(Some(""), Some("xterm"), Some("C.UTF-8")).without_colour);
    }

    /// Under `NO_COLOR` crossterm drops the reverse of a cell that also has a colour.
    #[test]
    fn without_colour_there_is_no_colour_at_all_and_the_levels_still_differ() {
        let theme = Theme { without_colour: true, ..Theme::default() };
        let levels = [Level::Well, Level::Notice, Level::NotKnown, Level::Warning, Level::Urgent];
        let looks: Vec<(Style, Style)> = levels
            .iter()
            .map(|level| (theme.style(Role::Badge(*level)), theme.style(Role::Sentence(*level))))
            .collect();
        for (index, look) in looks.iter().enumerate() {
            assert!(look.0.fg.is_none() && look.0.bg.is_none() && look.1.fg.is_none());
            assert!(!looks[..index].contains(look), "{index} looks like another level");
        }
    }
}

//! What the screen knows, and the pure update: a message in, intents out, nothing touched.

use super::keys::{Act, act};
use super::theme::Theme;
use super::transport::Transport;
use crate::model::{Finding, Limits, Snapshot, Stamp, Subject};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// Most bytes of a note: what the recording keeps of one.
const MOST_NOTE: usize = 240;

/// What happens to the screen.
#[derive(Debug, Clone)]
pub enum Msg {
    /// A key.
    Key(KeyEvent),
    /// The bank at another moment, and where that moment lies.
    Picture(Box<Snapshot>, Box<Transport>),
    /// Something the person should know, on the last line until the next key or until it is over.
    Remark(String),
    /// The remark has stood long enough.
    RemarkOver,
}

/// What the screen wants done.
#[derive(Debug, Clone, PartialEq)]
pub enum Intent {
    /// End.
    Quit,
    /// Put the program aside.
    Suspend,
    /// Draw everything anew.
    Redraw,
    /// Hold.
    Pause,
    /// Go on.
    Resume,
    /// Seconds of the log in a second.
    Speed(f64),
    /// On by a step.
    Step,
    /// To a moment; `hold` there or go on as before.
    Seek {
        /// The moment.
        to: Stamp,
        /// Hold there.
        hold: bool,
    },
    /// Somebody has seen a finding.
    Acknowledge {
        /// Index of the rule in the table of rules.
        rule: u16,
        /// What it is about.
        subject: Subject,
    },
    /// Record a live run from now on.
    Record,
    /// A note into a live run.
    Note(String),
}

/// What fills the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pane {
    /// The bank.
    #[default]
    Bank,
    /// Findings in full.
    Alerts,
    /// Every value.
    Values,
    /// Where each value comes from.
    Origins,
    /// The questions that technicians ask.
    Questions,
    /// How good the data is.
    Data,
    /// The keys.
    Help,
}

/// What tells findings apart: the rule, what it is about, and when work on the bank ended it.
pub(super) type Chosen = (u16, Subject, Option<Stamp>);

fn key(finding: &Finding) -> Chosen {
    (finding.rule, finding.subject, finding.ended_by.as_ref().map(|event| event.at))
}

/// The screen's state.
#[derive(Debug, Clone, Default)]
pub struct App {
    pub(super) snapshot: Snapshot,
    pub(super) transport: Transport,
    pub(super) limits: Limits,
    pub(super) theme: Theme,
    pub(super) pane: Pane,
    pub(super) open_pack: usize,
    pub(super) chosen: Option<Chosen>,
    /// Order of the open pack's cells while the worst come first; held until the key comes again.
    pub(super) order: Option<Vec<usize>>,
    pub(super) scroll: usize,
    pub(super) remark: Option<String>,
    /// A note that is being written.
    pub(super) entry: Option<String>,
}

impl App {
    /// A screen that has heard nothing.
    #[must_use]
    pub fn new(limits: Limits, theme: Theme, transport: Transport) -> Self {
        Self { limits, theme, transport, ..Self::default() }
    }

    /// Whether a remark stands on the last line.
    #[must_use]
    pub const fn has_remark(&self) -> bool {
        self.remark.is_some()
    }

    /// Takes a message; says what it wants done.
    pub fn update(&mut self, msg: Msg) -> Vec<Intent> {
        match msg {
            Msg::Key(event) if event.kind == KeyEventKind::Release => Vec::new(),
            Msg::Key(event) if self.entry.is_some() => self.write(&event).into_iter().collect(),
            Msg::Key(event) => {
                self.remark = None;
                act(&event).map_or_else(Vec::new, |act| self.act(act).into_iter().collect())
            }
            Msg::Picture(snapshot, transport) => {
                self.snapshot = *snapshot;
                self.transport = *transport;
                self.open_pack = self.open_pack.min(self.snapshot.packs.len().saturating_sub(1));
                Vec::new()
            }
            Msg::Remark(text) => {
                self.remark = Some(text);
                Vec::new()
            }
            Msg::RemarkOver => {
                self.remark = None;
                Vec::new()
            }
        }
    }

    /// A key while a note is written.
    fn write(&mut self, event: &KeyEvent) -> Option<Intent> {
        let text = self.entry.as_mut()?;
        match event.code {
            KeyCode::Enter => {
                let text = self.entry.take().filter(|text| !text.trim().is_empty())?;
                return Some(Intent::Note(text));
            }
            KeyCode::Esc => self.entry = None,
            KeyCode::Char('c') if event.modifiers.contains(KeyModifiers::CONTROL) => self.entry = None,
            KeyCode::Backspace => drop(text.pop()),
            KeyCode::Char(letter) if text.len() + letter.len_utf8() <= MOST_NOTE => text.push(letter),
            _ => {}
        }
        None
    }

    /// What only a live run knows.
    fn live(&mut self, act: Act) -> Option<Intent> {
        if self.transport.live().is_none() {
            self.remark = Some("Only a live run is recorded and takes notes.".into());
            return None;
        }
        if act == Act::Record {
            return Some(Intent::Record);
        }
        self.entry = Some(String::new());
        None
    }

    fn act(&mut self, act: Act) -> Option<Intent> {
        match act {
            Act::Record | Act::Note => return self.live(act),
            Act::Quit => return Some(Intent::Quit),
            Act::Suspend => return Some(Intent::Suspend),
            Act::Redraw => return Some(Intent::Redraw),
            Act::Seen => {
                let standing = self.chosen_finding().filter(|finding| finding.ended_by.is_none());
                return standing.map(|f| Intent::Acknowledge { rule: f.rule, subject: f.subject });
            }
            Act::Help => self.show(Pane::Help),
            Act::Alerts => self.show(Pane::Alerts),
            Act::Values => self.show(Pane::Values),
            Act::Origins => self.show(Pane::Origins),
            Act::Questions => self.show(Pane::Questions),
            Act::Data => self.show(Pane::Data),
            Act::Leave => self.show(Pane::Bank),
            Act::Up => self.move_choice(false),
            Act::Down => self.move_choice(true),
            Act::NextPack => self.open(1),
            Act::PreviousPack => self.open(self.snapshot.packs.len().saturating_sub(1)),
            Act::WorstFirst => self.order = if self.order.is_some() { None } else { self.worst_first() },
            Act::Night => self.theme.night = !self.theme.night,
            other => return self.travel(other),
        }
        None
    }

    fn travel(&mut self, act: Act) -> Option<Intent> {
        if self.transport.live().is_some() {
            self.remark = Some("This is live: there is nothing to play. Record it, and 'replay' plays it.".into());
            return None;
        }
        let transport = &self.transport;
        match act {
            Act::Pause if transport.ended => Some(Intent::Seek { to: transport.first?, hold: false }),
            Act::Pause => Some(if transport.paused { Intent::Resume } else { Intent::Pause }),
            Act::Faster => Some(Intent::Speed(transport.next_speed(true))),
            Act::Slower => Some(Intent::Speed(transport.next_speed(false))),
            Act::Step => Some(Intent::Step),
            Act::NextAlert => self.alert_from_here(true),
            Act::PreviousAlert => self.alert_from_here(false),
            Act::Back => self.by(-0.01),
            Act::On => self.by(0.01),
            Act::FarBack => self.by(-0.1),
            Act::FarOn => self.by(0.1),
            Act::Start => Some(Intent::Seek { to: transport.first?, hold: false }),
            Act::End => Some(Intent::Seek { to: transport.last?, hold: false }),
            _ => None,
        }
    }

    fn by(&self, share: f64) -> Option<Intent> {
        let here = self.transport.fraction(self.transport.at?)?;
        Some(Intent::Seek { to: self.transport.moment(here + share)?, hold: false })
    }

    fn alert_from_here(&mut self, next: bool) -> Option<Intent> {
        let mark = if next { self.transport.next_mark() } else { self.transport.mark_before() }.copied();
        let Some(mark) = mark else {
            let scanned = !matches!(self.transport.scan, super::transport::Scan::Reading(_));
            let side = if next { "after" } else { "before" };
            let so_far = if scanned { "" } else { " so far; the log is still being read" };
            self.remark = Some(format!("No alert {side} this moment{so_far}."));
            return None;
        };
        self.chosen = Some((mark.episode.rule, mark.episode.subject, None));
        if let Some(pack) = mark.episode.subject.pack {
            self.open_pack = usize::from(pack);
        }
        Some(Intent::Seek { to: mark.raised, hold: true })
    }

    fn show(&mut self, pane: Pane) {
        self.pane = if self.pane == pane { Pane::Bank } else { pane };
        self.scroll = 0;
    }

    fn move_choice(&mut self, down: bool) {
        if matches!(self.pane, Pane::Values | Pane::Origins | Pane::Questions | Pane::Data | Pane::Help) {
            self.scroll = if down { self.scroll.saturating_add(1).min(500) } else { self.scroll.saturating_sub(1) };
            return;
        }
        let Some(at) = self.chosen_index() else { return };
        let to = if down { at + 1 } else { at.saturating_sub(1) };
        if let Some(finding) = self.snapshot.findings.get(to) {
            self.chosen = Some(key(finding));
        }
    }

    fn open(&mut self, by: usize) {
        let packs = self.snapshot.packs.len().max(1);
        self.open_pack = (self.open_pack + by) % packs;
        self.order = None;
    }

    fn worst_first(&self) -> Option<Vec<usize>> {
        let pack = self.snapshot.packs.get(self.open_pack)?;
        let mut order: Vec<usize> = (0..pack.cells.len()).collect();
        let distance = |i: &usize| pack.cells.get(*i).and_then(|c| c.delta_mv).map_or(f64::MAX, f64::abs);
        order.sort_by(|a, b| distance(b).total_cmp(&distance(a)));
        Some(order)
    }

    /// Place in the list of findings of the chosen one; the first when the chosen one is not there.
    pub(super) fn chosen_index(&self) -> Option<usize> {
        let findings = &self.snapshot.findings;
        let chosen = self.chosen.and_then(|chosen| {
            let about = |one: Chosen, other: Chosen| (one.0, one.1) == (other.0, other.1);
            let same = findings.iter().position(|finding| key(finding) == chosen);
            same.or_else(|| findings.iter().position(|finding| about(key(finding), chosen)))
        });
        chosen.or((!findings.is_empty()).then_some(0))
    }

    /// The finding that the keys act on.
    pub(super) fn chosen_finding(&self) -> Option<&Finding> {
        self.snapshot.findings.get(self.chosen_index()?)
    }
}

#[cfg(test)]
mod tests {
    use super::super::transport::{Mark, Scan};
    use super::*;
    use crate::model::Severity;
    use crate::model::finding::Episode;
    use ratatui::crossterm::event::{KeyCode, KeyModifiers};

    fn press(app: &mut App, code: KeyCode) -> Vec<Intent> {
        app.update(Msg::Key(KeyEvent::new(code, KeyModifiers::NONE)))
    }

    fn hour_long() -> App {
        let at = |secs| Some(Stamp::from_secs(secs));
        let raised = Stamp::from_secs(2000);
        let episode = Episode {
            rule: 3,
            subject: Subject::cell(1, 2),
            severity: Severity::Warning,
            first: raised,
            last: raised,
            active: false,
        };
        let transport = Transport {
            first: at(0),
            last: at(3600),
            at: at(1800),
            speed: 60.0,
            marks: vec![Mark { raised, episode }],
            ..Transport::default()
        };
        App::new(Limits::default(), Theme::default(), transport)
    }

    #[test]
    fn keys_travel_in_the_log() {
        let mut app = hour_long();
        let seek = |secs, hold| vec![Intent::Seek { to: Stamp::from_secs(secs), hold }];
        assert_eq!(press(&mut app, KeyCode::Char(' ')), [Intent::Pause]);
        assert_eq!(press(&mut app, KeyCode::Char('+')), [Intent::Speed(300.0)]);
        assert_eq!(press(&mut app, KeyCode::PageUp), seek(1440, false));
        assert_eq!(press(&mut app, KeyCode::Home), seek(0, false));
        assert_eq!(press(&mut app, KeyCode::Char('n')), seek(2000, true));
        assert_eq!(app.chosen, Some((3, Subject::cell(1, 2), None)));
    }

    #[test]
    fn no_alert_ahead_is_said_and_whether_that_is_final() {
        let mut app = hour_long();
        assert_eq!(press(&mut app, KeyCode::Char('p')), []);
        assert_eq!(app.remark.as_deref(), Some("No alert before this moment so far; the log is still being read."));
        app.transport.scan = Scan::Done(crate::model::snapshot::Verdict::default());
        press(&mut app, KeyCode::Char('p'));
        assert_eq!(app.remark.as_deref(), Some("No alert before this moment."));
    }

    #[test]
    fn a_note_is_written_letter_by_letter_and_only_in_a_live_run() {
        let mut app = hour_long();
        assert_eq!(press(&mut app, KeyCode::Char('m')), []);
        assert!(app.entry.is_none() && app.remark.is_some());
        app.transport.origin = super::super::transport::Origin::Live(super::super::transport::Live::default());
        assert_eq!(press(&mut app, KeyCode::Char(' ')), [], "nothing to pause");
        press(&mut app, KeyCode::Char('m'));
        for letter in ['q', 'a', 'x'] {
            assert_eq!(press(&mut app, KeyCode::Char(letter)), [], "a letter is a letter");
        }
        press(&mut app, KeyCode::Backspace);
        assert_eq!(press(&mut app, KeyCode::Enter), [Intent::Note("qa".into())]);
        assert_eq!(press(&mut app, KeyCode::Char('r')), [Intent::Record]);
        press(&mut app, KeyCode::Char('m'));
        press(&mut app, KeyCode::Esc);
        assert!(app.entry.is_none());
        assert_eq!(press(&mut app, KeyCode::Char('q')), [Intent::Quit]);
    }

    #[test]
    fn esc_goes_back_from_every_pane_and_a_second_press_of_its_key_too() {
        let mut app = hour_long();
        for key in ['?', 'a', 'v', 'd'] {
            press(&mut app, KeyCode::Char(key));
            assert_ne!(app.pane, Pane::Bank);
            press(&mut app, KeyCode::Esc);
            assert_eq!(app.pane, Pane::Bank);
            press(&mut app, KeyCode::Char(key));
            press(&mut app, KeyCode::Char(key));
            assert_eq!(app.pane, Pane::Bank);
        }
        press(&mut app, KeyCode::Esc);
        assert_eq!(app.pane, Pane::Bank);
    }
}

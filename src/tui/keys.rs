//! The one table of keys: dispatch, help and the last line of every screen come from it.

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// What a key does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    /// Pause or go on.
    Pause,
    /// To the next alert of the log.
    NextAlert,
    /// To the alert before.
    PreviousAlert,
    /// On by a step.
    Step,
    /// Faster.
    Faster,
    /// Slower.
    Slower,
    /// Back by a hundredth of the log.
    Back,
    /// On by a hundredth of the log.
    On,
    /// Back by a tenth.
    FarBack,
    /// On by a tenth.
    FarOn,
    /// To the start.
    Start,
    /// To the end.
    End,
    /// Another finding up.
    Up,
    /// Another finding down.
    Down,
    /// The alerts in full.
    Alerts,
    /// Every value.
    Values,
    /// Where each value comes from.
    Origins,
    /// How good the data is.
    Data,
    /// The questions that technicians ask.
    Questions,
    /// Next pack.
    NextPack,
    /// Pack before.
    PreviousPack,
    /// Worst cells first, or by number.
    WorstFirst,
    /// The finding has been seen.
    Seen,
    /// Record from now on.
    Record,
    /// Write a note into the run.
    Note,
    /// Night.
    Night,
    /// Draw anew.
    Redraw,
    /// Put aside.
    Suspend,
    /// All keys.
    Help,
    /// Back to the bank.
    Leave,
    /// End.
    Quit,
}

/// A row of the table.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// What it does.
    pub act: Act,
    /// The keys, any of which does it.
    pub codes: &'static [(KeyModifiers, KeyCode)],
    /// How the keys are written.
    pub label: &'static str,
    /// One word for the last line; empty when it stands in the help only.
    pub short: &'static str,
    /// What it does, for the help.
    pub does: &'static str,
}

const NONE: KeyModifiers = KeyModifiers::NONE;
const CTRL: KeyModifiers = KeyModifiers::CONTROL;

macro_rules! keys {
    ($($act:ident $label:literal $short:literal $does:literal [$($mods:ident $code:expr),*];)*) => {
        /// Every key, in the order of the help.
        pub static KEYS: &[Key] = &[$(Key {
            act: Act::$act, codes: &[$(($mods, $code)),*], label: $label, short: $short, does: $does,
        },)*];
    };
}

keys! {
    Help "?" "keys" "all keys and what the signs mean" [NONE KeyCode::Char('?'), NONE KeyCode::F(1)];
    Quit "q" "quit" "end; the terminal is given back" [NONE KeyCode::Char('q'), CTRL KeyCode::Char('c')];
    Pause "space" "pause" "pause or go on" [NONE KeyCode::Char(' ')];
    NextAlert "n" "next alert" "to the next alert of the log, and hold there" [NONE KeyCode::Char('n')];
    PreviousAlert "p" "" "to the alert before, and hold there" [NONE KeyCode::Char('p')];
    Alerts "a" "alerts" "every finding in full, and what could not be judged" [NONE KeyCode::Char('a'), NONE KeyCode::Enter];
    Values "v" "values" "every value with its lowest and highest since the start" [NONE KeyCode::Char('v')];
    Origins "o" "" "where each value comes from: message, frame, bits; what is promised and never sent" [NONE KeyCode::Char('o')];
    Data "d" "data" "how good the data is: lost, rejected, old" [NONE KeyCode::Char('d')];
    Questions "y" "why" "why: the questions that technicians ask, and what the data says to them" [NONE KeyCode::Char('y')];
    Up "up" "" "the finding above; scroll up" [NONE KeyCode::Up, NONE KeyCode::Char('k')];
    Down "down" "" "the finding below; scroll down" [NONE KeyCode::Down, NONE KeyCode::Char('j')];
    Seen "x" "" "the chosen finding has been seen: it is shown as such, and stays found" [NONE KeyCode::Char('x')];
    Record "r" "record" "live: record from now on, in a new file" [NONE KeyCode::Char('r')];
    Note "m" "note" "live: write a note into the run and its recording; enter keeps it" [NONE KeyCode::Char('m')];
    NextPack "tab" "" "show the next pack" [NONE KeyCode::Tab];
    PreviousPack "shift-tab" "" "show the pack before" [NONE KeyCode::BackTab];
    WorstFirst "w" "" "cells furthest from the median first, as they stand now; again: by number" [NONE KeyCode::Char('w')];
    Faster "+" "faster" "faster" [NONE KeyCode::Char('+'), NONE KeyCode::Char('=')];
    Slower "-" "slower" "slower" [NONE KeyCode::Char('-'), NONE KeyCode::Char('_')];
    Step "s" "step" "hold, and on to the next second in which something came" [NONE KeyCode::Char('s')];
    Back "left" "" "back by a hundredth of the log" [NONE KeyCode::Left];
    On "right" "" "on by a hundredth of the log" [NONE KeyCode::Right];
    FarBack "page up" "" "back by a tenth of the log" [NONE KeyCode::PageUp];
    FarOn "page down" "" "on by a tenth of the log" [NONE KeyCode::PageDown];
    Start "home" "" "to the start of the log" [NONE KeyCode::Home, NONE KeyCode::Char('g')];
    End "end" "" "to the end of the log" [NONE KeyCode::End, NONE KeyCode::Char('G')];
    Night "b" "" "night: only the verdict is bright" [NONE KeyCode::Char('b')];
    Leave "esc" "" "back to the bank" [NONE KeyCode::Esc];
    Redraw "ctrl-l" "" "draw everything anew" [CTRL KeyCode::Char('l')];
    Suspend "ctrl-z" "" "put the program aside; 'fg' brings it back" [CTRL KeyCode::Char('z')];
}

/// What a key press does, if anything.
#[must_use]
pub fn act(event: &KeyEvent) -> Option<Act> {
    // Terminals differ in whether they tell of the shift that a capital or a '+' needs.
    let modifiers = event.modifiers & (KeyModifiers::CONTROL | KeyModifiers::ALT);
    let wanted = (modifiers, event.code);
    KEYS.iter().find(|key| key.codes.contains(&wanted)).map(|key| key.act)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn no_key_does_two_things_and_no_act_stands_twice() {
        let mut codes = BTreeSet::new();
        let mut acts = BTreeSet::new();
        for key in KEYS {
            assert!(acts.insert(key.act), "{:?} stands twice", key.act);
            assert!(!key.label.is_empty() && !key.does.is_empty(), "{:?} is not told in the help", key.act);
            for code in key.codes {
                assert!(codes.insert(format!("{code:?}")), "{code:?} does two things");
                assert_eq!(act(&KeyEvent::new(code.1, code.0)), Some(key.act));
            }
        }
        assert_eq!(acts.len(), Act::Quit as usize + 1, "an act without a key");
    }

    #[test]
    fn shift_does_not_matter_and_control_does() {
        let plus = KeyEvent::new(KeyCode::Char('+'), KeyModifiers::SHIFT);
        assert_eq!(act(&plus), Some(Act::Faster));
        assert_eq!(act(&KeyEvent::new(KeyCode::Char('c'), NONE)), None);
        assert_eq!(act(&KeyEvent::new(KeyCode::Char('c'), CTRL)), Some(Act::Quit));
    }
}

//! How a bank lives: sources and loads as a scenario's text, in shares of the bank's capacity.

use super::dice::Dice;
use std::fmt::Write;

/// A way of living.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Life {
    /// Sun, drives, fridge, cooking.
    Van,
    /// A charger by night, loads by day.
    Shore,
    /// Nearly emptied and filled each day.
    Deep,
    /// A charger that holds its voltage for long each night.
    Hold,
    /// On float for the whole log.
    Float,
    /// Filled once, drawn to a half, then left.
    Store,
    /// Filled once, then left.
    Full,
}

/// What scales sources and loads.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    /// Capacity of the bank, Ah.
    pub(crate) capacity: f64,
    /// Cells in series, by four.
    pub(crate) four: f64,
    /// Absorption and float of the charger, V for four cells.
    pub(crate) volts: (f64, f64),
    /// A small charger, which takes the whole night and the morning and holds its voltage for its hours.
    pub(crate) slow: bool,
}

impl Scale {
    #[allow(clippy::too_many_arguments)] // one line of a scenario, as it is written there
    fn source(&self, text: &mut String, kind: &str, share: f64, hours: f64, more: &str) {
        let (absorption, float) = (self.volts.0 * self.four, self.volts.1 * self.four);
        let _ = writeln!(
            text,
            "[[source]]\nkind = \"{kind}\"\namps = {:.2}\nabsorption = {absorption:.3}\nfloat = {float:.3}\n\
             absorption_hours = {hours:.2}\ntail = {:.2}\n{more}",
            share * self.capacity,
            0.03 * self.capacity
        );
    }

    fn load(&self, text: &mut String, share: f64, more: &str) {
        let watts = share * self.capacity * 13.1 * self.four;
        let _ = writeln!(text, "[[load]]\nwatts = {watts:.3}\n{more}");
    }
}

/// Sources and loads of a life as text.
pub(crate) fn text(life: Life, scale: &Scale, dice: &mut Dice) -> String {
    let mut out = String::new();
    let standby = dice.from(0.0008, 0.003);
    if !matches!(life, Life::Store | Life::Full) {
        scale.load(&mut out, standby, "");
    }
    let fridge = format!("cycle_minutes = {:.1}\nduty = {:.2}", dice.from(20.0, 50.0), dice.from(0.3, 0.5));
    match life {
        Life::Van => {
            scale.source(&mut out, "solar", dice.from(0.10, 0.20), 1.0, "");
            let drive = format!(
                "on = [{{ from = 9.5, to = {:.1}, moves = 20, days = [1, 3, 4, 7, 9, 12, 15, 18, 22, 25, 29, 33, 37] }}]",
                dice.from(10.5, 12.0)
            );
            scale.source(&mut out, "alternator", dice.from(0.15, 0.30), 1.0, &drive);
            scale.load(&mut out, dice.from(0.02, 0.04), &fridge);
            scale.load(&mut out, dice.from(0.01, 0.02), "on = [{ from = 18, to = 23, moves = 20 }]");
            scale.load(
                &mut out,
                dice.from(0.25, 0.45),
                "on = [{ from = 7.4, to = 7.6, moves = 15 }, { from = 19.2, to = 19.45, moves = 20 }]",
            );
            scale.load(
                &mut out,
                dice.from(0.08, 0.15),
                "on = [{ from = 20, to = 22, moves = 20 }]\ncycle_minutes = 25\nduty = 0.3",
            );
        }
        Life::Shore | Life::Hold => {
            let hours = if life == Life::Hold { 9.0 } else { dice.from(1.0, 2.5) };
            let to = match (life, scale.slow) {
                (_, true) => 15.0,
                (Life::Hold, _) => 14.0,
                _ => 9.0,
            };
            let share = if scale.slow { dice.from(0.07, 0.11) } else { dice.from(0.12, 0.28) };
            let mut charger = String::new();
            scale.source(&mut charger, "shore", share, hours, &format!("on = [{{ from = 1, to = {to}, moves = 20 }}]"));
            if life == Life::Hold || scale.slow {
                charger = charger
                    .lines()
                    .filter(|line| !line.starts_with("tail"))
                    .fold(String::new(), |all, line| all + line + "\n");
            }
            out += &charger;
            scale.load(&mut out, dice.from(0.02, 0.04), &fridge);
            scale.load(&mut out, dice.from(0.03, 0.06), "on = [{ from = 16, to = 22, moves = 20 }]");
            scale.load(&mut out, dice.from(0.2, 0.3), "on = [{ from = 18.2, to = 18.5, moves = 20 }]");
        }
        Life::Deep => {
            let charge = dice.from(0.16, 0.24);
            scale.source(&mut out, "shore", charge, 2.0, "on = [{ from = 0, to = 10 }]");
            let draw = dice.from(0.14, 0.22);
            let hours = 0.93 / draw;
            let (from, breaks) = (11.0, 0.25);
            // in two parts, so that there are steps
            let to = from + hours + breaks;
            scale.load(
                &mut out,
                draw,
                &format!(
                    "on = [{{ from = {from}, to = {:.3} }}, {{ from = {:.3}, to = {to:.3} }}]",
                    from + hours / 2.0,
                    from + hours / 2.0 + breaks
                ),
            );
            scale.load(&mut out, 0.02, "on = [{ from = 11, to = 15 }]\ncycle_minutes = 20\nduty = 0.4");
        }
        Life::Float => {
            scale.source(&mut out, "shore", dice.from(0.10, 0.2), 1.5, "");
            scale.load(&mut out, dice.from(0.01, 0.02), &fridge);
        }
        Life::Store | Life::Full => {
            scale.source(&mut out, "shore", 0.15, 1.5, "on = [{ from = 0, to = 12, days = [0] }]");
            scale.load(&mut out, 0.00015, "");
            if life == Life::Store {
                scale.load(&mut out, dice.from(0.08, 0.12), "on = [{ from = 13, to = 18, days = [0] }]");
            }
        }
    }
    out
}

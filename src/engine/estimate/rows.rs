//! A pack's estimates as rows for the screen, the report and JSON: a value with its bounds, or why there is none.

use super::charge::unseen;
use super::offset::assumed;
use crate::engine::pack::Pack;
use crate::model::Estimate;
use crate::model::bank::PackSpec;
use crate::model::limits::{LimitId, Limits};
use crate::model::{Quantity, Stamp};

/// Every estimate of a pack, described as `spec`, `as_of` by engine time; `now` is the engine's.
#[must_use]
pub fn rows(pack: &Pack, spec: &PackSpec, now: Stamp, limits: &Limits) -> Vec<Estimate> {
    let mut rows = vec![soc(pack, now, limits), since_full(pack, now)];
    rows.extend(charge(pack, limits));
    rows.push(held_high(pack, limits));
    rows.push(rest(pack, limits));
    rows.extend(super::end_rows::rows(pack, spec, limits));
    rows.extend(super::resistance_rows::rows(pack, limits));
    rows
}

/// State of charge, % of the capacity: the measured one once known, else the rated one.
fn soc(pack: &Pack, now: Stamp, limits: &Limits) -> Estimate {
    let name = "soc_percent";
    match pack.estimates.soc.estimate(&pack.view, now, limits) {
        Ok((known, at)) => Estimate::known(name, pack.subject(), known.best * 100.0)
            .within(known.low * 100.0, known.high * 100.0)
            .at(at),
        Err(why) => Estimate::unknown(name, pack.subject(), why),
    }
}

/// Hours since the pack was last full.
fn since_full(pack: &Pack, now: Stamp) -> Estimate {
    let name = "since_full_h";
    let soc = &pack.estimates.soc;
    if let Some(at) = soc.last_full() {
        return Estimate::known(name, pack.subject(), now.since(at).max(0.0) / 3600.0).at(now);
    }
    match soc.ended_by() {
        Some(cell) => {
            let why = format!(
                "the last charge was ended by cell {}, before the others were full: as full as it will get",
                cell + 1
            );
            Estimate::unknown(name, pack.subject(), why)
        }
        None => Estimate::unknown(name, pack.subject(), "no full charge was seen yet"),
    }
}

/// Charge counted since the start, Ah; bounds by what the current sensor may be off.
fn charge(pack: &Pack, limits: &Limits) -> [Estimate; 2] {
    let charge = &pack.estimates.charge;
    let names = ["charged_ah", "drawn_ah"];
    if charge.secs <= 0.0 {
        return names.map(|name| Estimate::unknown(name, pack.subject(), "no valid current was seen yet"));
    }
    let at = pack.gauge(Quantity::Current).last_good().map(|(at, _)| at).or(Some(pack.view.now));
    // What the sensor reads at zero went into one of the two sums for as long as that is which way the current went; that is
    // not known where the true current was smaller.
    let hours = charge.secs / 3600.0;
    let (low, high) = match pack.estimates.soc.learnt_offset() {
        Some(learnt) => (learnt.amps - learnt.half, learnt.amps + learnt.half),
        None => {
            let half = assumed(pack.view.capacity.unwrap_or(0.0), limits);
            (-half, half)
        }
    };
    let row = |name, counted: f64, sign: f64| {
        let (less, more) = if sign > 0.0 { (high, -low) } else { (-low, high) };
        let off = counted * limits.get(LimitId::SocGain) / 100.0 + unseen(charge.between);
        let (low, high) = (counted - hours * less.max(0.0) - off, counted + hours * more.max(0.0) + off);
        let best = counted - hours * (less.max(0.0) - more.max(0.0)) / 2.0;
        Estimate {
            as_of: at,
            ..Estimate::known(name, pack.subject(), best.max(0.0)).within(low.max(0.0), high.max(0.0))
        }
    };
    [row(names[0], charge.charged, 1.0), row(names[1], charge.drawn, -1.0)]
}

/// Hours by the clock in which the voltage was held high within the window of hours (30 days unless set otherwise).
fn held_high(pack: &Pack, limits: &Limits) -> Estimate {
    let name = "held_high_h_30_days";
    let view = &pack.view;
    if view.capacity.is_none() {
        return Estimate::unknown(name, pack.subject(), "the rated capacity is not described");
    }
    if limits.get(LimitId::FloatHoursWindow) != 30.0 {
        return Estimate::unknown(name, pack.subject(), "the window of prolonged-high-float is set to another length");
    }
    let hours = pack.estimates.hours.held_hours(super::hours::Window::PlainHours);
    Estimate::known(name, pack.subject(), hours).at(view.now)
}

/// Hours for which the pack has rested.
fn rest(pack: &Pack, limits: &Limits) -> Estimate {
    let name = "rest_h";
    let view = &pack.view;
    if let Some(since) = pack.estimates.rest.since(view.now, limits) {
        return Estimate::known(name, pack.subject(), view.now.since(since) / 3600.0).at(view.now);
    }
    let why = match (view.cells.is_empty(), view.current, view.capacity) {
        (true, ..) => "no cell voltages: terminals that are cut off read as rest",
        (_, None, _) => "no valid current",
        (.., None) => "the rated capacity is not described",
        _ => "it does not rest",
    };
    Estimate::unknown(name, pack.subject(), why)
}

#[cfg(test)]
mod tests {
    use crate::engine::story::{Story, four_cells};

    fn row(story: &Story, name: &str) -> (Option<f64>, Option<String>) {
        let row = story.snapshot().estimates.into_iter().find(|row| row.name == name).unwrap();
        (row.value.map(|value| (value * 10.0).round() / 10.0), row.why)
    }

    #[test]
    fn what_is_not_known_says_why_and_is_never_zero() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 60.0, 1.0, |_, bus| bus.cells(&[3.3; 4]));
        assert_eq!(row(&story, "charged_ah"), (None, Some("no valid current was seen yet".into())));
        assert_eq!(row(&story, "soc_percent").0, None);
        assert_eq!(row(&story, "since_full_h"), (None, Some("no full charge was seen yet".into())));
        assert_eq!(row(&story, "rest_h"), (None, Some("no valid current".into())));
    }

    #[test]
    fn a_day_with_a_full_charge_shows_in_every_row() {
        let mut story = Story::new(four_cells());
        story.run(0.0, 86_400.0, 10.0, |t, bus| {
            let h = t / 3600.0;
            let held = h < 4.0;
            bus.cells(
                &[if held {
                    3.60
                } else if h < 10.0 {
                    3.29
                } else {
                    3.30
                }; 4],
            );
            bus.current(if held {
                40.0 * (-h).exp()
            } else if h < 10.0 {
                -5.0
            } else {
                0.0
            });
        });
        assert_eq!(row(&story, "charged_ah"), (Some(39.3), None));
        assert_eq!(row(&story, "drawn_ah"), (Some(30.0), None));
        assert_eq!(row(&story, "since_full_h"), (Some(20.0), None));
        assert_eq!(row(&story, "held_high_h_30_days"), (Some(1.9), None));
        assert_eq!(row(&story, "rest_h"), (Some(14.0), None));
        assert_eq!(row(&story, "soc_percent"), (Some(70.0), None));
    }
}

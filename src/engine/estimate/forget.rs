//! What no longer holds after work on a bank: each change resets the estimates that it must, and no others.

use super::Estimates;
use super::habits::Habits;
use super::stress::Stress;
use crate::engine::anew::Part;
use crate::model::{BankEvent, Change};

impl Estimates {
    /// Forgets what an event in the bank file's history makes untrue. An estimator that is added must be named here.
    pub fn forget(&mut self, event: &BankEvent) {
        if event.change == Change::PackReplaced {
            return *self = Self::default(); // nothing that was learnt is about this one
        }
        let goes = |part: Part| part.goes_with(event.change);
        let Self {
            charge,
            sensors,
            stress,
            rest,
            taper,
            hours,
            soc,
            apart,
            capacity,
            gain,
            habits,
            resistance,
            one_way,
            reported,
            leads,
            load,
        } = self;
        if goes(Part::Hours) {
            hours.begin_anew(charge);
        }
        if goes(Part::Charge) {
            hours.count_from_nought(charge);
            *charge = Default::default();
        }
        if goes(Part::Soc) {
            soc.begin_anew(charge);
        }
        if goes(Part::Offset) {
            soc.forget_offset();
        }
        if goes(Part::OpenInterval) {
            soc.offset.interrupt();
        }
        if goes(Part::Leads) {
            *leads = Default::default();
        }
        if goes(Part::LeadOffsets) {
            leads.forget_offsets();
        }
        forget(goes(Part::Rest), rest);
        forget(goes(Part::Taper), taper);
        forget(goes(Part::Apart), apart);
        forget(goes(Part::Capacity), capacity);
        forget(goes(Part::Capacity), gain); // what was measured of it before and after
        forget(goes(Part::Resistance), resistance);
        forget(goes(Part::OneWay), one_way);
        forget(goes(Part::Reported), reported);
        forget(goes(Part::Load), load);
        if goes(Part::Trust) {
            sensors.forget(event.moved());
        }
        if goes(Part::TrustCells) {
            sensors.forget_cells();
        }
        if goes(Part::TrustCurrent) {
            sensors.forget_current();
        }
        stress.forget(event);
        habits.forget(event);
    }
}

impl Stress {
    fn forget(&mut self, event: &BankEvent) {
        let goes = |part: Part| part.goes_with(event.change);
        let Self { cold, rise, rms, cut, minute } = self;
        forget(goes(Part::Cold), cold);
        forget(goes(Part::Rms), rms);
        if goes(Part::Rise) {
            rise.forget(event.moved());
        }
        if goes(Part::Cut) {
            (*cut, *minute) = Default::default();
        }
        if goes(Part::BeforeCut) {
            cut.forget_current();
        }
    }
}

impl Habits {
    fn forget(&mut self, event: &BankEvent) {
        let goes = |part: Part| part.goes_with(event.change);
        // When slow estimators were last moved on is about none of them.
        let Self { heat, standby, ahead, sessions, thermal, baseline, minute: _ } = self;
        forget(goes(Part::Heat), heat);
        forget(goes(Part::Standby), standby);
        forget(goes(Part::Ahead), ahead);
        forget(goes(Part::Sessions), sessions);
        forget(goes(Part::Thermal), thermal);
        // Each sensor stands so far from the others: one that was moved changes it for all.
        forget(goes(Part::Baseline), baseline);
        if goes(Part::IdleFrom) {
            standby.forget_charge();
        }
    }
}

fn forget<T: Default>(goes: bool, estimator: &mut T) {
    if goes {
        *estimator = T::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::Engine;
    use crate::model::bank::{SensorRole, SensorSpec};
    use crate::model::{Bank, Limits, PackSpec, Quantity, Slot, Stamp, Value};
    use crate::unit::AmpHours;
    use serde_json::Value as Tree;

    const HOUR: i64 = 3600;

    /// Two packs through three charges, uses and rests. At the end the first rests and the second is drawn from.
    fn run(secs: i64) -> Engine {
        let mut spec = PackSpec { cells: Some(4), ..PackSpec::default() };
        spec.rated.capacity = Some(AmpHours::of(100.0));
        spec.sensors[0] = SensorSpec { role: SensorRole::Cell, cell: Some(0) };
        spec.sensors[1] = SensorSpec { role: SensorRole::Case, cell: None };
        spec.sensors[2] = SensorSpec { role: SensorRole::Ambient, cell: None };
        let mut engine = Engine::new(Limits::default(), Some(Bank { packs: vec![spec.clone(), spec] }));
        for second in (0..secs).step_by(30) {
            engine.advance(Stamp::from_secs(1_000_000 + second));
            let h = (second % (12 * HOUR)) as f64 / 3600.0;
            let load = if second / 300 % 2 == 0 { 4.0 } else { 9.0 };
            for pack in 0..2 {
                let drawn_from = pack == 1 && second > 36 * HOUR - 150;
                let (amps, volts) = match h {
                    _ if drawn_from => (-30.0, 3.25),
                    ..4.0 => (40.0 * (-h).exp(), 3.60),
                    ..10.0 => (-load, 3.31 - load * 1e-3),
                    _ => (0.0, 3.30),
                };
                for cell in 0..4 {
                    let volts = volts + f64::from(cell) * 1e-3;
                    engine.put(Slot::at(pack, Quantity::CellVoltage, cell), Value::Present(volts));
                }
                let warm = 10.0 - 8.0 * (second as f64 / 86_400.0 * std::f64::consts::TAU).cos();
                for sensor in 0..3 {
                    let celsius = warm + f64::from(sensor);
                    engine.put(Slot::at(pack, Quantity::Temperature, sensor), Value::Present(celsius));
                }
                let path = f64::from(u8::from(!(11.0..11.1).contains(&h)));
                engine.put(Slot::of(pack, Quantity::Current), Value::Present(amps));
                engine.put(Slot::of(pack, Quantity::ChargePath), Value::Present(path));
                engine.put(Slot::of(pack, Quantity::ReportedSoc), Value::Present((h / 12.0 * 50.0).round() / 50.0));
            }
        }
        engine.close();
        engine
    }

    /// Where in the state of a pack each part lies; `*` is every entry of a list.
    fn places(part: Part) -> &'static [&'static str] {
        match part {
            Part::Charge => &["charge"],
            Part::Soc => &[
                "soc.anchor",
                "soc.since",
                "soc.as_of",
                "soc.last_full",
                "soc.drawn_since",
                "soc.full",
                "soc.capacity",
                "soc.unsure",
                "soc.use_from",
            ],
            Part::Offset => &["soc.offset", "soc.learnt"],
            Part::OpenInterval => &["soc.offset.from"],
            Part::Capacity => &["capacity"],
            Part::OneWay => &["one_way"],
            Part::Reported => &["reported"],
            Part::Apart => &["apart"],
            Part::Resistance => &["resistance"],
            Part::Load => &["load"],
            Part::Leads => &["leads"],
            Part::LeadOffsets => {
                &["leads.cells.*.run", "leads.cells.*.block", "leads.rates", "leads.ticks", "leads.net", "leads.from"]
            }
            Part::Rest => &["rest"],
            Part::Taper => &["taper"],
            Part::Hours => &["hours"],
            Part::Heat => &["habits.heat"],
            Part::Cold => &["stress.cold"],
            Part::Rms => &["stress.rms"],
            Part::Cut => &["stress.cut", "stress.minute"],
            Part::BeforeCut => &["stress.cut.strong", "stress.cut.others", "stress.cut.fall"],
            Part::Rise => &["stress.rise"],
            Part::Trust => &["sensors.watches", "sensors.troubles", "sensors.swing.waves"],
            Part::TrustCells => &["sensors.cells"],
            Part::TrustCurrent => &["sensors.current"],
            Part::Baseline => &["habits.baseline"],
            Part::Thermal => &["habits.thermal"],
            Part::Standby => &["habits.standby"],
            Part::IdleFrom => &["habits.standby.idle.low"],
            Part::Ahead => &["habits.ahead"],
            Part::Sessions => &["habits.sessions"],
            // of the bank, and of what is shown: see the tests of the history
            Part::Sharing | Part::CellExtremes | Part::SensorExtremes | Part::CurrentExtremes | Part::OtherExtremes => {
                &[]
            }
        }
    }

    /// Puts what stands at a place of `from` in the same place of `to`.
    fn put(to: &mut Tree, from: &Tree, place: &[&str]) {
        match (place, to) {
            ([], to) => to.clone_from(from),
            (["*", rest @ ..], Tree::Array(list)) => list.iter_mut().for_each(|to| put(to, &from[0], rest)),
            ([name, rest @ ..], Tree::Object(fields)) => {
                fields.entry(*name).and_modify(|to| put(to, &from[*name], rest));
            }
            (_, to) => assert!(to.is_null(), "{place:?} is no place"),
        }
    }

    fn tree(estimates: &Estimates) -> Tree {
        serde_json::to_value(estimates).unwrap()
    }

    /// What begins anew holds: nothing, and of each cell that was heard, nothing.
    fn empty() -> Tree {
        let mut empty = tree(&Estimates::default());
        empty["leads"]["cells"] = tree(&run(10).packs[0].estimates)["leads"]["cells"].clone();
        empty
    }

    fn with_parts_empty(of: &Tree, parts: impl Iterator<Item = Part>) -> Tree {
        let mut tree = of.clone();
        for part in parts {
            for place in places(part) {
                // a list of cells that was begun anew is empty
                let empty = if part == Part::Leads { self::tree(&Estimates::default()) } else { empty() };
                put(&mut tree, &empty, &place.split('.').collect::<Vec<_>>());
            }
        }
        tree
    }

    #[test]
    fn each_change_resets_the_estimates_that_it_must_and_no_others() {
        let full = run(36 * HOUR);
        let [resting, drawn_from] = [0, 1].map(|pack: usize| full.packs[pack].estimates.clone());
        for part in Part::ALL.iter().filter(|part| !places(**part).is_empty()) {
            let is_filled = |pack: &Estimates| with_parts_empty(&tree(pack), [*part].into_iter()) != tree(pack);
            assert!(is_filled(&resting) || is_filled(&drawn_from), "{part:?} would be empty with nothing forgotten");
        }
        for (word, change) in Change::WORDS {
            let event = BankEvent {
                at: Stamp::from_secs(0),
                change: *change,
                pack: Some(0),
                sensor: None,
                note: String::new(),
            };
            for before in [&resting, &drawn_from] {
                let mut after = before.clone();
                after.forget(&event);
                let goes = Part::ALL.iter().copied().filter(|part| part.goes_with(*change));
                let mut expected = with_parts_empty(&tree(before), goes);
                // What has been counted so far stays in the hour under way, and is not counted once more.
                let counted = [before.charge.charged, before.charge.drawn];
                let from = before_hour(before);
                let moved = match change {
                    Change::CellsReplaced => counted,
                    Change::CurrentSensorChanged => [from[0] - counted[0], from[1] - counted[1]],
                    _ => from,
                };
                expected["hours"]["open"]["from"] = serde_json::json!(moved);
                expected["soc"]["taken"] = match Part::Soc.goes_with(*change) {
                    true => serde_json::to_value(after.charge).unwrap(),
                    false => tree(before)["soc"]["taken"].clone(),
                };
                let expected = if *change == Change::PackReplaced { tree(&Estimates::default()) } else { expected };
                differ(word, &expected, &tree(&after), "");
            }
        }
    }

    fn before_hour(estimates: &Estimates) -> [f64; 2] {
        let from = &tree(estimates)["hours"]["open"]["from"];
        [0, 1].map(|at: usize| from[at].as_f64().unwrap())
    }

    /// Names the place where two states differ.
    fn differ(word: &str, expected: &Tree, found: &Tree, place: &str) {
        match (expected, found) {
            (Tree::Object(expected), Tree::Object(found)) => {
                for (name, expected) in expected {
                    differ(word, expected, &found[name], &format!("{place}.{name}"));
                }
            }
            _ => assert_eq!(found, expected, "{word}: {place}"),
        }
    }

    #[test]
    fn of_two_sensors_only_the_one_that_was_moved_begins_anew() {
        let before = run(6 * HOUR).packs[0].estimates.clone();
        let mut after = before.clone();
        let at = Stamp::from_secs(0);
        after.forget(&BankEvent { at, change: Change::SensorMoved, pack: None, sensor: Some(1), note: String::new() });
        let (was, is) = (tree(&before), tree(&after));
        let none = tree(&Estimates::default());
        for list in ["/sensors/watches", "/sensors/swing/waves", "/stress/rise/pairs", "/stress/rise/marks"] {
            let one = |tree: &Tree, at: usize| {
                let entry = tree.pointer(list).unwrap()[at].clone();
                entry.get("celsius").map_or(entry.clone(), |celsius| celsius[1].clone())
            };
            assert_ne!(one(&was, 1), one(&none, 1), "{list} is filled");
            assert_eq!(one(&is, 1), one(&none, 1), "{list} of the one that was moved");
        }
        for list in ["/sensors/swing/waves", "/stress/rise/pairs"] {
            assert_eq!(is.pointer(list).unwrap()[0], was.pointer(list).unwrap()[0], "{list} of the other");
        }
        let other = is.pointer("/sensors/watches").unwrap()[0].clone();
        assert_eq!(other["stands"], was["sensors"]["watches"][0]["stands"]);
        assert_eq!(other["siblings"], Tree::Null, "it does not stand still because its sibling was moved");
    }
}

//! What was done to the bank, at its moment.

use super::anew::Part;
use super::pack::Pack;
use super::rule::{Answer, Doubt, RULES};
use super::{BankState, Engine};
use crate::model::{BankEvent, Change, Quantity, Stamp, Subject};

/// Events that are kept, at most.
const MOST: usize = 256;

impl Engine {
    /// Takes the history that a bank file tells, in the order of time. What lies before the present has had its day.
    pub fn history(&mut self, mut events: Vec<BankEvent>) {
        events.truncate(MOST);
        events.sort_by_key(|event| event.at);
        let now = if self.now == Stamp::MIN { Stamp::MIN } else { self.now.plus_nanos(self.offset) };
        self.done = events.iter().take_while(|event| event.at <= now).count();
        self.history = events;
    }

    /// Lets every event happen whose moment has come.
    pub(super) fn let_happen(&mut self, wall: Stamp) {
        while let Some(event) = self.history.get(self.done).filter(|event| event.at <= wall) {
            for pack in self.packs.iter_mut().filter(|pack| event.concerns(pack.number)) {
                pack.forget(event);
            }
            self.state.forget(event);
            let ends = |rule: u16, subject| RULES.get(usize::from(rule)).is_some_and(|rule| rule.ends(event, subject));
            self.cases.end_with(event, ends);
            forget_answers(&mut self.answers, Subject::BANK, event);
            self.done += 1;
        }
    }

    /// Events that fell into the data.
    pub(super) fn happened(&self) -> Vec<BankEvent> {
        let first = self.quality.show().first;
        let happened = self.history.get(..self.done).unwrap_or_default();
        happened.iter().filter(|event| first.is_some_and(|first| event.at >= first)).cloned().collect()
    }

    /// Whether a history from elsewhere is no longer than one can be.
    pub(super) fn history_is_within_bounds(&self) -> bool {
        self.history.len() <= MOST
    }
}

impl Pack {
    fn forget(&mut self, event: &BankEvent) {
        let subject = self.subject();
        self.estimates.forget(event);
        forget_answers(&mut self.answers, subject, event);
        if Part::Charge.goes_with(event.change) {
            self.answers.iter_mut().filter_map(|answer| answer.doubt.as_mut()).for_each(Doubt::count_from_nought);
        }
        let moved = event.moved();
        for (slot, gauge) in self.gauges_mut() {
            let part = match slot.quantity {
                Quantity::CellVoltage => Part::CellExtremes,
                Quantity::Temperature => Part::SensorExtremes,
                Quantity::Current => Part::CurrentExtremes,
                _ => Part::OtherExtremes,
            };
            let other = moved.is_some_and(|moved| moved != slot.index);
            if part.goes_with(event.change) && !other {
                gauge.forget_extremes();
            }
        }
    }
}

impl BankState {
    fn forget(&mut self, event: &BankEvent) {
        // What sources say, and what the bank's bus stands at, no work on a pack changes.
        let Self { current, voltage: _, sources: _, sharing } = self;
        if Part::Sharing.goes_with(event.change) {
            *sharing = Default::default();
        }
        if event.change == Change::CurrentSensorChanged && event.pack.is_none() {
            current.forget_extremes(); // the bank's own shunt is one of all
        }
    }
}

/// A rule has not judged yet what an event ends; what it saw and could not tell goes with it.
fn forget_answers(answers: &mut [Answer], subject: Subject, event: &BankEvent) {
    for (answer, rule) in answers.iter_mut().zip(RULES) {
        if rule.ends(event, subject) {
            *answer = Answer::default();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::RULES;
    use crate::engine::Engine;
    use crate::model::{
        Bank, BankEvent, Change, Finding, Frame, Heard, Limits, PackSpec, Quantity, SensorRole, Slot, Stamp, Subject,
        Value,
    };
    use crate::unit::AmpHours;

    /// Two packs that charge for two hours, cold in the first: pack 1 has a sensor that jumps late.
    fn run(events: Vec<BankEvent>) -> Engine {
        let mut spec = PackSpec { cells: Some(4), ..PackSpec::default() };
        spec.rated.capacity = Some(AmpHours::of(100.0));
        let bank = Bank { packs: vec![spec.clone(), spec] };
        let mut engine = Engine::new(Limits::default(), Some(bank));
        engine.history(events);
        for second in 0..7200 {
            engine.advance(Stamp::from_secs(1_000_000 + second));
            for pack in 0..2 {
                for cell in 0..4 {
                    engine.put(Slot::at(pack, Quantity::CellVoltage, cell), Value::Present(3.33));
                }
                for sensor in 0..2 {
                    let celsius = if second > 7000 && sensor == 0 { 40.0 } else { 20.0 };
                    engine.put(Slot::at(pack, Quantity::Temperature, sensor), Value::Present(celsius));
                }
                engine.put(Slot::of(pack, Quantity::Current), Value::Present(20.0));
                engine.put(Slot::of(pack, Quantity::ReportedSoc), Value::Present(0.5));
            }
        }
        engine.close();
        engine
    }

    fn event(second: i64, change: Change, pack: Option<u8>) -> BankEvent {
        let at = Stamp::from_secs(1_000_000 + second);
        BankEvent { at, change, pack, sensor: Some(0), note: String::new() }
    }

    fn charged(engine: &Engine) -> [i64; 2] {
        [0, 1].map(|pack: usize| engine.packs[pack].estimates.charge.charged.round() as i64)
    }

    #[test]
    fn a_pack_that_was_replaced_begins_anew_and_the_other_goes_on() {
        assert_eq!(charged(&run(Vec::new())), [40, 40]);
        let engine = run(vec![event(3600, Change::PackReplaced, Some(1))]);
        assert_eq!(charged(&engine), [40, 20]);
        assert_eq!(charged(&run(vec![event(3600, Change::PackReplaced, None)])), [20, 20]);
    }

    #[test]
    fn what_is_done_to_a_pack_is_none_of_another() {
        let plain = run(Vec::new());
        for (_, change) in Change::WORDS {
            let engine = run(vec![event(7195, *change, Some(0))]);
            assert_eq!(engine.packs[1], plain.packs[1], "{change:?} of pack 1 is none of pack 2");
        }
        assert_eq!(run(vec![event(7195, Change::Remark, None)]).packs, plain.packs);
    }

    #[test]
    fn how_packs_share_the_current_begins_anew_with_whatever_changes_it() {
        let empty = crate::engine::estimate::share::Sharing::default();
        let mut plain = run(Vec::new());
        assert_ne!(plain.state.sharing, empty);
        for (_, change) in Change::WORDS {
            let mut engine = plain.clone();
            engine.state.forget(&event(7195, *change, Some(1)));
            let kept = matches!(change, Change::SensorMoved | Change::Remark);
            assert_eq!(engine.state.sharing == plain.state.sharing, kept, "{change:?}");
            assert_eq!(engine.state.sharing == empty, !kept, "{change:?}");
        }
        plain.state.sharing = Default::default();
        let mut engine = plain.clone();
        engine.state.forget(&event(7195, Change::PackReplaced, None));
        assert_eq!(engine.state, plain.state, "nothing else of the bank is about a pack");
    }

    #[test]
    fn lowest_and_highest_are_of_what_is_there_now() {
        let plain = run(Vec::new());
        for (_, change) in Change::WORDS {
            let mut engine = plain.clone();
            for pack in &mut engine.packs {
                pack.forget(&event(7195, *change, None));
            }
            let is_kept = |slot: Slot| {
                let find = |engine: &Engine| {
                    engine.packs[0].gauges().find(|(at, _)| *at == slot).map(|(_, gauge)| *gauge).unwrap()
                };
                find(&engine) == find(&plain)
            };
            let slots = [
                Slot::at(0, Quantity::CellVoltage, 0),
                Slot::at(0, Quantity::Temperature, 0),
                Slot::at(0, Quantity::Temperature, 1),
                Slot::of(0, Quantity::Current),
                Slot::of(0, Quantity::ReportedSoc),
            ];
            let expected = match change {
                Change::PackReplaced => [false; 5],
                Change::CellsReplaced => [false, true, true, true, true],
                Change::SensorMoved => [true, false, true, true, true], // the first alone
                Change::CurrentSensorChanged => [true, true, true, false, true],
                _ => [true; 5],
            };
            assert_eq!(slots.map(is_kept), expected, "{change:?}: cell, two sensors, current, reported charge");
        }
    }

    #[test]
    fn a_pack_that_was_replaced_is_no_unequal_share() {
        for at in [3600, 5400, 7000] {
            let engine = run(vec![event(at, Change::PackReplaced, Some(0))]);
            let found = engine.snapshot().findings;
            assert!(found.iter().all(|finding| finding.code != "unequal-sharing"), "{found:?}");
        }
    }

    /// One pack that is charged in the cold twice, with rests between.
    fn cold(events: Vec<BankEvent>) -> Engine {
        let mut spec = PackSpec { cells: Some(4), ..PackSpec::default() };
        spec.rated.capacity = Some(AmpHours::of(100.0));
        spec.sensors[0].role = SensorRole::Cell;
        let mut engine = Engine::new(Limits::default(), Some(Bank { packs: vec![spec] }));
        engine.history(events);
        let frame = Frame::extended(0, [0; 8]);
        for second in 0..3600 {
            engine.advance(Stamp::from_secs(1_000_000 + second));
            engine.heard(&frame, &Heard::default());
            for cell in 0..4 {
                engine.put(Slot::at(0, Quantity::CellVoltage, cell), Value::Present(3.33));
            }
            engine.put(Slot::at(0, Quantity::Temperature, 0), Value::Present(-5.0));
            let charges = second < 1200 || (2400..3000).contains(&second);
            engine.put(Slot::of(0, Quantity::Current), Value::Present(if charges { 40.0 } else { 0.0 }));
        }
        engine.close();
        engine
    }

    #[test]
    fn what_was_found_of_a_pack_that_was_replaced_is_not_laid_to_the_one_that_stands_there() {
        let told = |engine: &Engine| {
            let snapshot = engine.snapshot();
            let cold = snapshot.findings.into_iter().filter(|finding| finding.code == "cold-charge");
            let line = |finding: Finding| {
                assert_eq!(finding.text.starts_with("Before pack 1 was replaced: "), finding.ended_by.is_some());
                assert_eq!(finding.what_to_do == "Nothing, unless it comes again.", finding.ended_by.is_some());
                let from = (finding.first.secs() - 1_000_000, finding.last.secs() - 1_000_000);
                (from, finding.episodes, finding.ended_by.is_some())
            };
            (cold.map(line).collect::<Vec<_>>(), snapshot.verdict.text.contains("took up to 40"))
        };
        assert_eq!(told(&cold(Vec::new())), (vec![((1, 3030), 2, false)], true));
        let between = cold(vec![event(1800, Change::PackReplaced, Some(0))]);
        assert_eq!(told(&between), (vec![((2401, 3030), 1, false), ((1, 1230), 1, true)], true));
        let after = cold(vec![event(3300, Change::PackReplaced, Some(0))]);
        assert_eq!(told(&after), (vec![((1, 3030), 2, true)], false));
        assert_eq!(told(&cold(vec![event(3300, Change::ConnectionsChanged, None)])), told(&cold(Vec::new())));
    }

    #[test]
    fn a_finding_that_is_open_when_its_pack_is_replaced_ends() {
        let engine = cold(vec![event(600, Change::CellsReplaced, Some(0))]);
        let found: Vec<_> = engine.snapshot().findings.into_iter().filter(|f| f.code == "cold-charge").collect();
        assert!(found.iter().any(|finding| finding.ended_by.is_some() && !finding.active && finding.episodes == 1));
        let episodes = engine.snapshot().episodes;
        assert!(episodes.iter().all(|episode| !episode.active), "{episodes:?}");
    }

    #[test]
    fn events_that_fell_into_the_data_are_told() {
        let all = [-5, 100, 3500, 7300].map(|at| event(at, Change::Remark, None));
        let engine = cold(all.to_vec());
        assert_eq!(engine.snapshot().events, all[1..3]);
        assert_eq!(all[1].to_string(), "a remark about every pack");
    }

    #[test]
    fn an_event_about_one_sensor_ends_what_was_found_of_that_one() {
        let moved = |sensor| BankEvent { sensor, ..event(0, Change::SensorMoved, Some(1)) };
        let rule = |code: &str| RULES.iter().find(|rule| rule.code == code).unwrap();
        let ends = |code, event: &BankEvent, subject| rule(code).ends(event, subject);
        assert!(ends("sensor-fault", &moved(Some(0)), Subject::sensor(1, 0)));
        assert!(ends("sensor-fault", &moved(None), Subject::sensor(1, 0)));
        assert!(!ends("sensor-fault", &moved(Some(0)), Subject::sensor(1, 1)));
        assert!(!ends("sensor-fault", &moved(None), Subject::pack(1)), "that is the current's");
        assert!(!ends("sensor-fault", &moved(None), Subject::sensor(0, 0)), "of another pack");
        assert!(ends("temperature-spread", &moved(Some(0)), Subject::pack(1)));
        let replaced = event(0, Change::PackReplaced, Some(1));
        assert!(ends("unequal-sharing", &replaced, Subject::pack(0)), "its share was against the one that is gone");
        assert!(ends("unequal-sharing", &replaced, Subject::BANK));
        assert!(
            ends("over-current", &replaced, Subject::pack(1)) && !ends("over-current", &replaced, Subject::pack(0))
        );
        assert!(!ends("clock-step", &replaced, Subject::BANK));
        for change in [Change::CellsReplaced, Change::ConnectionsChanged] {
            assert!(ends("balance-lead-fault", &event(0, change, Some(1)), Subject::cell(1, 2)), "{change:?}");
        }
    }

    #[test]
    fn what_was_done_before_the_log_begins_changes_nothing() {
        assert_eq!(run(vec![event(-5, Change::PackReplaced, None)]).packs, run(Vec::new()).packs);
    }

    #[test]
    fn the_history_goes_on_after_a_restore() {
        let engine = run(vec![event(7210, Change::PackReplaced, None)]);
        let bytes = postcard::to_stdvec(&engine).unwrap();
        let mut back: Engine = postcard::from_bytes(&bytes).unwrap();
        back.put(Slot::of(0, Quantity::Current), Value::Present(0.0));
        back.advance(Stamp::from_secs(1_007_220));
        assert_eq!(charged(&back), [0, 0]);
    }
}

//! What was done to the bank, at its moment.

use super::Engine;
use crate::model::{BankEvent, Change, Stamp};

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
            let concerned = |pack: &&mut super::Pack| event.pack.is_none_or(|number| number == pack.number);
            for pack in self.packs.iter_mut().filter(concerned) {
                pack.estimates.forget(event);
                if matches!(event.change, Change::PackReplaced | Change::CellsReplaced) {
                    pack.answers.iter_mut().for_each(|answer| answer.doubt = None); // of cells that are gone
                }
            }
            self.done += 1;
        }
    }

    /// Whether a history from elsewhere is no longer than one can be.
    pub(super) fn history_is_within_bounds(&self) -> bool {
        self.history.len() <= MOST
    }
}

#[cfg(test)]
mod tests {
    use crate::engine::Engine;
    use crate::model::{Bank, BankEvent, Change, Limits, PackSpec, Quantity, Slot, Stamp, Value};
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
    fn each_change_resets_what_it_must_and_nothing_else() {
        let plain = run(Vec::new());
        for (_, change) in Change::WORDS {
            let engine = run(vec![event(7195, *change, Some(0))]);
            assert_eq!(engine.packs[1].estimates, plain.packs[1].estimates, "{change:?} of pack 1 is none of pack 2");
            let (was, is) = (&plain.packs[0].estimates, &engine.packs[0].estimates);
            let kept = [
                is.charge == was.charge,
                is.sensors == was.sensors,
                is.hours == was.hours,
                is.stress == was.stress,
                is.rest == was.rest,
                is.soc == was.soc,
            ];
            let expected = match change {
                Change::PackReplaced => [false; 6],
                Change::CellsReplaced => [true, true, false, false, true, false],
                Change::CapacityChanged | Change::CurrentSensorChanged => [true, true, true, true, true, false],
                Change::SensorMoved => [true, false, true, true, true, true],
                Change::ConnectionsChanged | Change::Remark => [true; 6],
            };
            assert_eq!(kept, expected, "{change:?}: charge, sensors, hours, stress, rest, state of charge");
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

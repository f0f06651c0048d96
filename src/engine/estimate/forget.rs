//! What no longer holds after work on a bank: each change resets the estimates that it must, and no others.

use super::Estimates;
use crate::model::{BankEvent, Change};

impl Estimates {
    /// Forgets what an event in the bank file's history makes untrue.
    pub fn forget(&mut self, event: &BankEvent) {
        match event.change {
            // Another pack: nothing that was learnt is about this one.
            Change::PackReplaced => *self = Self::default(),
            // Other cells: what the old ones went through and held is gone, sensors and counting go on.
            Change::CellsReplaced => {
                self.stress = Default::default();
                self.hours = Default::default();
                self.taper = Default::default();
                self.soc = Default::default();
                self.apart = Default::default();
                self.capacity = Default::default();
                self.gain = Default::default();
                self.resistance = Default::default();
                self.reported = Default::default();
            }
            // The same ampere-hours are another share: the state of charge is known again at the next full charge.
            Change::CapacityChanged => {
                self.reported = Default::default();
                self.soc = Default::default();
                self.capacity = Default::default();
                self.gain = Default::default();
            }
            // Everything that is counted in amperes may have been wrong.
            Change::CurrentSensorChanged => {
                self.reported = Default::default();
                self.soc = Default::default();
                self.capacity = Default::default();
                self.gain = Default::default();
                self.apart = Default::default();
                self.resistance = Default::default();
                self.habits.standby = Default::default();
                self.habits.sessions = Default::default();
            }
            Change::SensorMoved => {
                self.sensors.forget(event.sensor);
                self.habits.baseline = Default::default();
            }
            // What a link costs begins anew.
            Change::ConnectionsChanged => {
                self.resistance = Default::default();
                self.gain = Default::default();
            }
            Change::Remark => {}
        }
    }
}

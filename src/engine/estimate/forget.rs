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
            }
            // The same ampere-hours are another share: the state of charge is known again at the next full charge.
            // A current that was counted wrongly has drifted away from it as well.
            Change::CapacityChanged | Change::CurrentSensorChanged => self.soc = Default::default(),
            Change::SensorMoved => self.sensors.forget(event.sensor),
            // What links cost is learnt from steps of the current alone.
            Change::ConnectionsChanged | Change::Remark => {}
        }
    }
}

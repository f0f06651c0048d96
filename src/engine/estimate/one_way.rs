//! The most charge that went one way, in or out, within two days.

use super::charge::Charge;
use crate::engine::view::View;
use serde::{Deserialize, Serialize};

/// Stretches that are kept, and how long each is, s.
const KEPT: usize = 24;
const STRETCH: i64 = 7200;

/// Least and most net charge of each stretch, Ah.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct OneWay {
    stretches: [Option<(f64, f64)>; KEPT],
    now: i64,
    most: f64,
}

impl OneWay {
    /// Moves on by one tick.
    pub fn tick(&mut self, view: &View, charge: &Charge) {
        let stretch = view.now.secs().div_euclid(STRETCH);
        if stretch != self.now {
            self.close(stretch);
        }
        let net = charge.net();
        let Some(place) = self.stretches.get_mut(stretch.rem_euclid(KEPT as i64) as usize) else { return };
        let (low, high) = place.unwrap_or((net, net));
        *place = Some((low.min(net), high.max(net)));
    }

    fn close(&mut self, stretch: i64) {
        let (mut low, mut high) = (f64::MAX, f64::MIN);
        for old in (0..KEPT as i64).rev() {
            let Some((least, most)) = self.stretches[(self.now - old).rem_euclid(KEPT as i64) as usize] else {
                continue;
            };
            (low, high) = (low.min(least), high.max(most));
            self.most = self.most.max(high - least).max(most - low);
        }
        for new in 0..(stretch - self.now).clamp(1, KEPT as i64) {
            self.stretches[(stretch - new).rem_euclid(KEPT as i64) as usize] = None;
        }
        self.now = stretch;
    }

    /// The most so far, Ah; looked at every two hours.
    #[must_use]
    pub fn most(&self) -> f64 {
        self.most
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Stamp;

    #[test]
    #[allow(clippy::field_reassign_with_default)] // a view has parts of its own
    fn a_fall_counts_whole_and_to_and_fro_does_not_add_up() {
        let mut seen = OneWay::default();
        let mut charge = Charge::default();
        for hour in 0..60 {
            let mut view = View::default();
            view.now = Stamp::from_secs(hour * 3600);
            if hour % 2 == 0 {
                charge.drawn += 5.0;
            } else {
                charge.charged += 3.0;
            }
            seen.tick(&view, &charge);
        }
        // 2 Ah in two hours: 46 Ah in 46 hours, and the swing of an hour besides.
        assert!((46.0..=53.0).contains(&seen.most()), "{}", seen.most());
    }
}

//! How packs in parallel share the bank's current: the ampere-hours of each over a stretch in which a fifth of the
//! bank's capacity moved one way, against its share of the capacity.

use crate::engine::pack::Pack;
use crate::model::Estimate;
use crate::model::MAX_PACKS;
use crate::model::bank::PackSpec;
use crate::model::limits::{LimitId, Limits};
use serde::{Deserialize, Serialize};

/// Shares over one stretch, in percentage points beyond the share of capacity.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Shares {
    /// Share of the ampere-hours, %, by pack.
    pub share: [f64; MAX_PACKS],
    /// Points beyond the share of capacity, by pack.
    pub beyond: [f64; MAX_PACKS],
}

/// One direction.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
struct Stretch {
    moved: [f64; MAX_PACKS],
    last: Option<Shares>,
}

/// What the packs do at one tick.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Flows {
    /// Smallest and largest rate of a pack, C, positive charging.
    pub rates: (f64, f64),
    /// Rate of the bank, C.
    pub bank: f64,
}

/// Current sharing of a bank.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Sharing {
    /// Charged less drawn of each pack at the tick before, Ah.
    taken: [f64; MAX_PACKS],
    packs: usize,
    /// Charge, discharge.
    stretches: [Stretch; 2],
    /// What flows now; none unless every pack's current and capacity is known and no path is open.
    pub flows: Option<Flows>,
}

impl Sharing {
    /// Moves on by one tick, after the packs.
    pub fn tick(&mut self, packs: &[Pack], limits: &Limits) {
        if packs.len() < 2 {
            return;
        }
        let before = (self.packs, self.taken, self.flows.is_some());
        self.packs = packs.len();
        for (taken, pack) in self.taken.iter_mut().zip(packs) {
            *taken = pack.estimates.charge.net();
        }
        self.flows = flows(packs);
        let Some(flows) = self.flows.filter(|_| before.0 == packs.len() && before.2) else { return };
        if flows.bank.abs() < limits.get(LimitId::SharingFromRate) {
            return;
        }
        let Some(stretch) = self.stretches.get_mut(usize::from(flows.bank < 0.0)) else { return };
        for ((moved, now), then) in stretch.moved.iter_mut().zip(self.taken).zip(before.1) {
            *moved += now - then;
        }
        let total: f64 = packs.iter().filter_map(|pack| pack.view.capacity).sum();
        let sum: f64 = stretch.moved.iter().sum();
        if sum.abs() >= limits.get(LimitId::SharingMoved) / 100.0 * total {
            stretch.last = Some(shares(&stretch.moved, sum, packs, total));
            stretch.moved = [0.0; MAX_PACKS];
        }
    }

    /// The share of a pack over the last stretches: that of the direction in which it is further off.
    #[must_use]
    pub fn of(&self, pack: usize) -> Option<(f64, f64)> {
        let found = self.stretches.iter().filter_map(|stretch| stretch.last);
        let pair = |shares: Shares| Some((*shares.share.get(pack)?, *shares.beyond.get(pack)?));
        found.filter_map(pair).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    }

    /// What is estimated for a pack; nothing for a bank of one.
    #[must_use]
    pub fn rows(&self, pack: &Pack) -> Vec<Estimate> {
        if self.packs < 2 {
            return Vec::new();
        }
        let (subject, index) = (pack.subject(), usize::from(pack.number));
        let names = ["share_charge_percent", "share_discharge_percent"];
        let row = |(name, stretch): (&'static str, &Stretch)| match stretch.last {
            Some(shares) => {
                let (share, beyond) = (shares.share[index % MAX_PACKS], shares.beyond[index % MAX_PACKS]);
                let why = format!("{beyond:+.0} points against its share of the capacity");
                Estimate::known(name, subject, share).because(why)
            }
            None => Estimate::unknown(
                name,
                subject,
                "a fifth of the bank's capacity has not yet moved one way with every pack known",
            ),
        };
        names.into_iter().zip(&self.stretches).map(row).collect()
    }
}

/// What flows, when every pack tells its own current and none has a path reported open.
fn flows(packs: &[Pack]) -> Option<Flows> {
    let mut found = Flows { rates: (f64::MAX, f64::MIN), bank: 0.0 };
    let (mut amps, mut capacity) = (0.0, 0.0);
    for pack in packs {
        let view = &pack.view;
        let open = view.switches.charge_path == Some(false) || view.switches.discharge_path == Some(false);
        let own = view.current.filter(|current| !current.shared && !open)?;
        let rated = view.capacity?;
        found.rates = (found.rates.0.min(own.amps / rated), found.rates.1.max(own.amps / rated));
        amps += own.amps;
        capacity += rated;
    }
    found.bank = amps / capacity;
    Some(found)
}

fn shares(moved: &[f64; MAX_PACKS], sum: f64, packs: &[Pack], total: f64) -> Shares {
    let mut shares = Shares::default();
    for (index, pack) in packs.iter().enumerate().take(MAX_PACKS) {
        let due = pack.view.capacity.unwrap_or_default() / total;
        shares.share[index] = 100.0 * moved[index] / sum;
        shares.beyond[index] = 100.0 * (moved[index] / sum - due);
    }
    shares
}

/// Whether a pack is beyond its own rating over the last minute.
#[must_use]
pub fn over_own_limit(pack: &Pack, spec: &PackSpec, limits: &Limits) -> bool {
    let Some((charge, draw)) = pack.estimates.stress.rms.amps(limits) else { return false };
    let over = |amps: f64, rated: Option<crate::unit::Amps>| rated.is_some_and(|rated| amps > rated.get());
    over(charge, spec.rated.charge) || over(draw, spec.rated.discharge)
}

#[cfg(test)]
pub(crate) mod tests {
    use crate::engine::story::{Story, four_cells};
    use crate::model::bank::PackSpec;
    use crate::model::{Bank, Quantity, Slot, Value};

    /// Four equal packs.
    pub(crate) fn four_packs() -> Bank {
        let spec: PackSpec = four_cells().packs[0].clone();
        Bank { packs: vec![spec.clone(), spec.clone(), spec.clone(), spec] }
    }

    /// Currents of four packs of 10 mΩ on bars with 0.6 mΩ between neighbours, by Kirchhoff's laws: plus is taken off at the
    /// first pack, minus at the first or the last.
    pub(crate) fn ladder(diagonal: bool) -> [f64; 4] {
        let (link, own, volts) = (0.6e-3, 10.0e-3, 13.2);
        let mut amps = [25.0_f64; 4];
        for _ in 0..20_000 {
            let plus = |from: usize, amps: &[f64; 4]| amps.iter().skip(from).sum::<f64>();
            let mut drop = 0.0;
            let mut at = [0.0; 4];
            for (pack, at) in at.iter_mut().enumerate() {
                if pack > 0 {
                    drop += link * plus(pack, &amps);
                }
                *at = drop;
            }
            let minus: Vec<f64> = match diagonal {
                false => at.to_vec(),
                true => (0..4).map(|pack| (pack..3).map(|k| link * amps[..=k].iter().sum::<f64>()).sum()).collect(),
            };
            let level = (0..4).map(|pack| own * amps[pack] + at[pack] + minus[pack]).sum::<f64>() / 4.0;
            for pack in 0..4 {
                amps[pack] += 20.0 * (level - own * amps[pack] - at[pack] - minus[pack]);
            }
            let sum: f64 = amps.iter().sum();
            amps.iter_mut().for_each(|amps| *amps *= 100.0 / sum);
            assert!(volts > level);
        }
        amps
    }

    /// Hours of a load of 100 A, split so, on four packs of 100 Ah.
    pub(crate) fn told(amps: [f64; 4], hours: f64, step: f64) -> Story {
        let mut story = Story::new(four_packs());
        story.run(0.0, hours * 3600.0, step, |_, bus| {
            for (pack, amps) in amps.iter().enumerate() {
                bus.put(Slot::of(pack as u8, Quantity::Current), Value::Present(*amps));
                for cell in 0..4 {
                    bus.put(Slot::at(pack as u8, Quantity::CellVoltage, cell), Value::Present(3.28));
                }
            }
        });
        story
    }

    fn shares(story: &Story, name: &str) -> Vec<Option<f64>> {
        let rows = story.snapshot().estimates.into_iter().filter(|row| row.name == name);
        rows.map(|row| row.value.map(f64::round)).collect()
    }

    /// Computed by Kirchhoff's laws: 34/26/21/19 % when both bars are taken off at one end, 26/24/24/26 % diagonally.
    #[test]
    fn links_between_packs_decide_who_gives_how_much() {
        for (diagonal, expected) in [(false, [34.0, 26.0, 21.0, 19.0]), (true, [26.0, 24.0, 24.0, 26.0])] {
            let amps = ladder(diagonal);
            for step in [1.0, 60.0] {
                let story = told(amps.map(|amps| -amps), 1.0, step);
                assert_eq!(shares(&story, "share_discharge_percent"), expected.map(Some));
                assert_eq!(shares(&story, "share_charge_percent"), [None; 4]);
            }
        }
    }

    #[test]
    fn less_than_a_fifth_of_the_capacity_tells_nothing_yet() {
        assert_eq!(shares(&told([-25.0; 4], 0.7, 10.0), "share_discharge_percent"), [None; 4]);
    }
}

//! The sensors of a bank: they are written alike, stand at one place of every pack's messages, and are judged together.

use super::bits::overlap;
use super::fit;
use super::heat::Heat;
use super::packs::order;
use super::scale::{Usual, WARM};
use super::view::View;
use super::warm::{self, Slow, Warm, Where};

/// What must speak for a place when nothing else is known, and what of it must be the heat's.
const LEADS: (f64, f64) = (3.0, 1.0);
/// The same for one that is like another.
const FOLLOWS: (f64, f64) = (1.0, -1.0);
/// How much the others count beside the best.
const OTHERS: f64 = 0.3;
/// How well a sensor goes with the heat that tells how large the current is.
const TELLS: f64 = 0.8;
/// How sure a way to write them must be to be named.
const SURE: f64 = 0.75;
/// How far two sensors of a bank usually are apart at most, K.
const APART: f64 = 6.0;

/// Runs at one place of every pack's messages.
struct Group {
    members: Vec<Slow>,
    /// What speaks for it, and what of it is the heat's, for each way to write it.
    ways: Vec<(f64, f64)>,
}

/// The temperatures, sensor by sensor, each for every pack.
pub(super) fn find(views: &[View], heats: &[Heat], place: &Where) -> Vec<Vec<Warm>> {
    let Some(heat) = heats.first() else { return Vec::new() };
    let all = warm::find(views, heat, place);
    let groups = groups(views, &all, heats, place);
    sorted(views, sensors(views, &groups, heat), place.by_choice)
}

/// The places at which every pack has a slow run.
fn groups(views: &[View], all: &[Slow], heats: &[Heat], place: &Where) -> Vec<Group> {
    let mut groups = Vec::new();
    for head in all {
        let Some(twins) = views.get(head.view).and_then(|view| place.twins.views(view)) else { continue };
        let of_pack = |(view, heat): (usize, &Heat)| {
            if view == head.view {
                return Some(head.clone());
            }
            // of the runs there the one that is as long, or nearly
            let same = |other: &&Slow| {
                let place = |slow: &Slow| (slow.run.big, slow.run.low, slow.run.signed);
                other.view == view && place(other) == place(head)
            };
            let near = all.iter().filter(same).min_by_key(|slow| slow.run.len.abs_diff(head.run.len));
            near.unwrap_or(head).read(view, views.get(view)?, heat)
        };
        let members: Option<Vec<Slow>> = twins.iter().copied().zip(heats).map(of_pack).collect();
        let Some(members) = members.filter(|members| members.len() == heats.len()) else { continue };
        let packs = members.len() as f64;
        let more = if heats.len() > 1 { warm::EACH } else { 0.0 };
        let mean = |usual: &Usual| {
            let of_each = members.iter().zip(heats).map(|(slow, heat)| slow.speaks(usual, heat, place.celsius));
            let sum = of_each.fold((0.0, 0.0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
            (sum.0 / packs + more, sum.1 / packs)
        };
        let ways = WARM.iter().map(mean).collect();
        groups.push(Group { ways, members });
    }
    groups
}

impl Group {
    /// Middle, °C.
    fn middle(&self, usual: &Usual) -> f64 {
        let count = self.members.len().max(1) as f64;
        self.members.iter().map(|slow| slow.counts.1).sum::<f64>() / count * usual.scale + usual.offset
    }

    fn speaks(&self, way: usize) -> (f64, f64) {
        self.ways.get(way).copied().unwrap_or((f64::NEG_INFINITY, 0.0))
    }

    fn passes(&self, way: usize, least: (f64, f64)) -> bool {
        let own = self.speaks(way);
        own.0 >= least.0 && own.1 >= least.1
    }

    /// Whether it rises, on average of the packs, so much more or less than the heat is reckoned to warm it, beside how
    /// well this can be told, that something else is meant.
    fn is_far(&self, usual: &Usual, heat: &Heat) -> bool {
        let rises: Option<Vec<(f64, f64)>> = self.members.iter().map(|slow| slow.rise(usual)).collect();
        let Some(rises) = rises else { return true };
        let sum = rises.iter().fold((0.0, 0.0), |sum, rise| (sum.0 + rise.0, sum.1 + rise.1));
        sum.0.abs() > (heat.error * warm::FAR_RISE).ln() * rises.len() as f64 + sum.1
    }

    fn shares_bits(&self, views: &[View], other: &Self) -> bool {
        let mask = |slow: &Slow| slow.run.mask(views.get(slow.view).map_or(0, View::bytes));
        self.members.iter().any(|a| other.members.iter().any(|b| a.view == b.view && overlap(&mask(a), &mask(b))))
    }
}

/// The groups that are the bank's sensors: alike to the one for which most speaks.
fn sensors(views: &[View], groups: &[Group], heat: &Heat) -> Vec<Vec<Warm>> {
    let mut best: Vec<(f64, Usual, Vec<&Group>)> = Vec::new();
    for (way, usual) in WARM.iter().enumerate() {
        let of_way = groups.iter().filter(|group| group.passes(way, LEADS));
        let Some(lead) = of_way.max_by(|a, b| a.speaks(way).0.total_cmp(&b.speaks(way).0)) else { continue };
        let mut order: Vec<&Group> = groups.iter().filter(|group| group.passes(way, FOLLOWS)).collect();
        order.sort_by(|a, b| b.speaks(way).0.total_cmp(&a.speaks(way).0));
        let mut kept = vec![lead];
        for other in order {
            let alike = (other.middle(usual) - lead.middle(usual)).abs() <= APART;
            if alike && !kept.iter().any(|kept| kept.shares_bits(views, other)) {
                kept.push(other);
            }
        }
        let others: f64 = kept.iter().skip(1).map(|group| group.speaks(way).0).sum();
        best.push((lead.speaks(way).0 + OTHERS * others, *usual, kept));
    }
    best.sort_by(|a, b| b.0.total_cmp(&a.0));
    let Some((most, usual, kept)) = best.first() else { return Vec::new() };
    // offsets so near to each other say the same
    let near = |other: &Usual| other.scale == usual.scale && (other.offset - usual.offset).abs() < 0.5;
    let others: f64 = best.iter().filter(|(_, other, _)| !near(other)).map(|(sum, ..)| (sum - most).exp()).sum();
    let sure = 1.0 / (1.0 + others);
    if sure < SURE {
        return Vec::new();
    }
    if heat.is_absolute && kept.first().is_none_or(|lead| lead.is_far(usual, heat)) {
        return Vec::new();
    }
    let named = |slow: &Slow| {
        let together = slow.warms.line.together;
        let rise = heat.is_absolute.then_some(slow.warms.line.slope * usual.scale / warm::RISE);
        Warm { view: slow.view, run: slow.run, usual: *usual, together, sure, rise }
    };
    kept.iter().map(|group| group.members.iter().map(named).collect()).collect()
}

/// By how many times as much as is reckoned the heat warms the sensors, when they go so well with it that this can be
/// told.
pub(super) fn rise(sensors: &[Vec<Warm>]) -> Option<f64> {
    let well = sensors.iter().flatten().filter(|warm| warm.together >= TELLS);
    let rises: Vec<f32> = well.filter_map(|warm| warm.rise).map(|rise| rise as f32).collect();
    let rise = fit::middle(&rises);
    (rise > 0.0).then_some(rise)
}

/// In the order of their messages and bits.
fn sorted(views: &[View], mut sensors: Vec<Vec<Warm>>, by_choice: bool) -> Vec<Vec<Warm>> {
    let front = |group: &Vec<Warm>| {
        group.first().map(|warm| {
            let bytes = views.get(warm.view).map_or(0, View::bytes);
            order(views, by_choice, warm.view, warm.run.front(bytes))
        })
    };
    sensors.sort_by_key(front);
    sensors
}

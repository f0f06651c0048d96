//! How large a count of current and of charge is: the two are tied by the capacity, the current by the resistance
//! that cells of a capacity have, and the charge cannot pass 100 %.

use super::amps::{Amps, VOLTS_PER_C};
use super::fit;
use super::found::Known;
use super::scale::{AMPS, SOC, Usual};
use super::soc::Soc;
use crate::curve::{OCV_PLETT_MID, RESISTANCE_RATIO_PLETT};

/// How sure a scale must be to be named: of current, and of charge, of which only the length may be open.
const SURE: f64 = 0.85;
const SURE_SOC: f64 = 0.8;
/// Capacity of a pack, Ah, when nobody says.
const CAPACITY: (f64, f64) = (40.0, 700.0);
/// How well the capacity that current and charge make must meet the one that is printed on the pack, as a logarithm.
const CAPACITY_ERROR: f64 = 0.05;
/// The same of resistance, which differs by temperature and make.
const RESISTANCE_ERROR: f64 = 0.35;
/// The same of how much the heat of the current warms: cases differ, and where the sensors sit.
const RISE_ERROR: f64 = 0.3;
/// How far a cell with next to no current may be from the published curve at its state of charge, V, and how much is
/// left of a scale that is further off: cells differ, and hardly ever rest.
const REST_ERROR: f64 = 0.03;
const REST_LEFT: f64 = 0.05;

/// How much is left of a length above which the byte goes on.
const CUT: f64 = 0.15;

/// Scales, with how sure each is; `None` for what stays open.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Sizes {
    rows: Vec<Row>,
    pub(super) amps: Option<(f64, f64)>,
    pub(super) soc: Option<(f64, f64)>,
    /// Length of the state of charge.
    pub(super) len: u8,
    /// The likeliest scale of the current, sure or not.
    pub(super) likely: Option<f64>,
    /// How much speaks for the likeliest scales.
    pub(super) weight: f64,
    /// Scales of the current that remain possible.
    pub(super) open: Vec<f64>,
}

/// What the packs show.
pub(super) struct Seen<'a> {
    pub(super) amps: &'a [Amps],
    pub(super) soc: Option<&'a [Soc]>,
    /// Mean voltage of the cells at each point.
    pub(super) mean: &'a [f32],
    /// Lengths that the first pack's state of charge can have, with what each adds to its counts.
    pub(super) lengths: &'a [(u8, f64)],
}

impl Seen<'_> {
    /// State of charge in counts and voltage of a cell without its resistance, where there is little current.
    fn rests(&self) -> Vec<(f64, f64)> {
        let (Some(amps), Some(soc)) = (self.amps.first(), self.soc.and_then(|soc| soc.first())) else {
            return Vec::new();
        };
        let zero = if amps.run.signed { 0.0 } else { soc.zero };
        let off = |count: &f32| (f64::from(*count) - zero).abs() as f32;
        let mut sizes: Vec<f32> = amps.counts.iter().map(off).filter(|off| !off.is_nan()).collect();
        let little = fit::share(&mut sizes, 0.3);
        let rows = amps.counts.iter().zip(&soc.counts).zip(self.mean);
        let still =
            rows.filter(|((count, soc), mean)| f64::from(off(count)) <= little && !soc.is_nan() && !mean.is_nan());
        still
            .map(|((count, soc), mean)| (f64::from(*soc), f64::from(*mean) - amps.slope * (f64::from(*count) - zero)))
            .collect()
    }
}

/// The scales of the packs' currents and states of charge.
pub(super) fn find(seen: &Seen, known: &Known) -> Sizes {
    let mean = |numbers: &mut dyn Iterator<Item = f64>| {
        let numbers: Vec<f64> = numbers.collect();
        numbers.iter().sum::<f64>() / numbers.len().max(1) as f64
    };
    let warmth = known.celsius.map_or(1.0, |celsius| RESISTANCE_RATIO_PLETT.at(celsius + 3.0));
    let ohms = mean(&mut seen.amps.iter().map(|amps| amps.slope.abs())) / warmth;
    let slope = seen.soc.map(|soc| mean(&mut soc.iter().map(|soc| soc.slope)));
    let top = seen.soc.map(|soc| soc.iter().flat_map(|soc| &soc.counts).fold(0.0_f32, |top, count| top.max(*count)));
    let rests = seen.rests();
    let mut rows: Vec<Row> = Vec::new();
    for usual in AMPS {
        let weight = usual.weight * offset(seen.amps, seen.soc, usual.scale).map_or(ODD, |offset| offset.weight);
        let of_amps = Usual { weight, ..*usual };
        let (Some(slope), Some(top)) = (slope, top) else {
            let weight = of_amps.weight * resistance(ohms / of_amps.scale, known.capacity);
            rows.push(Row { amps: of_amps.scale, soc: 0.0, len: 0, weight });
            continue;
        };
        for (of_soc, (len, more)) in
            SOC.iter().flat_map(|usual| seen.lengths.iter().map(move |length| (usual, *length)))
        {
            if (f64::from(top) + more) * of_soc.scale > 1.004 {
                continue;
            }
            let own = of_amps.scale / (of_soc.scale * slope);
            let sizes = meets(own, known.capacity) * resistance(ohms / of_amps.scale, Some(own));
            let whole = if seen.lengths.iter().any(|longer| longer.0 > len && (longer.0 - 1) / 8 == (len - 1) / 8) {
                CUT
            } else {
                1.0
            };
            let weight = whole * of_amps.weight * of_soc.weight * sizes * at_rest(&rests, more, of_soc.scale);
            rows.push(Row { amps: of_amps.scale, soc: of_soc.scale, len, weight });
        }
    }
    sizes(rows)
}

/// How well the voltages at rest meet the published curve at the states of charge that a scale gives.
fn at_rest(rests: &[(f64, f64)], more: f64, scale: f64) -> f64 {
    let off: Vec<f32> =
        rests.iter().map(|(soc, volts)| (volts - OCV_PLETT_MID.at((soc + more) * scale)) as f32).collect();
    let off = fit::middle(&off);
    if off.is_nan() { 1.0 } else { REST_LEFT + (1.0 - REST_LEFT) * bell(off, REST_ERROR) }
}

/// A scale of each, a length of the state of charge, and how much speaks for them together.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    amps: f64,
    soc: f64,
    len: u8,
    weight: f64,
}

/// The scales from the weights of all of them.
fn sizes(rows: Vec<Row>) -> Sizes {
    let all: f64 = rows.iter().map(|row| row.weight).sum();
    if all <= 1e-6 {
        return Sizes::default();
    }
    let share =
        |own: &dyn Fn(&Row) -> bool| rows.iter().filter(|row| own(row)).map(|row| row.weight).sum::<f64>() / all;
    // of scales that say the same the first, which is the more usual one
    let best = |list: Vec<(f64, f64)>| list.into_iter().rev().max_by(|a, b| a.1.total_cmp(&b.1));
    let of_amps: Vec<(f64, f64)> =
        AMPS.iter().map(|usual| (usual.scale, share(&|row| row.amps == usual.scale))).collect();
    let most = rows.iter().max_by(|a, b| a.weight.total_cmp(&b.weight));
    let len = most.map_or(0, |row| row.len);
    let of_soc =
        SOC.iter().map(|usual| (usual.scale, share(&|row| is_near(row.soc, usual.scale) && row.len == len))).collect();
    Sizes {
        len,
        likely: most.map(|row| row.amps),
        weight: most.map_or(0.0, |row| row.weight),
        open: of_amps.iter().filter(|(_, share)| *share > 0.02).map(|(scale, _)| *scale).collect(),
        amps: best(of_amps).filter(|(_, share)| *share >= SURE),
        soc: best(of_soc).filter(|(_, share)| *share >= SURE_SOC),
        rows,
    }
}

impl Sizes {
    /// The same with what the bank's temperatures say: with the likeliest scale of the current they rise so many times as
    /// much as its heat is reckoned to warm them, and this heat goes with the scale.
    pub(super) fn with_rise(self, rise: f64) -> Self {
        let Some(likely) = self.likely else { return self };
        let warmed = |row: Row| Row { weight: row.weight * bell((rise * likely / row.amps).ln(), RISE_ERROR), ..row };
        sizes(self.rows.into_iter().map(warmed).collect())
    }
}

/// Scales so near to each other say the same.
fn is_near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 0.025 * b
}

fn bell(off: f64, error: f64) -> f64 {
    (-0.5 * (off / error).powi(2)).exp()
}

fn meets(own: f64, capacity: Option<f64>) -> f64 {
    match capacity {
        Some(capacity) => bell((own / capacity).ln(), CAPACITY_ERROR),
        None if (CAPACITY.0..CAPACITY.1).contains(&own) => 1.0,
        None => 0.0,
    }
}

/// How well a cell's resistance meets what cells of this capacity have; of any in the usual range without one.
fn resistance(ohms: f64, capacity: Option<f64>) -> f64 {
    let Some(capacity) = capacity else {
        let (low, high) = (VOLTS_PER_C / CAPACITY.1, VOLTS_PER_C / CAPACITY.0);
        let off = (low / ohms).ln().max((ohms / high).ln()).max(0.0);
        return bell(off, RESISTANCE_ERROR);
    };
    bell((ohms * capacity / VOLTS_PER_C).ln(), RESISTANCE_ERROR)
}

/// Offsets that are usual for currents, A, the plainest first, with how usual they are (judgement).
const OFFSETS: [(f64, f64); 12] = [
    (1000.0, 1.0),
    (500.0, 1.0),
    (1600.0, 0.3),
    (2000.0, 0.3),
    (3000.0, 0.7),
    (3200.0, 0.1),
    (300.0, 0.3),
    (400.0, 0.3),
    (200.0, 0.3),
    (100.0, 0.3),
    (600.0, 0.3),
    (5000.0, 0.1),
];
/// Scale and offset of a current in the open standards of vehicles (J1939, RV-C).
const STANDARD: (f64, f64) = (0.05, 1600.0);
/// How usual half of what the field holds is as an offset, and one that nothing explains.
const HALF: f64 = 0.3;
const ODD: f64 = 0.05;
/// How far the count at which charge stands still may be from the offset, A.
const STANDS_STILL: f64 = 15.0;

/// The number of amperes at count 0, charging upwards, of a field with the ones above it that are a part of this;
/// `None` when it stays open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Offset {
    /// A.
    pub(super) amps: f64,
    /// What the ones above add to the field's counts.
    pub(super) above: f64,
    /// How usual it is.
    weight: f64,
}

impl Offset {
    /// The number of amperes at count 0 of the field as it is.
    pub(super) fn as_is(&self, scale: f64) -> f64 {
        self.amps + self.above * scale
    }
}

/// The offset of the currents of this scale.
pub(super) fn offset(amps: &[Amps], soc: Option<&[Soc]>, scale: f64) -> Option<Offset> {
    let run = amps.first()?.run;
    if run.signed {
        return Some(Offset { amps: 0.0, above: 0.0, weight: 1.0 });
    }
    let mut counts: Vec<f32> =
        amps.iter().flat_map(|amps| amps.counts.iter().copied()).filter(|count| !count.is_nan()).collect();
    let (low, high) = (fit::share(&mut counts, 0.001) * scale, fit::share(&mut counts, 0.999) * scale);
    let half = (1_u64 << (run.len - 1)) as f64 * scale;
    let still = soc.map(|soc| soc.iter().map(|soc| soc.zero).sum::<f64>() / soc.len().max(1) as f64 * scale);
    let standard = |(offset, weight)| if (scale, offset) == STANDARD { (offset, 1.0) } else { (offset, weight) };
    let zero = [(0.0, 1.0)].into_iter().filter(|_| low < 20.0).chain(OFFSETS.map(standard)).chain([(half, HALF)]);
    let above = amps.first().map_or(&[0.0][..], |amps| &amps.above);
    // ones above the field that never change may be a part of its offset
    let mut all = zero
        .flat_map(|(zero, weight)| above.iter().map(move |above| Offset { amps: -zero, above: *above, weight }))
        .map(|offset| (-offset.as_is(scale), offset));
    match still {
        Some(still) => {
            let found = all.filter(|(zero, _)| (still - zero).abs() <= STANDS_STILL);
            found.min_by(|a, b| (a.0 - still).abs().total_cmp(&(b.0 - still).abs()))
        }
        None => all.find(|(zero, _)| low <= zero + 5.0 && high >= zero - 5.0),
    }
    .map(|(_, offset)| offset)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_sensors_rise_settles_a_scale_that_is_open() {
        let row = |amps, weight| Row { amps, soc: 0.0, len: 0, weight };
        let open = sizes(vec![row(0.1, 0.4), row(0.05, 0.5)]);
        assert_eq!((open.amps, open.likely), (None, Some(0.05)));
        // with 0.05 A a count they warm twice as much as they should
        assert_eq!(open.clone().with_rise(2.0).amps.map(|(scale, _)| scale), Some(0.1));
        assert_eq!(open.with_rise(1.0).amps.map(|(scale, _)| scale), Some(0.05));
    }
}

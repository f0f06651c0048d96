use super::exposure::{self, Exposure};
#[test]
fn print() {
    for info in cellwright::sim::scenarios() {
        for seed in 1..=10 {
            let e = exposure::of(info.name, seed, info.sample.max(10.0));
            println!(
                "{:14} {seed:2} plat {:4.1}m@{:?} x{:.2} sheet {:5.1}m@{:?} hot {:.0}/{:.0}m@{:?}/{:?} maxTchg {:.1} T {:.1} spread {:.0}m@{:?} {:.3} held {:.1}h@{:?} low {:.0}m@{:?} {:.3} cuts {:?} hi {:.3} dis {:.2}",
                info.name,
                e.plating.minutes,
                e.plating.first.map(f64::round),
                e.plating_ratio,
                e.sheet.minutes,
                e.sheet.first.map(f64::round),
                e.hot[0].minutes,
                e.hot[1].minutes,
                e.hot[0].first.map(f64::round),
                e.hot[1].first.map(f64::round),
                e.hottest_charging,
                e.hottest,
                e.spread.minutes,
                e.spread.first.map(f64::round),
                e.spread_volts,
                e.held.0,
                e.held.1,
                e.low.minutes,
                e.low.first.map(f64::round),
                e.lowest,
                e.cuts,
                e.highest,
                e.discharge_rate
            );
        }
    }
}

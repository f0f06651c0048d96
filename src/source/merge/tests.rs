use super::*;
use crate::model::Id;
use crate::model::frame::FrameKind;

const SECOND: i64 = NANOS_PER_SEC;
/// Wall time of the tests' start; the computer has been up for 100 s then.
const START: i64 = 1_769_835_600;

fn at(secs: f64) -> Moment {
    let nanos = (secs * 1e9) as i64;
    Moment {
        wall: Stamp::from_secs(START).plus_nanos(nanos),
        steady: 100 * SECOND + nanos,
        awake: 100 * SECOND + nanos,
    }
}

fn frame(number: u8) -> Body {
    Body::Frame(Frame::new(Id::Standard(u16::from(number)), FrameKind::Data, &[number]).unwrap())
}

fn names(all: &[&str]) -> Option<Interfaces> {
    let mut names = Interfaces::new();
    for name in all {
        names.channel(name.as_bytes()).unwrap();
    }
    Some(names)
}

fn batch(source: u8, items: Vec<(Stamp, Body)>) -> Batch {
    Batch { source, items, ..Batch::default() }
}

fn released(merge: &mut Merge, now: Moment) -> Vec<Input> {
    let mut inputs = Vec::new();
    merge.release(now, |input, _| inputs.push(input.clone()));
    inputs
}

fn closed(merge: &mut Merge, now: Moment) -> Vec<Input> {
    let mut inputs = Vec::new();
    merge.finish(now, |input, _| inputs.push(input.clone()));
    inputs
}

fn input(secs: f64, body: Body) -> Input {
    Input { stamp: at(secs).wall, body }
}

/// Looks at the clock and takes a batch, as the driver does.
fn arrive(merge: &mut Merge, batch: Batch, now: Moment) {
    merge.look(now);
    merge.take(batch, now);
}

fn two_buses() -> Merge {
    let mut merge = Merge::new(at(0.0), &[Kind::Live, Kind::Live]);
    arrive(&mut merge, Batch { source: 0, names: names(&["can0"]), ..Batch::default() }, at(0.0));
    arrive(&mut merge, Batch { source: 1, names: names(&["can1"]), ..Batch::default() }, at(0.0));
    merge
}

#[test]
fn two_buses_merge_by_stamp_and_channels_count_by_first_release() {
    let mut merge = two_buses();
    arrive(&mut merge, batch(0, vec![(at(1.002).wall, frame(2)), (at(1.004).wall, frame(4))]), at(1.005));
    arrive(&mut merge, batch(1, vec![(at(1.001).wall, frame(1)), (at(1.003).wall, frame(3))]), at(1.006));
    assert_eq!(released(&mut merge, at(1.01)), [], "within the window something earlier may still come");
    let inputs = released(&mut merge, at(1.1));
    let order: Vec<_> = inputs.iter().map(|input| input.stamp).collect();
    assert_eq!(order, [1.001, 1.002, 1.003, 1.004].map(|secs| at(secs).wall));
    assert_eq!(merge.names().iter().collect::<Vec<_>>(), ["can1", "can0"]);
    let Body::Frame(first) = inputs[0].body else { panic!() };
    assert_eq!(first.channel, 0);
}

#[test]
fn what_comes_too_late_gets_the_time_that_has_passed() {
    let mut merge = two_buses();
    released(&mut merge, at(2.0));
    arrive(&mut merge, batch(0, vec![(at(1.0).wall, frame(1))]), at(2.0));
    let Body::Frame(expected) = frame(1) else { panic!() };
    assert_eq!(released(&mut merge, at(2.1)), [input(1.95, Body::Frame(expected.on(0)))]);
}

/// The clock is set back two hours: the stamps go back, the step says so, and what came around it keeps its order.
#[test]
fn a_clock_set_back_is_one_step() {
    let mut merge = two_buses();
    let set_back = |moment: Moment| Moment { wall: moment.wall.plus_secs(-7200.0), ..moment };
    arrive(&mut merge, batch(0, vec![(at(0.99).wall, frame(1))]), at(1.0));
    let now = set_back(at(1.2));
    merge.look(now);
    arrive(
        &mut merge,
        batch(0, vec![(at(1.05).wall, frame(2)), (set_back(at(1.3)).wall, frame(3))]),
        set_back(at(1.3)),
    );
    let inputs = released(&mut merge, set_back(at(2.0)));
    let bodies: Vec<_> =
        inputs.iter().map(|input| (input.stamp, matches!(input.body, Body::ClockStep { .. }))).collect();
    assert_eq!(
        bodies,
        [(at(0.99).wall, false), (at(1.05).wall, false), (now.wall, true), (set_back(at(1.3)).wall, false),]
    );
    assert_eq!(inputs[2].body, Body::ClockStep { old: at(1.2).wall });
}

#[test]
fn a_board_that_starts_in_1970_is_set_later() {
    let early = Moment { wall: Stamp::from_secs(20), steady: 20 * SECOND, awake: 20 * SECOND };
    let mut merge = Merge::new(early, &[Kind::Live]);
    arrive(&mut merge, Batch { names: names(&["can0"]), ..Batch::default() }, early);
    arrive(&mut merge, batch(0, vec![(Stamp::from_secs(20), frame(1))]), early);
    let set = Moment { wall: Stamp::from_secs(START), steady: 21 * SECOND, awake: 21 * SECOND };
    arrive(&mut merge, batch(0, vec![(Stamp::from_secs(START), frame(2))]), set);
    let late = Moment { wall: Stamp::from_secs(START + 1), steady: 22 * SECOND, awake: 22 * SECOND };
    let inputs = released(&mut merge, late);
    assert_eq!(inputs.len(), 3);
    assert_eq!(
        inputs[1],
        Input { stamp: Stamp::from_secs(START), body: Body::ClockStep { old: Stamp::from_secs(21) } }
    );
    assert_eq!(inputs[2].stamp, Stamp::from_secs(START));
}

#[test]
fn sleep_is_an_input() {
    let mut merge = two_buses();
    let woken = Moment { awake: at(1.0).awake, ..at(3601.0) };
    merge.look(woken);
    assert_eq!(released(&mut merge, at(3602.0)), [input(3601.0, Body::Suspend { secs: 3600 })]);
}

/// A log that comes through a pipe keeps its stamps, whatever this computer's clock says.
#[test]
fn a_piped_log_keeps_its_stamps_and_its_steps() {
    let mut merge = Merge::new(at(0.0), &[Kind::Stamped]);
    let stamp = |secs: i64| Stamp::from_secs(5000 + secs);
    let step = Body::ClockStep { old: stamp(2) };
    let items = vec![
        (stamp(1), frame(1)),
        (stamp(-3600), step.clone()),
        (stamp(-3600), frame(2)),
        (stamp(-3599), Body::Closing),
    ];
    arrive(&mut merge, Batch { names: names(&["can0"]), ..batch(0, items) }, at(0.0));
    let mut inputs = released(&mut merge, at(0.0));
    arrive(&mut merge, Batch { ended: true, ..Batch::default() }, at(1.0));
    assert!(merge.is_over());
    inputs.extend(closed(&mut merge, at(9.0)));
    let stamps: Vec<_> = inputs.iter().map(|input| input.stamp).collect();
    assert_eq!(stamps, [stamp(1), stamp(-3600), stamp(-3600), stamp(-3599)]);
    assert_eq!(inputs[1].body, step);
    assert_eq!(inputs[3].body, Body::Closing);
}

#[test]
fn a_pipe_that_falls_silent_lets_time_pass() {
    let mut merge = Merge::new(at(0.0), &[Kind::Stamped]);
    arrive(
        &mut merge,
        Batch { names: names(&["can0"]), ..batch(0, vec![(Stamp::from_secs(5000), frame(1))]) },
        at(0.0),
    );
    assert_eq!(merge.release(at(4.0), |_, _| ()), Some(Stamp::from_secs(5000)));
    assert_eq!(merge.release(at(65.0), |_, _| ()), Some(Stamp::from_secs(5060)));
}

#[test]
fn two_logs_wait_for_each_other() {
    let mut merge = Merge::new(at(0.0), &[Kind::Stamped, Kind::Stamped]);
    let stamp = Stamp::from_secs;
    arrive(
        &mut merge,
        Batch { names: names(&["can0"]), ..batch(0, vec![(stamp(1), frame(1)), (stamp(4), frame(4))]) },
        at(0.0),
    );
    assert_eq!(released(&mut merge, at(0.0)), []);
    let rest = vec![(stamp(2), frame(2)), (stamp(3), frame(3))];
    arrive(&mut merge, Batch { names: names(&["can1"]), ended: true, ..batch(1, rest) }, at(0.1));
    let order: Vec<_> = released(&mut merge, at(0.1)).iter().map(|input| input.stamp.secs()).collect();
    assert_eq!(order, [1, 2, 3, 4]);
}

#[test]
fn a_piped_log_beside_a_bus_is_shifted_to_the_computers_clock_when_its_own_is_far_off() {
    let mut merge = Merge::new(at(0.0), &[Kind::Live, Kind::Stamped]);
    arrive(&mut merge, Batch { source: 0, names: names(&["can0"]), ..Batch::default() }, at(0.0));
    let far = Stamp::from_secs(5000);
    let items = [(far, frame(1)), (far.plus_secs(2.0), frame(2))];
    arrive(&mut merge, Batch { names: names(&["can9"]), ..batch(1, items[..1].to_vec()) }, at(1.0));
    arrive(&mut merge, batch(1, items[1..].to_vec()), at(3.0));
    let stamps: Vec<_> = released(&mut merge, at(4.0)).iter().map(|input| input.stamp).collect();
    assert_eq!(stamps, [at(1.0).wall, at(3.0).wall]);
}

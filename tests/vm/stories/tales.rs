//! The stories.

use crate::bus::{self, LISTENS, Sender, TALKS, VIRTUAL};
use crate::run::{Ended, Watch, check, path, signal};
use cellwright::model::Body;
use cellwright::source::log::LogReader;
use rustix::time::{ClockId, Timespec, clock_gettime, clock_settime};
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// A story: what it tells when it ends well.
type Story = fn() -> String;

pub(crate) const ALL: &[(&str, Story)] = &[
    ("live equals its recording on a virtual interface", on_a_virtual_interface),
    ("live equals its recording on a controller", on_a_controller),
    ("a controller that is not in listen-only mode is said", a_talking_controller),
    ("nothing is ever sent", nothing_is_sent),
    ("error frames, bus-off and overruns of the controller", error_frames),
    ("the link goes down and comes up", link_down_and_up),
    ("the adapter is pulled and comes back", adapter_pulled),
    ("frames lost by this computer are counted exactly", overrun),
    ("4000 frames a second and none lost", fast),
    ("the clock is set back two hours and forward a day", clock_steps),
    ("a full disk is said and watching goes on", full_disk),
    ("two interfaces at once", two_interfaces),
    ("an interface that is not there", not_there),
    ("what there is to listen to", listing),
];

fn secs(secs: f64) {
    std::thread::sleep(Duration::from_secs_f64(secs));
}

fn bodies(ended: &Ended) -> Vec<Body> {
    let mut reader = LogReader::open(std::slice::from_ref(&ended.record)).unwrap();
    let mut all = Vec::new();
    while let Some(input) = reader.next().unwrap() {
        all.push(input.body);
    }
    all
}

fn links(ended: &Ended) -> Vec<bool> {
    bodies(ended).iter().filter_map(|body| if let Body::Link { up, .. } = body { Some(*up) } else { None }).collect()
}

fn on_a_virtual_interface() -> String {
    let watch = Watch::start("virtual", &[VIRTUAL]);
    Sender::on(VIRTUAL).at(bus::frames(), 400, 100.0);
    let ended = watch.stop_after(400);
    ended.equals_its_recording();
    assert_eq!(ended.number("frames"), 400, "{}", ended.said);
    assert_eq!(ended.number("decoded"), 400);
    assert_eq!(ended.number("lost"), 0);
    "400 frames".into()
}

fn on_a_controller() -> String {
    let watch = Watch::start("controller", &[LISTENS]);
    Sender::on(TALKS).gently(bus::frames(), 400);
    let ended = watch.stop_after(400);
    ended.equals_its_recording();
    assert_eq!(ended.number("frames"), 400, "{}", ended.said);
    assert!(ended.said.contains("can1: listening at 250 kbit/s\n"), "{}", ended.said);
    "400 frames at 250 kbit/s".into()
}

fn a_talking_controller() -> String {
    let watch = Watch::start("talking", &[TALKS]);
    let ended = watch.stop();
    let set = "sudo ip link set can0 down && sudo ip link set can0 type can listen-only on && sudo ip link set can0 up";
    assert!(ended.said.contains("not in listen-only mode and acknowledges frames"), "{}", ended.said);
    assert!(ended.said.contains(set), "{}", ended.said);
    "said, with the command".into()
}

/// strace's own record of every call that could send.
fn nothing_is_sent() -> String {
    let trace = path("sent", "trace");
    let calls = "trace=socket,close,write,writev,pwrite64,pwritev,sendto,sendmsg,sendmmsg,splice,sendfile";
    let before = ["strace", "-f", "--seccomp-bpf", "-o", trace.to_str().unwrap(), "-e", calls];
    let watch = Watch::begin("sent", &[VIRTUAL], &before);
    watch.wait_for("listening");
    Sender::on(VIRTUAL).at(bus::frames(), 200, 100.0);
    let ended = watch.stop_after(200);
    assert_eq!(ended.number("decoded"), 200, "{}", ended.said);
    let text = fs::read_to_string(&trace).unwrap();
    let mut open = std::collections::BTreeSet::new();
    let (mut sockets, mut judged) = (0, 0);
    for line in text.lines() {
        let call = line.trim_start_matches(|c: char| c.is_ascii_digit() || c == ' ');
        if call.starts_with("socket(AF_CAN") || call.starts_with("socket(0x1d") {
            sockets += 1;
            open.insert(call.rsplit("= ").next().unwrap().trim().to_owned());
            continue;
        }
        let Some((name, rest)) = call.split_once('(') else { continue };
        let descriptor = rest.split([',', ')']).next().unwrap_or_default().to_owned();
        match name {
            "close" => {
                open.remove(&descriptor);
            }
            "socket" => {}
            _ => {
                judged += 1;
                assert!(!open.contains(&descriptor), "something was sent: {line}");
            }
        }
    }
    assert!(sockets > 0 && judged > 0, "the trace is blind: {text}");
    format!("{judged} writes and sends looked at, none on a bus")
}

fn error_frames() -> String {
    let watch = Watch::start("errors", &[VIRTUAL]);
    let sender = Sender::on(VIRTUAL);
    sender.error(0x4, [0, 0x04, 0, 0, 0, 0, 0, 96]);
    sender.error(0x4, [0, 0x10, 0, 0, 0, 0, 0, 128]);
    sender.error(0x4, [0, 0x01, 0, 0, 0, 0, 0, 0]);
    sender.error(0x40, [0; 8]);
    watch.wait_for("gone off the bus");
    sender.error(0x100, [0; 8]);
    sender.at(bus::frames(), 20, 100.0);
    let ended = watch.stop();
    ended.equals_its_recording();
    assert_eq!(ended.number("error_frames"), 5);
    assert_eq!(ended.number("frames"), 20, "error frames are no bus frames");
    assert_eq!(ended.number("lost"), 1, "the controller's own overrun");
    use cellwright::model::input::ControllerState::{Active, BusOff, Passive, Warning};
    let states: Vec<_> = bodies(&ended)
        .into_iter()
        .filter_map(|body| if let Body::Controller { state, .. } = body { Some(state) } else { None })
        .collect();
    assert_eq!(states, [Warning, Passive, BusOff, Active]);
    "warning, passive, bus-off, active again".into()
}

fn link_down_and_up() -> String {
    let watch = Watch::start("link", &[VIRTUAL]);
    let sender = Sender::on(VIRTUAL);
    sender.at(bus::frames(), 50, 100.0);
    secs(0.3);
    bus::link(VIRTUAL, false);
    watch.wait_for("the link is down");
    bus::link(VIRTUAL, true);
    watch.wait_again();
    Sender::on(VIRTUAL).at(bus::frames(), 50, 100.0);
    let ended = watch.stop_after(100);
    ended.equals_its_recording();
    assert_eq!(ended.number("frames"), 100, "{}", ended.said);
    assert_eq!(links(&ended), [true, false, true], "{}", ended.said);
    "the socket was kept".into()
}

fn adapter_pulled() -> String {
    let watch = Watch::start("pulled", &[VIRTUAL]);
    Sender::on(VIRTUAL).at(bus::frames(), 50, 100.0);
    secs(0.3);
    bus::remove_virtual();
    watch.wait_for("the adapter is gone");
    secs(1.0);
    bus::create_virtual();
    watch.wait_again();
    Sender::on(VIRTUAL).at(bus::frames(), 50, 100.0);
    let ended = watch.stop_after(100);
    ended.equals_its_recording();
    assert_eq!(ended.number("frames"), 100, "{}", ended.said);
    assert_eq!(links(&ended), [true, false, true]);
    "taken up again by its name".into()
}

fn overrun() -> String {
    let watch = Watch::start("overrun", &[VIRTUAL]);
    let sender = Sender::on(VIRTUAL);
    sender.at(bus::frames(), 10, 1000.0);
    secs(0.3);
    signal(watch.id(), "STOP");
    sender.at(bus::frames(), 5000, 1e6);
    signal(watch.id(), "CONT");
    secs(3.0);
    let ended = watch.stop();
    ended.equals_its_recording();
    let (frames, lost) = (ended.number("frames"), ended.number("lost"));
    assert!(lost > 0, "nothing was lost: the buffer is too large for this story");
    assert_eq!(frames + lost, 5010);
    format!("{lost} lost, {frames} read")
}

fn fast() -> String {
    let watch = Watch::start("fast", &[VIRTUAL]);
    Sender::on(VIRTUAL).at(bus::frames(), 12_000, 4000.0);
    let ended = watch.stop_after(12000);
    ended.equals_its_recording();
    assert_eq!((ended.number("frames"), ended.number("lost")), (12_000, 0));
    "12000 frames".into()
}

fn set_clock(by: i64) {
    let now = clock_gettime(ClockId::Realtime);
    clock_settime(ClockId::Realtime, Timespec { tv_sec: now.tv_sec + by, ..now }).expect("the clock is set");
}

fn clock_steps() -> String {
    let watch = Watch::start("clock", &[VIRTUAL]);
    let sender = Sender::on(VIRTUAL);
    sender.at(bus::frames(), 100, 100.0);
    set_clock(-7200);
    sender.at(bus::frames(), 100, 100.0);
    set_clock(86_400);
    sender.at(bus::frames(), 100, 100.0);
    let ended = watch.stop_after(300);
    set_clock(7200 - 86_400);
    ended.equals_its_recording();
    assert_eq!((ended.number("frames"), ended.number("clock_steps")), (300, 2), "{}", ended.said);
    "two steps, recorded".into()
}

fn full_disk() -> String {
    let disk = Path::new("/tmp/small");
    fs::create_dir_all(disk).unwrap();
    let mounted =
        Command::new("mount").args(["-t", "tmpfs", "-o", "size=64k,mode=1777", "small", "/tmp/small"]).status();
    assert!(mounted.unwrap().success());
    fs::write(disk.join("ballast"), [b'x'; 40 << 10]).unwrap();
    let record = disk.join("full.log");
    let watch = Watch::begin_recording("full", &[VIRTUAL], &[], &record);
    watch.wait_for("listening");
    let sender = Sender::on(VIRTUAL);
    sender.at(bus::frames(), 800, 400.0);
    watch.wait_for("the recording cannot be written");
    fs::remove_file(disk.join("ballast")).unwrap();
    watch.wait_for("the recording is written again");
    sender.at(bus::frames(), 50, 100.0);
    let ended = watch.stop();
    assert_eq!(ended.number("frames"), 850, "{}", ended.said);
    let text = fs::read_to_string(&record).unwrap();
    assert!(text.ends_with('\n'), "whole lines");
    let (_, json) = check(&record);
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    let (kept, missing) = (value["input"]["frames"].as_u64().unwrap(), value["input"]["unrecorded"].as_u64().unwrap());
    assert_eq!(value["input"]["rejected"], serde_json::json!({}));
    assert_eq!(ended.number("unrecorded"), missing);
    assert!(kept + missing >= 850 && kept + missing <= 860, "{kept} kept, {missing} missing");
    format!("{kept} kept, {missing} counted as missing")
}

fn two_interfaces() -> String {
    let watch = Watch::start("two", &[VIRTUAL, LISTENS]);
    secs(1.0);
    let other = std::thread::spawn(|| Sender::on(TALKS).gently(bus::frames(), 200));
    Sender::on(VIRTUAL).at(bus::frames(), 200, 100.0);
    other.join().unwrap();
    let ended = watch.stop_after(400);
    ended.equals_its_recording();
    assert_eq!(ended.number("frames"), 400, "{}", ended.said);
    let text = ended.recorded();
    assert!(text.contains(") vcan0 ") && text.contains(") can1 "));
    "merged by stamp".into()
}

fn not_there() -> String {
    let watch = Watch::begin("nothing", &["can7"], &[]);
    watch.wait_for("there is no such CAN interface");
    let ended = watch.stop();
    ended.equals_its_recording();
    assert_eq!(ended.code, 3, "nothing is known");
    "said, and waited for".into()
}

fn listing() -> String {
    let output = Command::new("cellwright").arg("watch").output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("can1\n    listening at 250 kbit/s\n"), "{text}");
    assert!(text.contains("Next: cellwright watch"), "{text}");
    "interfaces and the next command".into()
}

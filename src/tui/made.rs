//! Snapshots made by hand for the tests of the screen. None of these banks exists.

use super::app::{App, Msg};
use super::theme::Theme;
use super::transport::{Mark, Origin, Scan, Transport};
use crate::model::Estimate;
use crate::model::bank::{PackSpec, SensorRole, SensorSpec};
use crate::model::finding::{Episode, NotJudged};
use crate::model::snapshot::{Answered, CellView, FineNow, Motion, PackView, Shown, Standing, Verdict};
use crate::model::{Bank, Evidence, Fact, Finding, Level, Limits, Rejection, Severity, Snapshot, Stamp, Subject};
use crate::unit::AmpHours;

/// 2026-01-31 05:00 UTC.
pub(crate) const START: Stamp = Stamp::from_secs(1_769_835_600);

pub(crate) fn shown(value: f64) -> Shown {
    Shown {
        value: Some(value),
        standing: Standing::Present,
        age_secs: Some(0.5),
        lowest: Some(value - 0.02),
        highest: Some(value + 0.03),
    }
}

fn not_now(value: Option<f64>, standing: Standing, age: f64) -> Shown {
    Shown { value, standing, age_secs: Some(age), lowest: value, highest: value }
}

/// A pack whose cells stand at these voltages.
pub(crate) fn pack(volts: &[f64]) -> PackView {
    let mut sorted = volts.to_vec();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2];
    let cell =
        |v: &f64| CellView { voltage: shown(*v), delta_mv: Some((v - median) * 1000.0), balancing: None, remark: None };
    PackView {
        cells: volts.iter().map(cell).collect(),
        sensors: vec![shown(14.0), shown(16.5)],
        median_v: Some(median),
        current: shown(-4.2),
        motion: Motion::Drawing,
        pack_voltage: shown(volts.iter().sum()),
        bus_voltage: shown(volts.iter().sum::<f64>() - 0.01),
        reported_soc: shown(0.64),
        switches: Default::default(),
        fine_now: FineNow { amps: Some(30.0), why: "at 14.0 °C".into() },
    }
}

fn spec(cells: u8) -> PackSpec {
    let mut spec = PackSpec { cells: Some(cells), ..PackSpec::default() };
    spec.rated.capacity = Some(AmpHours::of(100.0));
    spec.sensors[0] = SensorSpec { role: SensorRole::Cell, cell: Some(1) };
    spec.sensors[1] = SensorSpec { role: SensorRole::Case, cell: None };
    spec
}

fn bank(packs: Vec<PackView>) -> Snapshot {
    let mut snapshot = Snapshot {
        now: Some(START.plus_secs(7923.0)),
        bank: Bank { packs: packs.iter().map(|p| spec(p.cells.len() as u8)).collect() },
        packs,
        verdict: verdict(Level::Well, "Within limits, as far as 4 cells and 2 sensors show.", "Nothing to do."),
        ..Snapshot::default()
    };
    snapshot.quality.frames = 412_034;
    snapshot.quality.decoded = 412_034;
    snapshot.quality.first = Some(START);
    snapshot.quality.last = Some(START.plus_secs(7922.6));
    snapshot.estimates.push(Estimate {
        name: "soc_percent",
        subject: Subject::pack(0),
        value: Some(62.0),
        low: Some(54.0),
        high: Some(70.0),
        as_of: Some(START),
        why: None,
    });
    snapshot
}

fn verdict(level: Level, text: &str, what_to_do: &str) -> Verdict {
    Verdict { level, text: text.into(), what_to_do: what_to_do.into() }
}

fn finding(severity: Severity, code: &'static str, subject: Subject, text: &str, what_to_do: &str) -> Finding {
    let mut evidence = Evidence::default();
    evidence.note(Fact::PeakAmps, 38.0);
    evidence.note(Fact::LimitAmps, 5.0);
    evidence.note(Fact::LowestCelsius, -4.0);
    Finding {
        rule: 7,
        code,
        severity,
        subject,
        first: START.plus_secs(6000.0),
        last: START.plus_secs(7922.0),
        active: true,
        acknowledged: false,
        episodes: 1,
        total_secs: 1922.0,
        evidence,
        text: text.into(),
        what_to_do: what_to_do.into(),
        caution: "Warm the bank before charging; do not lift a lock of the BMS.",
        source: "computed from published cells",
        explanations: Vec::new(),
        ended_by: None,
    }
}

pub(crate) fn well() -> Snapshot {
    bank(vec![pack(&[3.331, 3.333, 3.332, 3.330])])
}

pub(crate) fn cold_charge() -> Snapshot {
    let mut one = pack(&[3.452, 3.448, 3.561, 3.449]);
    one.current = shown(38.0);
    one.motion = Motion::Charging;
    one.sensors = vec![shown(-4.0), shown(-2.5)];
    one.fine_now = FineNow { amps: Some(0.0), why: "below 0 °C the cells' sheet allows no charging".into() };
    one.cells[2].remark = Some("first up");
    let mut snapshot = bank(vec![one]);
    let text = "Pack 1 is charged with 38 A at -4 °C: more than the cells can take in without lithium plating.";
    let what = "Lower the charge to 5 A or less, or warm the bank before charging goes on.";
    snapshot.verdict = verdict(Level::Warning, text, what);
    snapshot.findings = vec![finding(Severity::Warning, "cold-charge", Subject::pack(0), text, what)];
    snapshot
}

pub(crate) fn sixteen_cells() -> Snapshot {
    let volts: Vec<f64> = (0..16).map(|i| 3.38 + f64::from(i * i % 7) * 0.035).collect();
    let mut snapshot = bank(vec![pack(&volts)]);
    snapshot.packs[0].cells[9].balancing = Some(true);
    snapshot
}

pub(crate) fn thirty_two_cells() -> Snapshot {
    bank(vec![pack(&(0..32).map(|i| 3.1 + f64::from(i) * 0.015).collect::<Vec<_>>())])
}

pub(crate) fn packs(count: u8) -> Snapshot {
    let one = |i: u8| {
        let base = 3.30 + f64::from(i % 5) * 0.03;
        pack(&[base, base + 0.01, base - 0.004 * f64::from(i), base + 0.002])
    };
    let mut snapshot = bank((0..count).map(one).collect());
    snapshot.packs[1].current = shown(21.0);
    snapshot.packs[1].motion = Motion::Charging;
    snapshot.bank_current = shown(-12.4);
    let text = "Cell 3 of pack 2 is low.";
    snapshot.findings = vec![finding(Severity::Notice, "cell-undervoltage", Subject::cell(1, 2), text, "Charge soon.")];
    snapshot.verdict = verdict(Level::Notice, text, "Charge soon.");
    snapshot
}

pub(crate) fn missing_and_stale() -> Snapshot {
    let mut snapshot = well();
    let one = &mut snapshot.packs[0];
    one.cells[0].voltage = not_now(Some(3.331), Standing::Stale, 42.0);
    one.cells[1].voltage = not_now(None, Standing::Missing, 1.0);
    one.cells[2].voltage = not_now(Some(3.30), Standing::Invalid, 1.0);
    one.cells[3].voltage = Shown { lowest: None, highest: None, ..shown(0.0) };
    for cell in &mut one.cells {
        cell.delta_mv = None;
    }
    one.sensors = vec![Shown::default()];
    one.current = not_now(Some(-4.2), Standing::Stale, 600.0);
    one.motion = Motion::NotKnown;
    one.fine_now = FineNow { amps: None, why: "no valid cell temperature".into() };
    snapshot.verdict = verdict(
        Level::NotKnown,
        "Not known: three of four cells and every temperature are missing.",
        "Find out why the pack's sender fell silent.",
    );
    snapshot.quality.rejected = vec![(Rejection::BadHex, 3), (Rejection::TornTail, 1)];
    snapshot.quality.lost = 1204;
    snapshot.quality.gaps = 2;
    snapshot.quality.invalid_values = 17;
    let why = "no valid temperature while charging".to_owned();
    snapshot.not_judged = vec![NotJudged { code: "cold-charge", why, subject: Subject::pack(0) }];
    snapshot
}

/// An answer, one that leaves something open, and one that is not known.
fn answers() -> Vec<Answered> {
    let answered = |question, answer: Option<&str>, why: Option<&str>| Answered {
        question,
        answer: answer.map(Into::into),
        why: why.map(Into::into),
        ..Answered::default()
    };
    let full = "Pack 1 was last full on 2026-01-30 14:20 UTC, 15 h before the end of the data.";
    let held = "Nothing speaks against it: the last charge of pack 1 held 14.21 V, and ended at 3.1 A.";
    let why = "what the maker allows is not described; absorption and float voltage in the bank file would tell";
    vec![
        answered("Does the charger keep to what this bank allows?", Some(held), Some(why)),
        answered("Is the capacity still there?", None, Some("not enough data yet")),
        answered("When was it last full?", Some(full), None),
    ]
}

pub(crate) fn many_findings() -> Snapshot {
    let mut snapshot = cold_charge();
    snapshot.answers = answers();
    for (rule, severity, code, active) in [
        (9, Severity::Warning, "cell-overvoltage", true),
        (11, Severity::Notice, "imbalance", true),
        (12, Severity::Notice, "lossy-link", true),
        (13, Severity::Notice, "clock-step", false),
        (14, Severity::Notice, "sensor-fault", false),
    ] {
        let text = format!(
            "A sentence about {code} that is rather longer than eighty columns, so that it has to be wrapped or cut with care wherever it is shown."
        );
        let mut one = finding(
            severity,
            code,
            Subject::cell(0, 2),
            &text,
            "Do the one thing that helps here, and then the other.",
        );
        one.rule = rule;
        one.active = active;
        one.episodes = 3;
        snapshot.findings.push(one);
    }
    snapshot
}

pub(crate) fn urgent() -> Snapshot {
    let mut snapshot = cold_charge();
    let text = "Sensor 1 of pack 1 reads 82 °C and rises.";
    let what = "Move people away; do not open the locker; gas is flammable and toxic; no flame or switching nearby; call emergency services; at sea follow the vessel's plan and call for help.";
    snapshot.verdict = verdict(Level::Urgent, text, what);
    snapshot.findings.insert(0, finding(Severity::Urgent, "overtemperature", Subject::sensor(0, 0), text, what));
    snapshot
}

/// A day of log, a third of the way in, with three alerts on it.
pub(crate) fn transport() -> Transport {
    let mark = |secs: f64, severity| Mark {
        raised: START.plus_secs(secs),
        episode: Episode {
            rule: 7,
            subject: Subject::pack(0),
            severity,
            first: START.plus_secs(secs),
            last: START.plus_secs(secs + 900.0),
            active: false,
        },
    };
    Transport {
        origin: Origin::Log("january.log".into()),
        first: Some(START),
        last: Some(START.plus_secs(86_400.0)),
        at: Some(START.plus_secs(7923.0)),
        speed: 60.0,
        scan: Scan::Done(verdict(Level::Warning, "Pack 1 was charged with 38 A at -4 °C.", "Lower the charge.")),
        marks: vec![
            mark(6000.0, Severity::Warning),
            mark(50_000.0, Severity::Notice),
            mark(70_000.0, Severity::Urgent),
        ],
        ..Transport::default()
    }
}

pub(crate) fn invented() -> Transport {
    let origin = Origin::Invented { name: "cold-morning".into(), about: "The alternator charges a frozen bank".into() };
    Transport { origin, scan: Scan::Reading(0.43), last: None, ..transport() }
}

pub(crate) fn app(snapshot: Snapshot, theme: Theme) -> App {
    app_at(snapshot, theme, transport())
}

pub(crate) fn app_at(snapshot: Snapshot, theme: Theme, transport: Transport) -> App {
    let mut app = App::new(Limits::default(), theme, transport.clone());
    app.update(Msg::Picture(Box::new(snapshot), Box::new(transport)));
    app
}

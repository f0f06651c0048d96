//! The report as JSON. `docs/json.md` describes every field; a test compares its example with what this writes.

use super::words::rfc3339;
use super::{Report, scope};
use crate::model::Estimate;
use crate::model::finding::{Explanation, Finding, NotJudged};
use crate::model::snapshot::{Answered, BusView, Quality};
use crate::model::{BankEvent, Evidence, Severity, Snapshot, Stamp, Subject, clean};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// Number of the form. It rises when a field changes its meaning or goes; new fields may come without it.
pub const SCHEMA: u32 = 1;
/// Decimals of the numbers.
const DECIMALS: f64 = 1e6;
/// Longest text of a remark, characters.
const NOTE: usize = 240;
/// Longest text of what is said about an interface, characters.
const REMARK: usize = 600;

#[derive(Serialize)]
struct Whole<'a> {
    schema: u32,
    verdict: Verdict<'a>,
    findings: Vec<Found<'a>>,
    questions: Vec<Question<'a>>,
    not_judged: Vec<Unjudged<'a>>,
    estimates: Map<String, Value>,
    input: Input,
    notes: Vec<Note>,
    events: Vec<Happened<'a>>,
}

#[derive(Serialize)]
struct Verdict<'a> {
    level: &'static str,
    text: &'a str,
    r#do: &'a str,
    scope: String,
    not_visible: &'static str,
}

#[derive(Serialize)]
struct Found<'a> {
    code: &'static str,
    severity: Severity,
    #[serde(flatten)]
    about: About,
    first: String,
    last: String,
    active: bool,
    acknowledged: bool,
    episodes: u32,
    /// Place in the list of the finding that lies behind this one.
    because_of: Option<usize>,
    total_min: Value,
    evidence: Map<String, Value>,
    text: &'a str,
    r#do: &'a str,
    caution: Option<&'static str>,
    source: &'static str,
    explanations: Vec<Explained>,
    /// Work on the bank after which it no longer holds of what is there now.
    ended_by: Option<Happened<'a>>,
}

#[derive(Serialize)]
struct Explained {
    fault: &'static str,
    weight: f64,
    settled_by: &'static str,
}

/// A question that technicians ask.
#[derive(Serialize)]
struct Question<'a> {
    code: &'static str,
    question: &'static str,
    answer: Option<&'a str>,
    why: Option<&'a str>,
    settled_by: Option<&'a str>,
    /// Places in the list of findings.
    by_findings: &'a [usize],
    /// Names of estimates.
    by_estimates: &'a [&'static str],
}

/// Counted from 1.
#[derive(Serialize)]
struct About {
    pack: Option<u16>,
    cell: Option<u16>,
    sensor: Option<u16>,
}

#[derive(Serialize)]
struct Unjudged<'a> {
    code: &'static str,
    why: &'a str,
    #[serde(flatten)]
    about: About,
}

#[derive(Serialize)]
struct Input {
    frames: u64,
    decoded: u64,
    first: Option<String>,
    last: Option<String>,
    rejected: Map<String, Value>,
    rejected_first: Map<String, Value>,
    gaps: u64,
    lost: u64,
    invalid_values: u64,
    error_frames: u64,
    clock_steps: u64,
    unrecorded: u64,
    /// Values that the bank file promises and the bus has never sent.
    never_sent: Vec<String>,
    buses: Vec<Bus>,
}

/// What an interface speaks.
#[derive(Serialize)]
struct Bus {
    interface: Option<String>,
    dialects: Vec<&'static str>,
    told: bool,
    remarks: Vec<String>,
}

#[derive(Serialize)]
struct Note {
    time: String,
    text: String,
}

/// An event of the bank file's history.
#[derive(Serialize)]
struct Happened<'a> {
    time: String,
    what: &'static str,
    pack: Option<u16>,
    sensor: Option<u16>,
    note: Option<&'a str>,
}

/// The report as JSON, with a newline at its end.
#[must_use]
pub fn json(report: &Report) -> String {
    // Writing plain data to a string cannot fail; were it to, an empty object is no false verdict.
    serde_json::to_string_pretty(&whole(report)).unwrap_or_else(|_| "{}".into()) + "\n"
}

/// The report as JSON with more at its end, by name.
#[must_use]
pub fn json_with(report: &Report, more: impl IntoIterator<Item = (&'static str, Value)>) -> String {
    let mut value = serde_json::to_value(whole(report)).unwrap_or_default();
    if let Value::Object(fields) = &mut value {
        fields.extend(more.into_iter().map(|(name, value)| (name.to_owned(), value)));
    }
    serde_json::to_string_pretty(&value).unwrap_or_else(|_| "{}".into()) + "\n"
}

/// The report as one line of JSON: the same fields, behind what made it and the moment of the bank that it shows.
#[must_use]
pub fn line(report: &Report, event: &str) -> String {
    let line = EventLine { event, time: report.snapshot.now.map(rfc3339), whole: whole(report) };
    serde_json::to_string(&line).unwrap_or_else(|_| "{}".into()) + "\n"
}

#[derive(Serialize)]
struct EventLine<'a> {
    event: &'a str,
    time: Option<String>,
    #[serde(flatten)]
    whole: Whole<'a>,
}

fn whole<'a>(report: &Report<'a>) -> Whole<'a> {
    let snapshot = report.snapshot;
    Whole {
        schema: SCHEMA,
        verdict: Verdict {
            level: snapshot.verdict.level.word(),
            text: &snapshot.verdict.text,
            r#do: &snapshot.verdict.what_to_do,
            scope: scope(snapshot),
            not_visible: super::NOT_VISIBLE,
        },
        findings: snapshot.findings.iter().enumerate().map(|(at, each)| found(each, cause_of(snapshot, at))).collect(),
        questions: snapshot.answers.iter().map(question).collect(),
        not_judged: snapshot.not_judged.iter().map(unjudged).collect(),
        estimates: estimates(&snapshot.estimates),
        input: input(&snapshot.quality, report),
        notes: snapshot.notes.iter().map(|(at, text)| Note { time: rfc3339(*at), text: clean(text, NOTE) }).collect(),
        events: snapshot.events.iter().map(happened).collect(),
    }
}

fn cause_of(snapshot: &Snapshot, at: usize) -> Option<usize> {
    snapshot.causes.get(at).copied().flatten()
}

fn found(finding: &Finding, because_of: Option<usize>) -> Found<'_> {
    Found {
        code: finding.code,
        severity: finding.severity,
        about: about(finding.subject),
        first: rfc3339(finding.first),
        last: rfc3339(finding.last),
        active: finding.active,
        acknowledged: finding.acknowledged,
        episodes: finding.episodes,
        because_of,
        total_min: number(finding.total_secs / 60.0),
        evidence: evidence(&finding.evidence),
        text: &finding.text,
        r#do: &finding.what_to_do,
        caution: Some(finding.caution).filter(|caution| !caution.is_empty()),
        source: finding.source,
        explanations: finding.explanations.iter().map(explained).collect(),
        ended_by: finding.ended_by.as_ref().map(happened),
    }
}

fn happened(event: &BankEvent) -> Happened<'_> {
    let from_one = |index: Option<u8>| index.map(|index| u16::from(index) + 1);
    Happened {
        time: rfc3339(event.at),
        what: event.change.word(),
        pack: from_one(event.pack),
        sensor: from_one(event.sensor),
        note: Some(event.note.as_str()).filter(|note| !note.is_empty()),
    }
}

fn question(answered: &Answered) -> Question<'_> {
    Question {
        code: answered.code,
        question: answered.question,
        answer: answered.answer.as_deref(),
        why: answered.why.as_deref(),
        settled_by: answered.settled_by.as_deref(),
        by_findings: &answered.findings,
        by_estimates: &answered.estimates,
    }
}

fn explained(explanation: &Explanation) -> Explained {
    let weight = (explanation.weight * 100.0).round() / 100.0;
    Explained { fault: explanation.what, weight, settled_by: explanation.settles_by }
}

fn unjudged(item: &NotJudged) -> Unjudged<'_> {
    Unjudged { code: item.code, why: &item.why, about: about(item.subject) }
}

fn about(subject: Subject) -> About {
    let from_one = |index: Option<u8>| index.map(|index| u16::from(index) + 1);
    About { pack: from_one(subject.pack), cell: from_one(subject.cell), sensor: from_one(subject.sensor) }
}

fn evidence(evidence: &Evidence) -> Map<String, Value> {
    evidence.0.iter().map(|(fact, value)| (fact.name().to_owned(), number(*value))).collect()
}

/// By name; for each a list, an entry a subject.
fn estimates(estimates: &[Estimate]) -> Map<String, Value> {
    let mut by_name = Map::new();
    for estimate in estimates {
        let list = by_name.entry(estimate.name).or_insert_with(|| Value::Array(Vec::new()));
        let known = estimate.low.is_some() || estimate.high.is_some();
        let bounds = known.then(|| [estimate.low.map(number), estimate.high.map(number)]);
        let about = about(estimate.subject);
        let entry = json!({
            "pack": about.pack,
            "cell": about.cell,
            "sensor": about.sensor,
            "value": estimate.value.map(number),
            "bounds": bounds,
            "as_of": estimate.as_of.map(rfc3339),
            "why": estimate.why,
        });
        if let Value::Array(list) = list {
            list.push(entry);
        }
    }
    by_name
}

fn bus(bus: &BusView, report: &Report) -> Bus {
    Bus {
        interface: report.interfaces.get(usize::from(bus.channel)).cloned(),
        dialects: bus.dialects.iter().map(|dialect| dialect.word()).collect(),
        told: bus.forced,
        remarks: bus.remarks.iter().map(|remark| clean(remark, REMARK)).collect(),
    }
}

fn input(quality: &Quality, report: &Report) -> Input {
    let first = |stamp: Option<Stamp>| stamp.map(rfc3339);
    Input {
        frames: quality.frames,
        decoded: quality.decoded,
        first: first(quality.first),
        last: first(quality.last),
        rejected: quality.rejected.iter().map(|(why, count)| (why.code().to_owned(), json!(count))).collect(),
        rejected_first: report
            .first_refused
            .iter()
            .map(|first| (first.reason.code().to_owned(), json!({ "file": first.file, "line": first.line })))
            .collect(),
        gaps: quality.gaps,
        lost: quality.lost,
        invalid_values: quality.invalid_values,
        error_frames: quality.error_frames,
        clock_steps: quality.clock_steps,
        unrecorded: quality.unrecorded,
        never_sent: report.snapshot.never_sent.iter().map(|slot| super::signal_name(*slot)).collect(),
        buses: report.snapshot.buses.iter().map(|bus| self::bus(bus, report)).collect(),
    }
}

/// A number with so many decimals that nothing known is lost; `null` for what is no number.
fn number(value: f64) -> Value {
    let rounded = (value * DECIMALS).round() / DECIMALS;
    let rounded = if rounded == 0.0 { 0.0 } else { rounded };
    serde_json::Number::from_f64(rounded).map_or(Value::Null, Value::Number)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Fact, Rejection, Snapshot};
    use crate::report::example;

    /// The block of the page between this opening and the next fence.
    fn block<'a>(page: &'a str, opening: &str) -> &'a str {
        let from = page.find(opening).unwrap_or_else(|| panic!("no '{opening}' in docs/json.md")) + opening.len();
        &page[from..from + page[from..].find("```").unwrap()]
    }

    #[test]
    fn the_example_of_the_page_is_what_is_written() {
        let page = include_str!("../../docs/json.md");
        let (snapshot, first_refused) = example::notice_and_rest();
        let report = Report { snapshot: &snapshot, first_refused: &first_refused, interfaces: &["can0".into()] };
        assert_eq!(json(&report), block(page, "```json\n"));
    }

    #[test]
    fn every_field_is_described_in_the_page() {
        let page = include_str!("../../docs/json.md");
        let (snapshot, first_refused) = example::notice_and_rest();
        let report = Report { snapshot: &snapshot, first_refused: &first_refused, interfaces: &[] };
        let value: Value = serde_json::from_str(&json(&report)).unwrap();
        let mut names = Vec::new();
        names_of(&value, &mut names);
        for name in names {
            assert!(page.contains(&format!("`{name}`")), "docs/json.md does not describe `{name}`");
        }
    }

    #[test]
    fn every_figure_and_every_reason_stands_in_the_page() {
        let page = include_str!("../../docs/json.md");
        let figures = Fact::ALL.iter().map(|fact| fact.name());
        let missing: Vec<&str> = figures
            .chain(Rejection::ALL.iter().map(|reason| reason.code()))
            .filter(|name| !page.contains(&format!("| `{name}` |")))
            .collect();
        assert_eq!(missing, [""; 0], "add a row to the table in docs/json.md");
    }

    fn names_of(value: &Value, names: &mut Vec<String>) {
        match value {
            Value::Object(map) => {
                for (name, inner) in map {
                    names.push(name.clone());
                    names_of(inner, names);
                }
            }
            Value::Array(list) => list.iter().for_each(|inner| names_of(inner, names)),
            _ => {}
        }
    }

    #[test]
    fn what_is_not_known_is_null_and_never_nought() {
        let report = Report { snapshot: &Snapshot::default(), first_refused: &[], interfaces: &[] };
        let value: Value = serde_json::from_str(&json(&report)).unwrap();
        assert_eq!(value["verdict"]["level"], "not-known");
        assert_eq!((&value["input"]["first"], &value["input"]["last"]), (&Value::Null, &Value::Null));
        assert_eq!(number(f64::NAN), Value::Null);
        assert_eq!(number(-1e-9).to_string(), "0.0");
        assert_eq!(number(3.805_100_000_000_000_4).to_string(), "3.8051");
    }
}

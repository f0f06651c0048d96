//! The report for people: the verdict first, then what to do, then the evidence for whoever wants it.

use super::estimates::estimates;
use super::words::{count, fact, moment, refusal};
use super::wrap::wrap;
use super::{NOT_A_PROTECTION, NOT_VISIBLE, Report, scope};
use crate::model::finding::{Finding, Level, NotJudged};
use crate::model::input::ControllerState;
use crate::model::snapshot::Answered;
use crate::model::{Snapshot, clean, span};

/// Longest text of a remark, characters.
const NOTE: usize = 240;

/// The report in words, in lines of at most 80 columns. Times are UTC.
#[must_use]
pub fn text(report: &Report) -> String {
    let snapshot = report.snapshot;
    let mut out = String::new();
    verdict(&mut out, snapshot);
    if !snapshot.findings.is_empty() {
        out += "\nFound (times are UTC; 'cellwright explain CODE' says how it is judged)\n";
        for (at, finding) in snapshot.findings.iter().enumerate() {
            let cause = snapshot.causes.get(at).copied().flatten();
            found(&mut out, finding, cause.and_then(|cause| snapshot.findings.get(cause)));
        }
    }
    cautions(&mut out, &snapshot.findings);
    questions(&mut out, &snapshot.answers);
    not_judged(&mut out, &snapshot.not_judged);
    estimates(&mut out, &snapshot.estimates, snapshot.now);
    data(&mut out, report);
    events(&mut out, snapshot);
    notes(&mut out, snapshot);
    out += "\n";
    if snapshot.verdict.level != Level::Well {
        wrap(&mut out, "", &scope(snapshot)); // all is well as far as the verdict itself says
    }
    wrap(&mut out, "", NOT_VISIBLE);
    wrap(&mut out, "", NOT_A_PROTECTION);
    out
}

fn verdict(out: &mut String, snapshot: &Snapshot) {
    let level = match snapshot.verdict.level {
        Level::Well => "WELL",
        Level::Notice => "NOTICE",
        Level::NotKnown => "NOT KNOWN",
        Level::Warning => "WARNING",
        Level::Urgent => "URGENT",
    };
    wrap(out, &format!("{level}: "), &snapshot.verdict.text);
    if !snapshot.verdict.what_to_do.is_empty() {
        wrap(out, "What to do: ", &snapshot.verdict.what_to_do);
    }
}

fn found(out: &mut String, finding: &Finding, cause: Option<&Finding>) {
    out.push_str(&format!("\n  {}  {}, {}\n", finding.severity.word(), finding.code, finding.subject));
    wrap(out, "    ", &finding.text);
    if let Some(cause) = cause {
        wrap(out, "    Most likely a part of: ", &format!("{}, {}", cause.code, cause.subject));
    }
    wrap(out, "    What to do: ", &finding.what_to_do);
    wrap(out, "    When: ", &when(finding));
    let figures: Vec<String> = finding.evidence.0.iter().map(|(figure, value)| fact(*figure, *value)).collect();
    if !figures.is_empty() {
        wrap(out, "    Evidence: ", &figures.join("; "));
    }
    for (index, explanation) in finding.explanations.iter().enumerate() {
        let intro = if index == 0 { "    May be: " } else { "            " };
        let percent = (explanation.weight * 100.0).round();
        wrap(out, intro, &format!("{percent:.0} % {}. Settled by {}.", explanation.what, explanation.settles_by));
    }
    wrap(out, "    Limit from: ", finding.source);
}

fn when(finding: &Finding) -> String {
    let until = match (finding.active, &finding.ended_by) {
        (true, _) => "goes on".to_owned(),
        (false, Some(event)) => format!("over, since {event} at {}", moment(event.at)),
        (false, None) => "over".to_owned(),
    };
    let times = match finding.episodes {
        0 | 1 => String::new(),
        more => format!("{more} times, "),
    };
    let seen = if finding.acknowledged { "; seen" } else { "" };
    format!(
        "{} to {}, {until}; {times}{} in all{seen}",
        moment(finding.first),
        moment(finding.last),
        span(finding.total_secs)
    )
}

/// Each caution once, in the order of the findings that it goes with.
fn cautions(out: &mut String, findings: &[Finding]) {
    let mut said: Vec<&str> = Vec::new();
    for finding in findings {
        if finding.caution.is_empty() || said.contains(&finding.caution) {
            continue;
        }
        if said.is_empty() {
            out.push_str("\nCaution\n");
        }
        wrap(out, "  ", finding.caution);
        said.push(finding.caution);
    }
}

/// Questions that the data answers, then those that it does not, with the reason.
fn questions(out: &mut String, answers: &[Answered]) {
    if !answers.is_empty() {
        out.push_str("\nQuestions\n");
    }
    for answered in answers {
        let Some(answer) = &answered.answer else { continue };
        out.push_str(&format!("\n  {}\n", answered.question));
        wrap(out, "    ", answer);
        if let Some(open) = answered.open() {
            wrap(out, "    Open: ", &open);
        }
    }
    let unknown: Vec<&Answered> = answers.iter().filter(|answered| answered.answer.is_none()).collect();
    if !unknown.is_empty() {
        out.push_str("\n  Not known\n");
    }
    for answered in unknown {
        let open = answered.open().unwrap_or_else(|| "the data does not tell.".into());
        wrap(out, "    ", &format!("{} No answer: {open}", answered.question));
    }
}

fn not_judged(out: &mut String, list: &[NotJudged]) {
    if !list.is_empty() {
        out.push_str("\nNot judged\n");
    }
    for same in list.chunk_by(|a, b| (a.code, &a.why) == (b.code, &b.why)) {
        let Some(first) = same.first() else { continue };
        let subjects: Vec<String> = same.iter().map(|item| item.subject.to_string()).collect();
        wrap(out, &format!("  {}, {}: ", first.code, subjects.join(", ")), &first.why);
    }
}

fn data(out: &mut String, report: &Report) {
    let quality = &report.snapshot.quality;
    out.push_str("\nData\n");
    let stretch = match quality.first.zip(quality.last) {
        Some((first, last)) => {
            format!(", {} to {} UTC ({})", moment(first), moment(last), span(last.since(first)))
        }
        None => String::new(),
    };
    wrap(out, "  ", &format!("frames: {}{stretch}", count(quality.frames)));
    let counts = [
        (quality.frames - quality.decoded.min(quality.frames), "frames that no map knows"),
        (quality.lost, "frames lost, by whoever counted them"),
        (quality.gaps, "gaps in which data should have come"),
        (quality.unrecorded, "inputs that the recorder could not keep"),
        (quality.invalid_values, "values that said 'error' or cannot be"),
        (quality.error_frames, "error frames"),
        (quality.clock_steps, "steps of the clock"),
    ];
    for (number, what) in counts.into_iter().filter(|(number, _)| *number > 0) {
        wrap(out, "  ", &format!("{what}: {}", count(number)));
    }
    let never: Vec<String> = report.snapshot.never_sent.iter().map(ToString::to_string).collect();
    if !never.is_empty() {
        wrap(out, "  ", &format!("promised by the bank file and never sent: {}", never.join(", ")));
    }
    refused(out, report);
    links(out, report);
    buses(out, report);
}

/// What each interface speaks, and what must be known about it.
fn buses(out: &mut String, report: &Report) {
    for bus in &report.snapshot.buses {
        let name = report.interfaces.get(usize::from(bus.channel)).map_or("an interface", String::as_str);
        wrap(out, "  ", &format!("{name} speaks {bus}"));
        for remark in &bus.remarks {
            wrap(out, "    ", remark);
        }
    }
}

fn refused(out: &mut String, report: &Report) {
    for (reason, number) in &report.snapshot.quality.rejected {
        let first = report.first_refused.iter().find(|first| first.reason == *reason);
        let first = first.map(|first| format!("; first in line {} of {}", first.line, first.file)).unwrap_or_default();
        wrap(out, "  ", &format!("refused, {} ({}): {}{first}", refusal(*reason), reason.code(), count(*number)));
    }
}

/// Links that are down, or whose controller is not well.
fn links(out: &mut String, report: &Report) {
    for (channel, up, state) in &report.snapshot.quality.links {
        let name = report.interfaces.get(usize::from(*channel)).map_or("a link", String::as_str);
        if !up {
            wrap(out, "  ", &format!("{name}: link down"));
        }
        let state = match state {
            None | Some(ControllerState::Active) => continue,
            Some(ControllerState::Warning) => "many errors",
            Some(ControllerState::Passive) => "so many errors that its controller only listens",
            Some(ControllerState::BusOff) => "its controller has left the bus",
            Some(ControllerState::Stopped) => "its controller is stopped",
        };
        wrap(out, "  ", &format!("{name}: {state}"));
    }
}

/// What was done to the bank meanwhile, as its file tells it.
fn events(out: &mut String, snapshot: &Snapshot) {
    if !snapshot.events.is_empty() {
        out.push_str("\nEvents, as the bank file tells them\n");
    }
    for event in &snapshot.events {
        let note = if event.note.is_empty() { String::new() } else { format!(": {}", event.note) };
        wrap(out, &format!("  {}  ", moment(event.at)), &format!("{event}{note}"));
    }
}

fn notes(out: &mut String, snapshot: &Snapshot) {
    if !snapshot.notes.is_empty() {
        out.push_str("\nNotes\n");
    }
    for (at, text) in &snapshot.notes {
        wrap(out, &format!("  {}  ", moment(*at)), &clean(text, NOTE));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example;

    #[test]
    fn a_report_reads_from_the_verdict_down_to_the_evidence() {
        let (snapshot, first_refused) = example::notice_and_rest();
        let report = Report { snapshot: &snapshot, first_refused: &first_refused, interfaces: &["can0".into()] };
        let expected = "\
WARNING: Cell 3 of pack 1 went up to 3.805 V.
What to do: Stop this charge or lower its voltage, and find out why the BMS let
            the cell rise so far.

Found (times are UTC; 'cellwright explain CODE' says how it is judged)

  warning  cell-overvoltage, cell 3 of pack 1
    Cell 3 of pack 1 went up to 3.805 V.
    What to do: Stop this charge or lower its voltage, and find out why the BMS
                let the cell rise so far.
    When: 2026-01-10 06:00:00 to 2026-01-10 06:10:00, over; 10 min in all
    Evidence: peak 3.805 V
    May be: 25 % a balance lead that reads wrong. Settled by a rest on the
            plateau: it is off by the same millivolts there and under any
            current.
    Limit from: judgement of this project; the cell maker's data sheet wins

Caution
  Do not bypass the BMS.

Questions

  When was it last full?
    Pack 1 was last full on 2026-01-10 06:05 UTC, less than an hour before the
    end of the data.

  Not known
    Is the capacity still there? No answer: no full discharge was seen.

Not judged
  cold-charge, pack 1: no valid cell or case temperature

Estimates, at the end of the data unless another time is told
  state of charge, pack 1: 98 % (between 96 and 100)
  Not known
    capacity at 25 °C, pack 1: no full discharge was seen

Data
  frames: 72 004, 2026-01-10 05:00:00 to 2026-01-10 07:00:00 UTC (2 h)
  frames lost, by whoever counted them: 12
  gaps in which data should have come: 1
  refused, data that is no pairs of hex digits (bad_hex): 2; first in line 214
  of trip.log
  can0 speaks Cellwright's own format

Events, as the bank file tells them
  2026-01-10 05:30:00  connections of pack 1 were worked on: lugs tightened

Notes
  2026-01-10 05:01:00  shore power on

This is as far as 4 cells and 2 sensors show; last heard 2026-01-10 07:00:00
UTC.
Not visible here: swelling, smell, gas, insulation, connections outside the
measured path.
A monitor, not a protection device: it does not replace BMS, fuses and
disconnects. Estimates of ageing are comparisons.
";
        assert_eq!(text(&report), expected);
    }

    #[test]
    fn nothing_heard_is_not_known_and_nothing_else() {
        let report = Report { snapshot: &Snapshot::default(), first_refused: &[], interfaces: &[] };
        let text = text(&report);
        assert!(text.starts_with("NOT KNOWN: Nothing has been heard yet.\n"), "{text}");
        assert!(text.contains("\n  frames: 0\n") && text.contains("nothing was judged"), "{text}");
    }
}

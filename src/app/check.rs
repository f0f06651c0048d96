//! `check`: a log through the pipeline to a verdict, as a report and as an exit code; or through two, with other limits.

use super::progress::Progress;
use super::{Exit, drive, logs, output, setup};
use crate::config::{CheckArgs, ReportFormat};
use crate::model::clean;
use crate::model::limits::Limits;
use crate::pipeline::{Pipeline, Setup};
use crate::report::{self, Report, WhatIf};
use crate::source::log::LogReader;
use std::io::{Write, stderr};

/// Judges the logs and writes the report.
pub(super) fn check(args: &CheckArgs) -> anyhow::Result<Exit> {
    let setup = setup::setup(args.bank.as_deref(), args.dialect)?;
    if args.limit.is_empty() && args.compare.is_none() {
        return judge(args, setup);
    }
    let other = setup::other(&setup.limits, &args.limit, args.compare.as_deref())?;
    compare(args, &setup, other)
}

fn judge(args: &CheckArgs, setup: Setup) -> anyhow::Result<Exit> {
    let mut pipelines = [Pipeline::new(setup)];
    let reader = read(args, &mut pipelines)?;
    tell_file(&pipelines[0]);
    let snapshot = pipelines[0].snapshot();
    let first_refused = logs::first_refused(&reader);
    let interfaces: Vec<String> = reader.interfaces().iter().map(Into::into).collect();
    let report = Report { snapshot: &snapshot, first_refused: &first_refused, interfaces: &interfaces };
    let sources = args.sources.then_some(&snapshot);
    let days = args.by_day.then(|| pipelines[0].days());
    output::print(&match args.format {
        ReportFormat::Text => {
            let sources = sources.map(report::sources_text).unwrap_or_default();
            report::text(&report) + &sources + &days.as_deref().map(report::days_text).unwrap_or_default()
        }
        ReportFormat::Json if !args.sources && !args.by_day => report::json(&report),
        ReportFormat::Json => {
            let sources = sources.map(|snapshot| ("sources", report::sources_json(snapshot)));
            let days = days.as_deref().map(|days| ("days", report::days_json(days)));
            report::json_with(&report, sources.into_iter().chain(days))
        }
    })?;
    Ok(Exit::of(&snapshot, args.fail_on.into()))
}

/// The same log under other limits beside those in force; the exit code is that of the other limits.
fn compare(args: &CheckArgs, setup: &Setup, limits: Limits) -> anyhow::Result<Exit> {
    let other = Setup { limits: limits.clone(), ..setup.clone() };
    let mut pipelines = [Pipeline::new(setup.clone()), Pipeline::new(other)];
    read(args, &mut pipelines)?;
    let [before, after] = pipelines.each_ref().map(Pipeline::snapshot);
    let what_if = WhatIf { before: (&setup.limits, &before), after: (&limits, &after) };
    output::print(&match args.format {
        ReportFormat::Text => report::what_if_text(&what_if),
        ReportFormat::Json => report::what_if_json(&what_if),
    })?;
    Ok(Exit::of(&after, args.fail_on.into()))
}

/// Says which bank file was used, where that is not plain.
fn tell_file(pipeline: &Pipeline) {
    if let Some(said) = setup::about_file(pipeline) {
        let _ = writeln!(stderr(), "cellwright: {}", clean(&said, 2000)); // nobody may be listening; the report goes on
    }
}

/// Drives the logs through the pipelines, with progress.
fn read(args: &CheckArgs, pipelines: &mut [Pipeline]) -> anyhow::Result<LogReader> {
    let mut reader = logs::open(&args.logs)?;
    let mut progress = Progress::new("reading");
    let driven = drive(&mut reader, pipelines, |reader| {
        let (done, total) = reader.progress();
        progress.show(done, total);
    })?;
    drop(progress);
    if driven.last.is_none()
        && let Some(why) = logs::not_a_log(&reader)
    {
        anyhow::bail!(why);
    }
    Ok(reader)
}

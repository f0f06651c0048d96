//! `check`: a log through the pipeline to a verdict, as a report and as an exit code.

use super::progress::Progress;
use super::{Exit, drive, logs, output};
use crate::config::{CheckArgs, ReportFormat};
use crate::pipeline::{Pipeline, Setup};
use crate::report::{self, Report};

/// Judges the logs and writes the report.
pub(super) fn check(args: &CheckArgs) -> anyhow::Result<Exit> {
    let mut reader = logs::open(&args.logs)?;
    let mut pipeline = Pipeline::new(Setup { dialect: args.dialect, ..Setup::default() });
    let mut progress = Progress::new("reading");
    let driven = drive(&mut reader, &mut pipeline, |reader| {
        let (done, total) = reader.progress();
        progress.show(done, total);
    })?;
    drop(progress);
    if driven.last.is_none()
        && let Some(why) = logs::not_a_log(&reader)
    {
        anyhow::bail!(why);
    }
    let snapshot = pipeline.snapshot();
    let first_refused = logs::first_refused(&reader);
    let interfaces: Vec<String> = reader.interfaces().iter().map(Into::into).collect();
    let report = Report { snapshot: &snapshot, first_refused: &first_refused, interfaces: &interfaces };
    output::print(&match args.format {
        ReportFormat::Text => report::text(&report),
        ReportFormat::Json => report::json(&report),
    })?;
    Ok(Exit::of(&snapshot, args.fail_on.into()))
}

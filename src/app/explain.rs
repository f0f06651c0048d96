//! `explain` and `limits`: what a condition means, and every number in force.

use super::{Exit, output, setup};
use crate::config::{ExplainArgs, LimitsArgs, ReportFormat};
use crate::engine::rule::RULES;
use crate::model::figure::{Figure, figure};
use crate::report;
use anyhow::bail;
use std::collections::BTreeSet;

/// Prints the page of a condition with the limits in force under it, or the list of conditions.
pub(super) fn explain(args: &ExplainArgs) -> anyhow::Result<Exit> {
    let Some(code) = &args.code else {
        let rows = RULES.iter().map(|rule| format!("{:<28}{}\n", rule.code, rule.title));
        output::print(&(rows.collect::<String>() + "\nNext: cellwright explain CODE\n"))?;
        return Ok(Exit::Clear);
    };
    let Some(rule) = RULES.iter().find(|rule| rule.code == code) else {
        let near = meant(code);
        bail!("no condition has the code '{}'{near}; 'cellwright explain' lists them", crate::model::clean(code, 60));
    };
    let limits = setup::limits(args.bank.as_deref())?;
    let begins = format!("{}.", rule.code);
    let numbers = report::limits_text(&limits, &begins);
    let numbers = if numbers.is_empty() { String::new() } else { format!("\n## In force\n\n{numbers}") };
    output::print(&format!("{}{}{numbers}", rule.page, figures(rule.page)))?;
    Ok(Exit::Clear)
}

/// The page's figures, which stand there by their names in JSON, as `check` and the screen call them.
fn figures(page: &str) -> String {
    let mut names: Vec<&str> = page.split('`').skip(1).step_by(2).collect();
    let mut seen = BTreeSet::new();
    names.retain(|name| seen.insert(*name));
    let row = |figure: &Figure| {
        let unit = if figure.unit.is_empty() { String::new() } else { format!(", {}", figure.unit) };
        format!("{:<28}{}{unit}\n", figure.name, figure.words)
    };
    let rows: String = names.into_iter().filter_map(figure).map(row).collect();
    if rows.is_empty() { rows } else { format!("\n## Figures, in words\n\n{rows}") }
}

/// The code that was meant, most likely, as a question; nothing when none is near.
fn meant(code: &str) -> String {
    crate::model::nearest(code, RULES.iter().map(|rule| rule.code))
        .map_or(String::new(), |near| format!("; did you mean '{near}'?"))
}

/// Prints every limit in force.
pub(super) fn limits(args: &LimitsArgs) -> anyhow::Result<Exit> {
    let limits = setup::limits(args.bank.as_deref())?;
    output::print(&match args.format {
        ReportFormat::Text => report::limits_text(&limits, ""),
        ReportFormat::Json => report::limits_json(&limits),
    })?;
    Ok(Exit::Clear)
}

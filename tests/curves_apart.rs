//! The engine and the simulated bank take their curves from different published sets, so that they cannot agree by
//! construction. Read from the source text: whoever names a table uses it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// All source text below a directory.
fn text_of(directory: &Path) -> String {
    let entries = std::fs::read_dir(directory).into_iter().flatten().flatten();
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.path()).collect();
    paths.sort();
    let read = |path: &PathBuf| {
        if path.is_dir() { text_of(path) } else { std::fs::read_to_string(path).unwrap_or_default() }
    };
    paths.iter().filter(|path| path.is_dir() || path.extension().is_some_and(|kind| kind == "rs")).map(read).collect()
}

fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !c.is_ascii_alphanumeric() && c != '_')
}

/// The tables that a text names, of those that there are. `TABLES`, the list of all, counts as every one.
fn tables_in(text: &str, known: &BTreeSet<String>) -> BTreeSet<String> {
    let used: BTreeSet<&str> = words(text).collect();
    let all = used.contains("TABLES") || text.contains("curve::*");
    known.iter().filter(|name| all || used.contains(name.as_str())).cloned().collect()
}

/// Names of the tables that the room of curves gives out.
fn known_tables(source: &Path) -> BTreeSet<String> {
    let text = text_of(&source.join("curve"));
    let named = text.lines().filter_map(|line| line.strip_prefix("pub static "));
    named.filter_map(|line| line.split_once(": Table ")).map(|(name, _)| name.to_owned()).collect()
}

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

#[test]
fn engine_and_simulated_bank_share_no_curve() {
    let known = known_tables(&source());
    assert!(known.len() >= 8, "{known:?}");
    let sim = tables_in(&text_of(&source().join("sim")), &known);
    let engine = tables_in(&text_of(&source().join("engine")), &known);
    assert!(sim.contains("OCV_TUM") && sim.contains("RESISTANCE_RATIO_KAWAKITA"), "{sim:?}");
    let shared: Vec<_> = sim.intersection(&engine).collect();
    assert!(shared.is_empty(), "both use {shared:?}");
}

#[test]
fn tables_of_one_publication_stay_on_one_side() {
    let known = known_tables(&source());
    let engine = tables_in(&text_of(&source().join("engine")), &known);
    let sim = tables_in(&text_of(&source().join("sim")), &known);
    let set = |name: &String| name.rsplit('_').find(|part| *part != "MID").map(str::to_owned);
    let of_engine: BTreeSet<_> = engine.iter().filter_map(set).collect();
    let of_sim: BTreeSet<_> = sim.iter().filter_map(set).collect();
    assert!(of_sim.contains("TUM") && of_sim.contains("KAWAKITA"), "{of_sim:?}");
    assert!(of_engine.is_disjoint(&of_sim), "{of_engine:?} and {of_sim:?}");
}

#[test]
fn a_planted_arrow_is_seen() {
    let known = known_tables(&source());
    let planted = tables_in("let volts = crate::curve::OCV_TUM.at(0.5);", &known);
    assert_eq!(planted.into_iter().collect::<Vec<_>>(), ["OCV_TUM"]);
    assert_eq!(tables_in("for table in curve::TABLES {}", &known), known);
    assert_eq!(tables_in("use crate::curve::*;", &known), known);
}

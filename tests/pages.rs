//! Pages that are made from tables must equal them, and the pages that people read must hold what they promise.
//!
//! `CELLWRIGHT_WRITE_DOCS=1 cargo test --test pages` writes the made pages anew.

use cellwright::config::Arguments;
use cellwright::engine::anew::Part;
use cellwright::engine::rule::{RULES, Rule};
use cellwright::layout::own::{self, FRAMES, OwnField, OwnFrame, Sender};
use cellwright::model::Change;
use cellwright::model::limits::{LIMITS, Limit};
use clap::Parser;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Compares a page with what its table makes, or writes it when the environment asks for that.
fn agrees(name: &str, made: &str) {
    if std::env::var_os("CELLWRIGHT_WRITE_DOCS").is_some() {
        fs::write(path(name), made).unwrap();
    }
    let page = fs::read_to_string(path(name)).unwrap_or_default();
    let differs = page.lines().zip(made.lines()).position(|(a, b)| a != b);
    let differs = differs.unwrap_or_else(|| page.lines().count().min(made.lines().count()));
    assert!(
        page == made,
        "{name} differs from its table from line {} on; `CELLWRIGHT_WRITE_DOCS=1 cargo test --test pages` writes it anew",
        differs + 1
    );
}

fn condition_of(limit: &Limit) -> &'static str {
    limit.name.split('.').next().unwrap()
}

fn limits_page() -> String {
    let mut page = String::from(
        "# Limits\n\n\
         Made from the table in `src/model/limits.rs`; do not edit by hand. Every number is a default: a bank's own file overrides it by\n\
         name, within the bounds given, and the data sheet of the cells wins over ours. C is the current divided by the rated capacity of\n\
         the pack. Where the origin is common practice or a judgement, there is no publication behind the number.\n",
    );
    let mut conditions: Vec<&str> = Vec::new();
    for limit in LIMITS {
        let condition = condition_of(limit);
        if !conditions.contains(&condition) {
            conditions.push(condition);
        }
    }
    for condition in conditions {
        write!(page, "\n## {condition}\n\n| name | default | may be | meaning | origin |\n|---|--:|---|---|---|\n")
            .unwrap();
        for limit in LIMITS.iter().filter(|limit| condition_of(limit) == condition) {
            let (min, max) = limit.bounds;
            let [unit, meaning, origin] =
                [limit.unit, limit.meaning, &limit.origin.words()].map(|text| text.replace('|', "\\|"));
            let (name, default) = (limit.name, limit.default);
            writeln!(page, "| `{name}` | {default} {unit} | {min} to {max} | {meaning} | {origin} |").unwrap();
        }
    }
    page
}

/// A table with a row each of what a change touches and a mark in the column of each change that does.
fn changes_table(heading: &str, rows: &[(String, Vec<bool>)]) -> String {
    let words = columns().map(|change| format!("`{}`", change.word())).collect::<Vec<_>>().join(" | ");
    let mut table = format!("| {heading} | {words} |\n|---|{}\n", ":-:|".repeat(columns().count()));
    for (name, marks) in rows {
        let marks: Vec<&str> = marks.iter().map(|mark| if *mark { "●" } else { "" }).collect();
        writeln!(table, "| {name} | {} |", marks.join(" | ")).unwrap();
    }
    table
}

/// The changes in whose columns something is to be told.
fn columns() -> impl Iterator<Item = Change> {
    let changes = Change::WORDS.iter().map(|(_, change)| *change);
    changes.filter(|change| !matches!(change, Change::PackReplaced | Change::Remark))
}

/// The page with what stands between a mark and its end made anew.
fn with_table(page: &str, mark: &str, table: &str) -> String {
    let from = page.find(mark).unwrap_or_else(|| panic!("'{mark}' is on the page"));
    let from = from + page[from..].find('\n').unwrap() + 1;
    let to = from + page[from..].find("<!-- end -->").unwrap();
    format!("{}\n{table}\n{}", &page[..from], &page[to..])
}

#[test]
fn the_page_of_the_bank_file_tells_what_each_event_resets_and_ends() {
    let parts: Vec<_> = Part::ALL
        .iter()
        .map(|part| (part.words().to_owned(), columns().map(|change| part.goes_with(change)).collect::<Vec<_>>()))
        .filter(|(_, marks)| marks.contains(&true))
        .collect();
    let ends = |rule: &Rule| columns().map(|change| rule.ends_with.contains(&change)).collect::<Vec<_>>();
    let rules: Vec<_> = RULES
        .iter()
        .map(|rule| (format!("`{}`", rule.code), ends(rule)))
        .filter(|(_, marks)| marks.contains(&true))
        .collect();
    let page = fs::read_to_string(path("docs/bank-file.md")).unwrap();
    let page = with_table(&page, "<!-- made from src/engine/anew.rs", &changes_table("begins anew", &parts));
    let page = with_table(&page, "<!-- made from the rules", &changes_table("ends", &rules));
    agrees("docs/bank-file.md", &page);
}

#[test]
fn the_page_of_limits_is_the_table_of_limits() {
    let page = limits_page();
    assert_eq!(page.matches("\n| `").count(), LIMITS.len());
    agrees("docs/limits.md", &page);
}

/// Message of the DBC for one part of a frame, as the first sender that may send it.
fn dbc_message(dbc: &mut String, names: &mut String, frame: &OwnFrame, part: u8) {
    let sender = if frame.sender == Sender::Bank { own::BANK_SENDER } else { 0 };
    let id = own::id(frame.group + part, sender) | 0x8000_0000;
    let number = if frame.repeat > 1 { format!("_{}", part + 1) } else { String::new() };
    writeln!(dbc, "BO_ {id} {}{number}: 8 Vector__XXX", frame.name).unwrap();
    for field in frame.fields {
        dbc_signal(dbc, names, id, &signal_name(frame, part, field), field);
    }
    dbc.push('\n');
}

/// Name of a field: the quantity, numbered from 1 where a pack or a bank has several.
fn signal_name(frame: &OwnFrame, part: u8, field: &OwnField) -> String {
    let several = frame.step > 0 || frame.fields.iter().any(|other| other.index > 0);
    let name = field.quantity.name();
    if several { format!("{name}_{}", part * frame.step + field.index + 1) } else { name.to_owned() }
}

fn dbc_signal(dbc: &mut String, names: &mut String, id: u32, name: &str, own: &OwnField) {
    let field = &own.field;
    let (low, high) = own.quantity.bounds();
    let (start, len, scale, offset) = (field.start, field.len, field.scale, field.offset);
    let unit = own.quantity.unit();
    writeln!(dbc, " SG_ {name} : {start}|{len}@1+ ({scale},{offset}) [{low}|{high}] \"{unit}\" Vector__XXX").unwrap();
    let top = field.mask();
    writeln!(names, "VAL_ {id} {name} {} \"error\" {top} \"not available\" ;", top - 1).unwrap();
}

fn dbc_page() -> String {
    let mut dbc = String::from("VERSION \"1\"\n\nNS_ :\n\nBS_:\n\nBU_:\n\n");
    let mut names = String::new();
    let hello = own::id(own::HELLO, 0) | 0x8000_0000;
    write!(dbc, "BO_ {hello} hello: 8 Vector__XXX\n SG_ magic : 0|32@1+ (1,0) [0|0] \"\" Vector__XXX\n").unwrap();
    dbc.push_str(" SG_ version : 32|8@1+ (1,0) [0|0] \"\" Vector__XXX\n\n");
    for frame in FRAMES {
        for part in 0..frame.repeat {
            dbc_message(&mut dbc, &mut names, frame, part);
        }
    }
    dbc.push_str(
        "CM_ \"Made from the table of our own frame format; see docs/frame-format.md. The last byte of an id is the address of its sender: \
         0x80 to 0x8F are packs 1 to 16, 0x90 is the whole bank. Ids here are those of pack 1 or of the bank; mask the last byte out.\";\n\n",
    );
    dbc + &names
}

#[test]
fn the_dbc_of_our_own_format_is_the_table_of_frames() {
    let dbc = dbc_page();
    let messages: usize = FRAMES.iter().map(|frame| usize::from(frame.repeat)).sum();
    assert_eq!(dbc.matches("\nBO_ ").count(), messages + 1);
    agrees("fixtures/own-format.dbc", &dbc);
}

#[test]
fn every_condition_has_its_page_and_every_page_names_limits_that_there_are() {
    let mut pages: Vec<String> = RULES.iter().map(|rule| format!("{}.md", rule.code)).collect();
    pages.sort();
    let folder = path("docs/conditions");
    let mut there: Vec<String> =
        fs::read_dir(&folder).unwrap().map(|page| page.unwrap().file_name().into_string().unwrap()).collect();
    there.sort();
    assert_eq!(there, pages);
    for rule in RULES {
        let page = fs::read_to_string(folder.join(format!("{}.md", rule.code))).unwrap();
        assert!(page.starts_with(&format!("# `{}`: ", rule.code)), "{}: its page begins otherwise", rule.code);
        for part in ["## What it means", "## Limits", "## How it is judged", "## What to do", "## Source"] {
            assert!(page.contains(part), "{}: no '{part}'", rule.code);
        }
        for word in page.split('`').skip(1).step_by(2).filter(|word| word.contains('.')) {
            assert!(names_a_limit(word), "{}: its page names '{word}', which is no limit", rule.code);
        }
    }
}

/// A limit in full, `name-…` for several that begin so, or `.end` for the limit of the page; another kind of word is none
/// of ours.
fn names_a_limit(word: &str) -> bool {
    let about_limits =
        word.starts_with('.') || LIMITS.iter().any(|limit| word.starts_with(&format!("{}.", condition_of(limit))));
    let start = word.trim_end_matches('…');
    let known = LIMITS.iter().any(|limit| match word {
        _ if word.starts_with('.') => limit.name.ends_with(word),
        _ if word.ends_with('…') => limit.name.starts_with(start),
        _ => limit.name == word,
    });
    !about_limits || known || word.ends_with(".md")
}

#[test]
fn the_readme_opens_with_the_job_and_gives_two_commands() {
    let readme = fs::read_to_string(path("README.md")).unwrap();
    let blocks: Vec<&str> = readme.split("\n\n").collect();
    assert!(blocks[1].starts_with("Cellwright is"), "the README does not open with the job");
    assert_eq!(blocks[2], "```sh\ncargo run --release -- demo\ncargo test\n```");
    assert!(readme.lines().count() < 100, "the README is longer than a screen or two");
}

#[test]
fn every_command_of_the_readme_is_one_and_every_page_that_it_names_is_there() {
    let readme = fs::read_to_string(path("README.md")).unwrap();
    let mut commands = 0;
    for piece in readme.split(['`', '\n']) {
        let line = piece.split(" # ").next().unwrap().trim();
        let is_command = line.strip_prefix("cellwright ").is_some_and(|rest| !rest.is_empty());
        if is_command && !line.contains("NAME") {
            commands += 1;
            let parsed = Arguments::try_parse_from(line.split_whitespace());
            assert!(parsed.is_ok(), "the README's '{line}' is no command");
        }
        if line.starts_with("docs/") && !line.contains(' ') {
            assert!(path(line).exists(), "the README names {line}, which is not there");
        }
    }
    assert!(commands >= 6, "only {commands} commands seen in the README");
}

#[test]
fn the_readme_gives_every_caution_and_none_of_the_words_that_mislead() {
    let readme = fs::read_to_string(path("README.md")).unwrap().to_lowercase();
    let always = [
        "a monitor, not a protection device",
        "does not replace the bms, fuses and disconnects",
        "swelling, smell, gas, insulation",
        "move people away",
        "do not open the locker",
        "call the emergency services",
        "prove dead",
        "insulated tools",
        "only at equal charge",
        "below 2.0 v",
        "a qualified person",
    ];
    let text = readme.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in always {
        assert!(text.contains(words), "the README does not say '{words}'");
    }
    for word in ["safe", "safe to charge", "no danger", "retighten", "disconnect the battery", "guarantee"] {
        assert!(!text.contains(word), "the README says '{word}'");
    }
}

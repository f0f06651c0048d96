//! The cases of `docs/cases`: each page's command makes the log again, and `check` must say what the page quotes.

use crate::program::{Desk, cellwright};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// A page, taken apart.
struct Page {
    name: String,
    /// Words of the two commands behind 'cellwright'.
    commands: Vec<Vec<String>>,
    /// Quoted lines of `check`; a line of '…' alone parts pieces that stand apart.
    quotes: Vec<Vec<String>>,
    /// Code of the finding that must stand first.
    first: String,
    text: String,
}

fn pages() -> Vec<Page> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/cases");
    let mut pages: Vec<Page> = fs::read_dir(folder)
        .expect("the folder is there")
        .map(|entry| entry.expect("it can be read").path())
        .filter(|path| path.file_stem().is_some_and(|stem| stem != "README"))
        .map(|path| {
            let name = path.file_stem().expect("it has a name").to_string_lossy().into_owned();
            page(name, fs::read_to_string(&path).expect("the page is read"))
        })
        .collect();
    pages.sort_by(|a, b| a.name.cmp(&b.name));
    pages
}

fn page(name: String, text: String) -> Page {
    let blocks = |kind: &str| -> Vec<String> {
        let opening = format!("```{kind}\n");
        text.split(&opening).skip(1).filter_map(|rest| rest.split("```").next()).map(Into::into).collect()
    };
    let commands = blocks("sh").concat();
    let commands = commands.lines().filter_map(|line| line.strip_prefix("cellwright "));
    let commands = commands.map(|line| line.split_whitespace().map(Into::into).collect()).collect();
    let quotes = blocks("text")
        .iter()
        .flat_map(|block| block.split("…\n").map(|piece| piece.lines().map(Into::into).collect()).collect::<Vec<_>>())
        .filter(|piece: &Vec<String>| !piece.is_empty())
        .collect();
    let first = text.split("Stands first: `").nth(1).and_then(|rest| rest.split('`').next()).unwrap_or_default().into();
    Page { name, commands, quotes, first, text }
}

/// What is wrong with a page.
fn wrong(page: &Page) -> Vec<String> {
    let desk = Desk::new();
    let log = desk.path("case.log");
    let mut out = String::new();
    for command in &page.commands {
        let args: Vec<&str> = command.iter().map(|word| if word == "case.log" { log.as_str() } else { word }).collect();
        let ran = cellwright(&args);
        assert!(ran.err.is_empty() && ran.code != 2, "{}: {args:?}: {}", page.name, ran.err);
        out = ran.out;
    }
    let lines: Vec<&str> = out.lines().collect();
    let mut wrong = Vec::new();
    for quote in &page.quotes {
        let stands = |at: &[&str]| at.iter().zip(quote).all(|(line, quoted)| line == quoted);
        if !lines.windows(quote.len()).any(stands) {
            wrong.push(format!("{} quotes what check does not say:\n{}\n", page.name, quote.join("\n")));
        }
    }
    let found = lines.iter().skip_while(|line| !line.starts_with("Found")).nth(2).copied().unwrap_or_default();
    let code = found.split_whitespace().nth(1).unwrap_or_default().trim_end_matches(',');
    if code != page.first {
        wrong.push(format!("{}: first stands '{code}', not '{}'", page.name, page.first));
    }
    if !wrong.is_empty() {
        wrong.push(out);
    }
    wrong
}

#[test]
fn each_case_is_made_again_by_its_commands_and_says_what_its_page_quotes() {
    let pages = pages();
    let wrong: Vec<String> = pages.iter().flat_map(wrong).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_case_is_told_whole_and_no_two_are_alike() {
    let pages = pages();
    let told: BTreeSet<&str> = pages.iter().map(|page| page.commands[0][1].as_str()).collect();
    let made: BTreeSet<&str> = cellwright::sim::cases().iter().map(|info| info.name).chain(["cold-morning"]).collect();
    assert_eq!(told, made, "a page for each case, and a case for each page");
    let first: BTreeSet<&str> = pages.iter().map(|page| page.first.as_str()).collect();
    assert_eq!(first.len(), pages.len(), "each is about another condition");
    for page in &pages {
        assert!(page.text.contains("*This bank does not exist.*"), "{}: it says that it is invented", page.name);
        for part in [
            "## The complaint",
            "## The log",
            "## What `check` says",
            "## How to read it",
            "## The repair",
            "## Caution",
            "## What it really was",
        ] {
            assert_eq!(page.text.matches(&format!("\n{part}\n")).count(), 1, "{}: {part}", page.name);
        }
        assert!(page.commands.len() == 2 && page.commands[1][0] == "check" && page.quotes.len() > 1, "{}", page.name);
    }
}

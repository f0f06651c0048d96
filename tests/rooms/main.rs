//! The architecture as a test: which room may use which, and how large things may grow.
//!
//! Every path in `src/` counts: `use` lines and groups, paths inside expressions, and chains of `super::`
//! that climb into another room. The tests inside `src/` count too. Comments and literals do not.

mod arrows;
mod lexer;

use arrows::{Arrow, arrows};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms and their ranks. A room uses rooms of a lower rank only. `DEVELOPERS.md` shows this table.
const ROOMS: &[(u8, &[&str])] = &[
    (0, &["unit"]),
    (1, &["model", "curve"]),
    (2, &["layout"]),
    (3, &["wire", "bank"]),
    (4, &["decode", "engine", "sim", "survey", "convert"]),
    (5, &["pipeline", "history"]),
    (6, &["source", "store", "attach", "hook", "report", "tui"]),
    (7, &["config"]),
    (8, &["app"]),
];

/// What the thin binary may use.
const BINARY_USES: &[&str] = &["app", "config"];

/// What may stand at the top, besides names that begin with a dot.
const TOP: &[&str] = &[
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "src",
    "tests",
    "fixtures",
    "docs",
    "clippy.toml",
    "rustfmt.toml",
    "deny.toml",
];

/// What builds and tests leave at the top; `.gitignore` names them.
const LEFT_BY_TOOLS: &[&str] = &["target", "proptest-regressions"];

/// Names that say nothing about what is inside.
const EMPTY_NAMES: &[&str] = &["utils", "util", "helpers", "helper", "common", "manager", "misc"];

/// Most lines of a file, its tests aside.
const MOST_LINES: usize = 500;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn rank(room: &str) -> Option<u8> {
    ROOMS.iter().find(|(_, rooms)| rooms.contains(&room)).map(|(rank, _)| *rank)
}

/// Every `.rs` file under `src/`, relative to it, with its text.
fn sources() -> BTreeMap<PathBuf, String> {
    let mut found = BTreeMap::new();
    let src = root().join("src");
    let mut open = vec![src.clone()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|end| end == "rs") {
                found.insert(path.strip_prefix(&src).unwrap().to_owned(), fs::read_to_string(&path).unwrap());
            }
        }
    }
    assert!(found.len() > 10, "only {} files under src/: is this the right folder?", found.len());
    found
}

/// What is wrong with an arrow, if anything.
fn complaint(file: &Path, arrow: &Arrow) -> Option<String> {
    let place = format!("src/{}:{}: {}", file.display(), arrow.line, arrow.text);
    let Some(to) = arrow.room.as_deref() else {
        return Some(format!("{place}: names the whole crate; name a room"));
    };
    let Some(to_rank) = rank(to) else { return Some(format!("{place}: '{to}' is no room of the table")) };
    let from = room_of(file);
    if from == "main" {
        return (!BINARY_USES.contains(&to)).then(|| format!("{place}: the binary uses only {BINARY_USES:?}"));
    }
    if from == "lib" || from == to {
        return None;
    }
    let Some(from_rank) = rank(&from) else { return Some(format!("{place}: '{from}' is no room of the table")) };
    (to_rank >= from_rank).then(|| format!("{place}: '{from}' (rank {from_rank}) must not use '{to}' (rank {to_rank})"))
}

/// The room of a file: its first folder, or its own name at the top of `src/`.
fn room_of(file: &Path) -> String {
    let first = file.components().next().unwrap().as_os_str().to_string_lossy();
    first.trim_end_matches(".rs").to_owned()
}

fn complaints(file: &str, text: &str) -> Vec<String> {
    let file = Path::new(file);
    arrows(file, text).iter().filter_map(|arrow| complaint(file, arrow)).collect()
}

#[test]
fn every_arrow_goes_down() {
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (file, text) in sources() {
        let found = arrows(&file, &text);
        seen += found.len();
        wrong.extend(found.iter().filter_map(|arrow| complaint(&file, arrow)));
    }
    assert!(seen > 20, "only {seen} arrows seen: the reader is blind");
    assert!(wrong.is_empty(), "arrows that do not go down:\n{}", wrong.join("\n"));
}

#[test]
fn planted_wrong_arrows_are_found() {
    let planted = [
        ("a use line", "wire/log.rs", "use crate::engine::Engine;", 1),
        ("a room of equal rank", "engine/mod.rs", "use crate::sim::Bank;", 1),
        ("a group", "model/frame.rs", "use crate::{unit::Volts, layout::{self, Field}};", 2),
        ("two of a group", "unit/mod.rs", "use crate::{model, layout::Field};", 2),
        ("inside an expression", "wire/cobs.rs", "fn f() { let x = crate::decode::Map::new(); }", 1),
        ("a type argument", "model/stamp.rs", "fn f() -> Vec<crate::engine::rule::Rule> { vec![] }", 1),
        ("a chain of super", "engine/rule/cold.rs", "fn f() { super::super::super::sim::run(); }", 1),
        ("a chain from a mod.rs", "engine/rule/mod.rs", "use super::super::tui::view;", 1),
        ("super from an inline module", "engine/mod.rs", "mod tests { use super::super::sim::Bank; }", 1),
        ("super inside a group", "engine/rule/cold.rs", "use super::{super::super::{sim, tui}, table};", 2),
        ("behind a self", "layout/mod.rs", "use self::super::decode::Map;", 1),
        ("spread over lines", "wire/log.rs", "use crate\n    ::\n    app::run;", 1),
        ("in a macro", "model/limits.rs", "macro_rules! m { () => { $crate::engine::go() } }", 1),
        (
            "after a lifetime and a quote",
            "wire/log.rs",
            "fn f<'a>(c: &'a str) { if c == \"'\" { crate::app::x() } }",
            1,
        ),
        ("after a raw string", "wire/log.rs", "const A: &str = r#\"a \" b\"#; use crate::app::x;", 1),
        ("after a nested comment", "wire/log.rs", "/* a /* b */ c */ use crate::app::x;", 1),
        ("the whole crate", "app/mod.rs", "use crate::*;", 1),
        ("the crate renamed", "app/mod.rs", "use crate as all;", 1),
        ("the crate by super", "app/mod.rs", "use super as all;", 1),
        ("a room that nobody knows", "app/mod.rs", "use crate::utils::pad;", 1),
        ("the binary past its doors", "main.rs", "fn main() { cellwright::engine::run(); }", 1),
        ("an arrow in a test module", "wire/log.rs", "#[cfg(test)]\nmod tests { use crate::app::x; }", 1),
    ];
    for (name, file, text, expected) in planted {
        let found = complaints(file, text);
        assert_eq!(found.len(), expected, "{name}: {found:?}");
    }
}

#[test]
fn right_arrows_and_mere_words_are_left_alone() {
    let fine = [
        ("down", "engine/mod.rs", "use crate::{model::{Stamp, limits::LimitId}, unit::Volts};"),
        ("own room", "engine/rule/cold.rs", "use crate::engine::estimate::Soc; use super::super::estimate;"),
        ("a comment", "wire/log.rs", "// crate::app::x\n/* use crate::app; */\n/// [`crate::app::run`]\nfn f() {}"),
        ("a string", "wire/log.rs", "const A: &str = \"use crate::app::x\"; const B: &[u8] = br##\"crate::app\"##;"),
        ("a quote as a character", "wire/log.rs", "const A: char = '\"'; const B: &str = \"crate::app\";"),
        ("an escaped quote", "wire/log.rs", "const A: char = '\\''; const B: &str = \"\\\"crate::app\";"),
        ("visibility", "wire/log.rs", "pub(crate) fn f() {} pub(super) fn g() {} pub(in crate::wire) fn h() {}"),
        ("an inline module's parent", "engine/mod.rs", "mod tests { use super::*; }"),
        ("after an inline module", "engine/rule/cold.rs", "mod a { mod b { use super::super::x; } } use super::table;"),
        ("the binary's doors", "main.rs", "use cellwright::{app, config::Options};"),
    ];
    for (name, file, text) in fine {
        assert_eq!(complaints(file, text), Vec::<String>::new(), "{name}");
    }
}

#[test]
fn every_room_is_in_the_table_and_opens_with_what_it_is_for() {
    let files = sources();
    let mut rooms = BTreeSet::new();
    for file in files.keys() {
        let room = room_of(file);
        if room == "lib" || room == "main" {
            continue;
        }
        assert!(rank(&room).is_some(), "src/{}: room '{room}' is not in the table of ranks", file.display());
        rooms.insert(room);
    }
    for room in rooms {
        let text = files.get(Path::new(&room).join("mod.rs").as_path());
        let text = text.or_else(|| files.get(Path::new(&format!("{room}.rs"))));
        let text = text.unwrap_or_else(|| panic!("room '{room}' has no mod.rs"));
        assert!(text.starts_with("//! "), "src/{room}/mod.rs does not open with `//!` and what the room is for");
        assert!(files[Path::new("lib.rs")].contains(&format!("pub mod {room};")), "lib.rs does not declare '{room}'");
    }
}

#[test]
fn the_page_for_developers_shows_the_same_ranks() {
    let page = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let mut shown: BTreeMap<String, u8> = BTreeMap::new();
    for line in page.lines() {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let [_, rank, rooms, ..] = cells.as_slice() else { continue };
        let Ok(rank) = rank.parse::<u8>() else { continue };
        for room in rooms.split('`').skip(1).step_by(2) {
            let before = shown.insert(room.to_owned(), rank);
            assert_eq!(before, None, "DEVELOPERS.md shows '{room}' twice");
        }
    }
    let table: BTreeMap<String, u8> =
        ROOMS.iter().flat_map(|(rank, rooms)| rooms.iter().map(|room| ((*room).to_owned(), *rank))).collect();
    assert_eq!(shown, table, "DEVELOPERS.md and the table in tests/rooms/main.rs differ");
}

/// Lines of a file up to its `#[cfg(test)]` module; a file of tests has none.
fn own_lines(file: &Path, text: &str) -> usize {
    if file.components().any(|part| matches!(part.as_os_str().to_str(), Some("tests" | "tests.rs"))) {
        return 0;
    }
    let lines: Vec<&str> = text.lines().collect();
    let tests = lines.windows(2).position(|pair| pair[0] == "#[cfg(test)]" && pair[1].starts_with("mod "));
    tests.unwrap_or(lines.len())
}

#[test]
fn no_file_outgrows_a_reader() {
    for (file, text) in sources() {
        let lines = own_lines(&file, &text);
        assert!(lines <= MOST_LINES, "src/{}: {lines} lines without its tests, at most {MOST_LINES}", file.display());
    }
    let grown = "fn f() {}\n".repeat(600);
    assert_eq!(own_lines(Path::new("a/b.rs"), &grown), 600);
    assert_eq!(own_lines(Path::new("a/b.rs"), &format!("x\n#[cfg(test)]\nmod tests {{\n{grown}}}\n")), 1);
}

#[test]
fn no_file_has_a_name_that_says_nothing() {
    for file in sources().keys() {
        for part in file.components() {
            let part = part.as_os_str().to_string_lossy();
            let name = part.trim_end_matches(".rs");
            let empty = EMPTY_NAMES.iter().any(|word| name.split('_').any(|piece| piece == *word));
            assert!(!empty, "src/{}: '{name}' does not say what is inside", file.display());
        }
    }
}

#[test]
fn the_top_holds_only_what_belongs_there() {
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name();
        let name = name.to_string_lossy();
        let known = name.starts_with('.') || TOP.contains(&&*name) || LEFT_BY_TOOLS.contains(&&*name);
        assert!(known, "'{name}' does not belong at the top: see the list in tests/rooms/main.rs");
    }
    let ignored = fs::read_to_string(root().join(".gitignore")).unwrap();
    for name in LEFT_BY_TOOLS {
        assert!(ignored.lines().any(|line| line == format!("/{name}")), ".gitignore does not name /{name}");
    }
}

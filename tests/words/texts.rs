//! Every text that a person can come to read: pages, help, sentences of the program, reports of the scenarios.

use crate::literals::literals;
use crate::never::said;
use crate::program::{Desk, cellwright};
use std::fs;
use std::path::{Path, PathBuf};

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Files under a folder with this ending, in order.
fn files(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("it can be read").path();
        if path.is_dir() {
            found.extend(files(&path, ending));
        } else if path.extension().is_some_and(|e| e == ending) {
            found.push(path);
        }
    }
    found.sort();
    found
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).expect("the file is read")
}

/// What is said in each text that must not be, with where.
fn wrong<'a>(texts: impl IntoIterator<Item = (String, &'a str)>) -> Vec<String> {
    let said_in = |(place, text): (String, &str)| said(text).into_iter().map(move |said| format!("{place}: {said}"));
    texts.into_iter().flat_map(said_in).collect()
}

#[test]
fn no_page_says_what_must_never_be_said() {
    let mut pages = files(&root("docs"), "md");
    pages.extend([root("README.md"), root("DEVELOPERS.md")]);
    assert!(pages.len() > 30, "the conditions alone are more");
    let texts: Vec<(String, String)> = pages.iter().map(|page| (page.display().to_string(), read(page))).collect();
    assert_eq!(wrong(texts.iter().map(|(place, text)| (place.clone(), text.as_str()))), [""; 0]);
}

#[test]
fn no_sentence_of_the_program_says_what_must_never_be_said() {
    let mut texts = Vec::new();
    for file in files(&root("src"), "rs") {
        texts.extend(literals(&read(&file)).into_iter().map(|text| (file.display().to_string(), text)));
    }
    assert!(texts.len() > 2000, "{} literals", texts.len());
    assert_eq!(wrong(texts.iter().map(|(place, text)| (place.clone(), text.as_str()))), [""; 0]);
}

/// Names of the commands, from the help itself.
fn commands() -> Vec<String> {
    let help = cellwright(&["--help"]).out;
    let listed = help.split("Commands:\n").nth(1).expect("the help lists commands");
    let names = listed.lines().take_while(|line| !line.trim().is_empty());
    let names = names.filter(|line| line.starts_with("  ") && !line.starts_with("    "));
    names.filter_map(|line| line.split_whitespace().next()).map(Into::into).collect()
}

#[test]
fn no_help_and_no_printed_page_says_what_must_never_be_said() {
    let names = commands();
    assert!(["demo", "watch", "check", "explain"].iter().all(|name| names.iter().any(|n| n == name)), "{names:?}");
    let mut runs: Vec<Vec<String>> = vec![
        vec!["--help".into()],
        vec!["demo".into(), "--list".into()],
        vec!["limits".into()],
        vec!["bank".into(), "template".into()],
    ];
    runs.extend(names.into_iter().filter(|name| name != "help").map(|name| vec![name, "--help".into()]));
    let pages = files(&root("docs/conditions"), "md");
    let codes = pages.iter().filter_map(|page| page.file_stem()?.to_str());
    runs.extend(codes.map(|code| vec!["explain".into(), code.into()]));
    for run in runs {
        let args: Vec<&str> = run.iter().map(String::as_str).collect();
        let ran = cellwright(&args);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}");
        assert_eq!(said(&ran.out), [""; 0], "{args:?}");
    }
}

/// Every scenario of the program, with a set of frames a minute, so that it is quickly told.
#[test]
fn no_report_of_a_scenario_says_what_must_never_be_said_or_a_rate_in_c() {
    let desk = Desk::new();
    for info in cellwright::sim::scenarios().iter().chain(cellwright::sim::cases()) {
        let log = desk.path(&format!("{}.log", info.name));
        let sample = info.sample.max(60.0).to_string();
        let ran = cellwright(&["demo", info.name, "--sample", &sample, "--log", &log]);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", info.name);
        let ran = cellwright(&["check", "--sources", &log]);
        assert!(ran.err.is_empty() && ran.code != 2, "{}: {}", info.name, ran.err);
        assert_eq!(said(&ran.out), [""; 0], "{}", info.name);
        let missing: Vec<&str> = ALWAYS.iter().copied().filter(|text| !flat(&ran.out).contains(text)).collect();
        assert_eq!(missing, [""; 0], "{}: what every report says", info.name);
        let told = ran.out.split("\nData\n").next().unwrap_or_default();
        let names: Vec<&str> = told.split_whitespace().filter(|word| word.contains('_')).collect();
        assert_eq!(names, [""; 0], "{}: people read words, not the names in JSON", info.name);
        let rates: Vec<&str> = ran.out.split_whitespace().filter(|word| is_rate(word)).collect();
        assert_eq!(rates, [""; 0], "{}: owners read amperes", info.name);
    }
}

/// What every report says, whatever was found.
const ALWAYS: [&str; 4] = [
    "last heard",
    "Not visible here: swelling, smell, gas, insulation, connections outside the measured path.",
    "A monitor, not a protection device: it does not replace BMS, fuses and disconnects.",
    "Estimates of ageing are comparisons.",
];

/// A text without its line ends.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The screens as they are kept: what a person sees in each pane.
#[test]
fn no_screen_says_what_must_never_be_said() {
    let screens = files(&root("fixtures/screens"), "snap");
    assert!(screens.len() > 20, "{} screens", screens.len());
    for screen in screens {
        let text = read(&screen);
        let shown: Vec<&str> = text.split('\n').map(|line| line.trim_end_matches('…')).collect();
        assert_eq!(said(&flat(&shown.join(" "))), [""; 0], "{}", screen.display());
    }
}

/// What a survey of an unknown bus and a comparison of limits say.
#[test]
fn no_survey_and_no_comparison_says_what_must_never_be_said() {
    let desk = Desk::new();
    let log = desk.path("cold.log");
    let ran = cellwright(&["demo", "cold-morning", "--sample", "30", "--log", &log]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let runs: [&[&str]; 4] = [
        &["survey", &log, "--capacity", "200", "--celsius", "5"],
        &["survey", &log, "--capacity", "200", "--format", "draft"],
        &["check", &log, "--limit", "cold-charge.plating-rate=0.3"],
        &["check", &log, "--format", "json"],
    ];
    for args in runs {
        let ran = cellwright(args);
        assert!(ran.code != 2 && !ran.out.is_empty(), "{args:?}: {}", ran.err);
        assert_eq!(said(&ran.out), [""; 0], "{args:?}");
    }
}

/// '0.5C', '1C,': not '25 °C' and no hexadecimal number.
fn is_rate(word: &str) -> bool {
    let number = word.trim_end_matches(['.', ',', ';', ':', ')']).strip_suffix('C');
    number.is_some_and(|number| !number.is_empty() && number.trim_start_matches('(').parse::<f64>().is_ok())
}

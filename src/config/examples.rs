//! Examples in plain words: the help of each command shows its own.

/// An example of a command.
#[derive(Debug, Clone, Copy)]
pub struct Example {
    /// The command.
    pub command: &'static str,
    /// What to type.
    pub line: &'static str,
    /// What it does.
    pub what: &'static str,
}

const fn example(command: &'static str, line: &'static str, what: &'static str) -> Example {
    Example { command, line, what }
}

/// Every example, in the order of the commands.
pub static EXAMPLES: &[Example] = &[
    example("demo", "cellwright demo", "Watch a simulated bank; ? shows the keys, q ends it."),
    example("demo", "cellwright demo --list", "See what there is to watch."),
    example("demo", "cellwright demo cold-morning --seed 7", "The same scenario on a bank that differs a little."),
    example(
        "demo",
        "cellwright demo cold-morning --days 1 --log cold.log",
        "Write a day of it as a log, without a screen.",
    ),
    example("watch", "cellwright watch", "Which ports and interfaces are there, and what to type next?"),
    example("watch", "cellwright watch can0 --record trip.log", "Watch a CAN bus and record it; q ends it."),
    example(
        "watch",
        "cellwright watch /dev/ttyUSB0 --for 10m --format json",
        "Ten minutes without a screen, for a program.",
    ),
    example(
        "watch",
        "cellwright watch /dev/ttyACM0 --adapter --can-speed 250",
        "A CAN bus behind a serial-line adapter, which is opened to listen only.",
    ),
    example("watch", "cellwright watch -", "A text log that another program or computer writes, through a pipe."),
    example("replay", "cellwright replay trip.log", "Look at a recording: play, pause, jump to the next alert."),
    example("replay", "cellwright replay june.log.zst july.log.zst", "Two files in a row, as one recording."),
    example("check", "cellwright check trip.log", "Is this bank being hurt, and what is to be done?"),
    example("check", "cellwright check --format json trip.log", "The same for a program."),
    example(
        "check",
        "cellwright check --fail-on notice june.log july.log",
        "Two files in a row; exit code 1 for any finding.",
    ),
    example(
        "check",
        "cellwright check trip.log --limit cell-overvoltage.notice=3.75",
        "What would be found with this limit instead?",
    ),
    example(
        "convert",
        "cellwright convert spring.csv --bank boat.toml",
        "A table becomes a log on the standard output; in a file, 'check' judges it.",
    ),
    example("explain", "cellwright explain cold-charge", "What the condition means, how it is judged, what to do."),
    example("limits", "cellwright limits", "Every number in force and where it comes from."),
    example("bank", "cellwright bank template", "A bank file with every key explained, to be filled in."),
    example(
        "bank",
        "cellwright bank check boat.toml",
        "What it means, what it leaves open, or what is wrong in which line.",
    ),
    example("check", "cellwright check trip.log --bank boat.toml", "A log from any bus, by a bank file."),
    example(
        "survey",
        "cellwright survey trip.log --capacity 200 --celsius 15",
        "What is where on a bus that nobody has documented?",
    ),
    example(
        "survey",
        "cellwright survey trip.log --capacity 200 --format draft",
        "The same as a draft of a bank file.",
    ),
    example("survey", "cellwright survey can0 --for 1h", "Listen to a bus for an hour, then say."),
    example(
        "survey",
        "cellwright survey /dev/ttyACM0 --adapter --for 1h",
        "The same through a serial-line CAN adapter, opened to listen only.",
    ),
    example("decode", "cellwright decode trip.log", "What every frame says, a line each."),
    example("decode", "cellwright decode --format ndjson trip.log", "An object a line, for other tools."),
    example(
        "decode",
        "cellwright decode --dbc van.dbc trip.log",
        "Every signal that a DBC describes; no bank file needed.",
    ),
];

/// The examples of a command, as its help shows them.
pub(super) fn help_of(command: &str) -> String {
    let mut help = String::from("Examples:");
    for example in EXAMPLES.iter().filter(|example| example.command == command) {
        help += &format!("\n  {}\n      {}", example.line, example.what);
    }
    help
}

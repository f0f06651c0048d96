//! The arguments, as the parser's derive takes them.

use super::examples::help_of;
use crate::model::{Dialect, Severity};
use crate::wire::serial_can::Speed;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// What stands at the end of the program's own help.
const AFTER: &str = "\
Exit code of check and watch: 0 nothing found at or above --fail-on (a warning, unless told); 1 something was;
2 wrong usage, or input that cannot be read; 3 nothing found, but what should be known is not.

A bus that nobody has documented: survey drafts a bank file, and check, watch and replay judge with it.

A monitor, not a protection device: it does not replace BMS, fuses and disconnects. It only listens.";

/// What was asked for.
#[derive(Debug, Clone, PartialEq, Parser)]
#[command(
    name = "cellwright",
    version,
    about = "Says whether a lithium-iron-phosphate house bank is being hurt, with evidence, from what its own bus tells.",
    after_help = AFTER,
    arg_required_else_help = true,
    disable_help_subcommand = true
)]
pub struct Arguments {
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

/// Every command.
#[derive(Debug, Clone, PartialEq, Subcommand)]
pub enum Command {
    /// Watch a simulated bank: every scenario is invented
    #[command(after_help = help_of("demo"))]
    Demo(DemoArgs),
    /// Watch a bank live: serial ports, CAN interfaces, a piped log; without a source, list what there is
    #[command(after_help = help_of("watch"))]
    Watch(WatchArgs),
    /// Look at a recorded log on the screen
    #[command(after_help = help_of("replay"))]
    Replay(ReplayArgs),
    /// Judge a recorded log: the verdict, what was found, what to do
    #[command(after_help = help_of("check"))]
    Check(CheckArgs),
    /// Turn a table out of a spreadsheet into a log, by the columns that a bank file names
    #[command(after_help = help_of("convert"))]
    Convert(ConvertArgs),
    /// Print the page of a condition: what it means, how it is judged, what to do; without a code, list them
    #[command(after_help = help_of("explain"))]
    Explain(ExplainArgs),
    /// Print every limit in force, and where it comes from
    #[command(after_help = help_of("limits"))]
    Limits(LimitsArgs),
    /// Print a template of a bank file, or read one and say what it means
    #[command(after_help = help_of("bank"))]
    Bank(BankArgs),
    /// Map a bus that nobody has documented: which fields are cells, voltage, current, charge, temperatures
    #[command(after_help = help_of("survey"))]
    Survey(SurveyArgs),
    /// Print what every frame of a log says
    #[command(after_help = help_of("decode"))]
    Decode(DecodeArgs),
}

/// Options of `demo`.
#[derive(Debug, Clone, Default, PartialEq, Args)]
pub struct DemoArgs {
    /// Name of a scenario; without one, the scenario from which a newcomer learns most
    pub name: Option<String>,
    /// List the scenarios
    #[arg(long, conflicts_with_all = ["name", "log", "days", "sample", "seed"])]
    pub list: bool,
    /// Write a log instead of showing a screen; a name that ends in .gz or .zst is compressed
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// How many days to simulate
    #[arg(long, value_name = "N", value_parser = days, allow_negative_numbers = true)]
    pub days: Option<f64>,
    /// Time between two sets of frames, in seconds
    #[arg(long, value_name = "SECONDS", value_parser = sample, allow_negative_numbers = true)]
    pub sample: Option<f64>,
    /// Seed of the chance in it: the same seed gives the same bank
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
}

/// Options of `watch`.
#[derive(Debug, Clone, Default, PartialEq, Args)]
pub struct WatchArgs {
    /// Serial port, CAN interface, '-' for a text log on the standard input, or a log file; several are merged
    #[arg(value_name = "SOURCE")]
    pub sources: Vec<String>,
    /// Record everything that arrives in a new file, a plain CAN text log
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
    /// No screen: one document at the end, or an object a line at every change
    #[arg(long, value_enum)]
    pub format: Option<WatchFormat>,
    /// End after this time, such as 90, 30s, 10m, 2h or 1d
    #[arg(long = "for", value_name = "DURATION", value_parser = duration, allow_negative_numbers = true)]
    pub duration: Option<f64>,
    /// With --format ndjson: a snapshot this often as well
    #[arg(long, value_name = "DURATION", value_parser = duration, allow_negative_numbers = true)]
    pub every: Option<f64>,
    /// How the serial ports are listened to
    #[command(flatten)]
    pub ports: PortArgs,
    /// Exit with 1 when something at or above this was found
    #[arg(long, value_name = "LEVEL", value_enum, default_value_t)]
    pub fail_on: FailOn,
    /// Bank file: what the bank is, and which signal of its bus means what; see 'cellwright bank template'
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
    /// What every interface speaks beside Cellwright's own format; without it, found from the traffic
    #[arg(long, value_name = "DIALECT", value_parser = dialect)]
    pub dialect: Option<Dialect>,
}

/// How serial ports are listened to, by `watch` and `survey` alike.
#[derive(Debug, Clone, Copy, Default, PartialEq, Args)]
pub struct PortArgs {
    /// Rate of the serial ports, bit/s; without it, found by listening
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(300..=12_000_000))]
    pub baud: Option<u32>,
    /// The serial ports named are serial-line CAN adapters: each is opened to listen only, or not at all
    #[arg(long)]
    pub adapter: bool,
    /// Speed of the bus behind such an adapter, kbit/s; without it, found by listening
    #[arg(long, value_name = "N", requires = "adapter", value_parser = can_speed, allow_negative_numbers = true)]
    pub can_speed: Option<Speed>,
}

/// Options of `replay`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct ReplayArgs {
    /// The log; several files are read in this order as one
    #[arg(value_name = "LOG", required = true)]
    pub logs: Vec<PathBuf>,
    /// Bank file: what the bank is, and which signal of its bus means what; see 'cellwright bank template'
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
    /// What every interface speaks beside Cellwright's own format; without it, found from the traffic
    #[arg(long, value_name = "DIALECT", value_parser = dialect)]
    pub dialect: Option<Dialect>,
}

/// Options of `check`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct CheckArgs {
    /// The log (plain, .gz or .zst); several files are read in this order as one
    #[arg(value_name = "LOG", required = true)]
    pub logs: Vec<PathBuf>,
    /// For people, or for programs
    #[arg(long, value_enum, default_value_t)]
    pub format: ReportFormat,
    /// Say where each value comes from: message, frame, bits
    #[arg(long)]
    pub sources: bool,
    /// Add a table of the days: charge, voltages, temperatures, hours at next to no current by voltage
    #[arg(long, conflicts_with_all = ["limit", "compare"])]
    pub by_day: bool,
    /// What if: this limit had another number; says which findings appear, vanish or move
    #[arg(long, value_name = "NAME=VALUE", value_parser = named_number)]
    pub limit: Vec<(String, f64)>,
    /// What if: the limits of this TOML file were in force
    #[arg(long, value_name = "LIMITS.toml")]
    pub compare: Option<PathBuf>,
    /// Exit with 1 when something at or above this was found
    #[arg(long, value_name = "LEVEL", value_enum, default_value_t)]
    pub fail_on: FailOn,
    /// Bank file: what the bank is, and which signal of its bus means what; see 'cellwright bank template'
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
    /// What every interface speaks beside Cellwright's own format; without it, found from the traffic
    #[arg(long, value_name = "DIALECT", value_parser = dialect)]
    pub dialect: Option<Dialect>,
    /// Only to say where it stands
    #[arg(long, value_name = "AH", value_parser = in_bank_file, allow_negative_numbers = true, hide = true)]
    pub capacity: Option<f64>,
}

/// Options of `convert`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct ConvertArgs {
    /// The table: columns between commas, semicolons or tabs (plain, .gz or .zst); '-' for the standard input
    #[arg(value_name = "TABLE")]
    pub table: PathBuf,
    /// Bank file that says how the table is laid out; see 'cellwright bank template'
    #[arg(long, value_name = "FILE")]
    pub bank: PathBuf,
}

/// Options of `explain`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct ExplainArgs {
    /// The condition, by its code; without one, all are listed
    #[arg(value_name = "CODE")]
    pub code: Option<String>,
    /// With the limits of this bank file
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
}

/// Options of `limits`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct LimitsArgs {
    /// With the limits of this bank file
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
    /// For people, or for programs
    #[arg(long, value_enum, default_value_t)]
    pub format: ReportFormat,
}

/// Options of `bank`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct BankArgs {
    /// What to do
    #[command(subcommand)]
    pub what: BankCommand,
}

/// What `bank` does.
#[derive(Debug, Clone, PartialEq, Subcommand)]
pub enum BankCommand {
    /// Print a bank file with every key explained, to be filled in
    Template,
    /// Read a bank file and say what it means, or what is wrong in which line
    Check {
        /// The bank file
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Print a bank file with every signal written out, so that it needs no DBC
    Inline {
        /// The bank file
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
}

/// Options of `decode`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct DecodeArgs {
    /// The log (plain, .gz or .zst)
    #[arg(value_name = "LOG")]
    pub log: PathBuf,
    /// For people, or an object a line for programs
    #[arg(long, value_enum, default_value_t)]
    pub format: DecodeFormat,
    /// Decode what this DBC describes, and nothing else
    #[arg(long, value_name = "FILE")]
    pub dbc: Option<PathBuf>,
    /// Bank file: what the bank is, and which signal of its bus means what; see 'cellwright bank template'
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
    /// What every interface speaks beside Cellwright's own format; without it, found from the traffic
    #[arg(long, value_name = "DIALECT", value_parser = dialect)]
    pub dialect: Option<Dialect>,
}

/// Options of `survey`.
#[derive(Debug, Clone, PartialEq, Args)]
pub struct SurveyArgs {
    /// The log (plain, .gz or .zst), '-' for one on the standard input; or, with --for, a serial port or CAN interface
    #[arg(value_name = "LOG|SOURCE")]
    pub source: String,
    /// Listen to a live source for this time, such as 20m or 1h
    #[arg(long = "for", value_name = "DURATION", value_parser = duration, allow_negative_numbers = true)]
    pub duration: Option<f64>,
    /// Rated capacity of one pack, Ah, as printed on it: it settles the scale of the current
    #[arg(long, value_name = "AH", value_parser = capacity, allow_negative_numbers = true)]
    pub capacity: Option<f64>,
    /// How warm it is around the bank, °C, to some kelvin: it settles the offset of the temperatures
    #[arg(long, value_name = "C", value_parser = celsius, allow_negative_numbers = true)]
    pub celsius: Option<f64>,
    /// A bank file to lay beside what is found: its capacity is taken, and where the two differ is said
    #[arg(long, value_name = "FILE")]
    pub bank: Option<PathBuf>,
    /// For people, for programs, or a draft of a bank file
    #[arg(long, value_enum, default_value_t)]
    pub format: SurveyFormat,
    /// How a serial port is listened to
    #[command(flatten)]
    pub ports: PortArgs,
}

/// Form of what `survey` prints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum SurveyFormat {
    /// For people
    #[default]
    Text,
    /// For programs; docs/json.md describes it
    Json,
    /// A draft of a bank file
    Draft,
}

/// Form of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum ReportFormat {
    /// For people
    #[default]
    Text,
    /// For programs; docs/json.md describes it
    Json,
}

/// Form of what `watch` prints without a screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum WatchFormat {
    /// One document at the end, the same as of `check`
    Json,
    /// An object a line whenever the verdict or a finding changes
    Ndjson,
}

/// Form of decoded frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum DecodeFormat {
    /// For people
    #[default]
    Text,
    /// For programs: an object a line; docs/json.md describes it
    Ndjson,
}

/// From which severity on a finding makes the exit code 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum FailOn {
    /// Any finding
    Notice,
    /// The bank is being hurt, or may be
    #[default]
    Warning,
    /// Act now
    Urgent,
}

impl From<FailOn> for Severity {
    fn from(level: FailOn) -> Self {
        match level {
            FailOn::Notice => Self::Notice,
            FailOn::Warning => Self::Warning,
            FailOn::Urgent => Self::Urgent,
        }
    }
}

/// A dialect that a bus can be told to speak.
fn dialect(word: &str) -> Result<Dialect, String> {
    let known = Dialect::from_word(word).filter(|dialect| *dialect != Dialect::File);
    known.ok_or_else(|| "expected own, rv-c or iec-61162-3".to_owned())
}

fn capacity(text: &str) -> Result<f64, String> {
    number(text, 0.5, 6553.0, "Ah")
}

/// What a check takes from the bank file alone.
fn in_bank_file(_: &str) -> Result<f64, String> {
    Err("a check takes it from a bank file: 'capacity = 100' under [[pack]] (0.5 to 6553 Ah), with --bank FILE; 'cellwright \
         bank template' prints one"
        .to_owned())
}

fn celsius(text: &str) -> Result<f64, String> {
    number(text, -40.0, 60.0, "°C")
}

fn days(text: &str) -> Result<f64, String> {
    number(text, 0.001, 3660.0, "days")
}

fn sample(text: &str) -> Result<f64, String> {
    number(text, 0.1, 3600.0, "seconds")
}

/// A name and a number.
fn named_number(text: &str) -> Result<(String, f64), String> {
    let expected = || "expected NAME=VALUE, such as cell-overvoltage.notice=3.75".to_owned();
    let (name, number) = text.split_once('=').ok_or_else(expected)?;
    let number = number.trim().parse().map_err(|_| expected())?;
    Ok((name.trim().to_owned(), number))
}

/// A speed of a CAN bus, in kbit/s.
fn can_speed(text: &str) -> Result<Speed, String> {
    let kbit = text.trim_end_matches('k');
    let found = Speed::ALL.iter().copied().find(|speed| speed.kbit().to_string() == kbit);
    found.ok_or_else(|| {
        let mut all: Vec<u32> = Speed::ALL.iter().map(|speed| speed.kbit()).collect();
        all.sort_unstable();
        let all: Vec<String> = all.iter().map(u32::to_string).collect();
        format!("expected one of {} kbit/s", all.join(", "))
    })
}

/// Seconds of '90', '30s', '10m', '2h', '1d'.
fn duration(text: &str) -> Result<f64, String> {
    let expected = || "expected a time such as 90, 30s, 10m, 2h or 1d".to_owned();
    let (digits, unit) = match text.chars().last() {
        Some('s') => (&text[..text.len() - 1], 1.0),
        Some('m') => (&text[..text.len() - 1], 60.0),
        Some('h') => (&text[..text.len() - 1], 3600.0),
        Some('d') => (&text[..text.len() - 1], 86_400.0),
        _ => (text, 1.0),
    };
    let secs = digits.parse::<f64>().map_err(|_| expected())? * unit;
    if (0.1..=315_360_000.0).contains(&secs) { Ok(secs) } else { Err(expected()) }
}

fn number(text: &str, least: f64, most: f64, unit: &str) -> Result<f64, String> {
    let expected = || format!("expected {least} to {most} {unit}");
    let number: f64 = text.parse().map_err(|_| expected())?;
    if (least..=most).contains(&number) { Ok(number) } else { Err(expected()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::EXAMPLES;
    use clap::CommandFactory;

    fn parse(line: &str) -> Result<Command, clap::Error> {
        Arguments::try_parse_from(line.split_whitespace()).map(|arguments| arguments.command)
    }

    #[test]
    fn every_command_has_an_example_and_every_example_parses() {
        Arguments::command().debug_assert();
        for command in Arguments::command().get_subcommands() {
            let name = command.get_name();
            assert!(EXAMPLES.iter().any(|example| example.command == name), "{name} has no example");
        }
        for example in EXAMPLES {
            parse(example.line).unwrap_or_else(|error| panic!("{}: {error}", example.line));
            assert!(example.line.starts_with(&format!("cellwright {}", example.command)));
        }
    }

    #[test]
    fn a_check_fails_on_a_warning_unless_told_otherwise() {
        let Ok(Command::Check(plain)) = parse("cellwright check a.log") else { panic!() };
        assert_eq!((Severity::from(plain.fail_on), plain.format), (Severity::Warning, ReportFormat::Text));
        let Ok(Command::Check(told)) = parse("cellwright check a b --fail-on notice --format json") else { panic!() };
        assert_eq!((Severity::from(told.fail_on), told.logs.len()), (Severity::Notice, 2));
    }

    #[test]
    fn a_wrong_number_says_what_was_expected() {
        let error = parse("cellwright demo --days 0").unwrap_err().to_string();
        assert!(error.contains("expected 0.001 to 3660 days"), "{error}");
        let error = parse("cellwright demo --sample NaN").unwrap_err().to_string();
        assert!(error.contains("expected 0.1 to 3600 seconds"), "{error}");
        let error = parse("cellwright survey a.log --capacity -5").unwrap_err().to_string();
        assert!(error.contains("invalid value '-5' for '--capacity <AH>': expected 0.5 to 6553 Ah"), "{error}");
        let error = parse("cellwright check a.log --capacity -5").unwrap_err().to_string();
        assert!(error.contains("'capacity = 100' under [[pack]] (0.5 to 6553 Ah), with --bank FILE"), "{error}");
    }

    #[test]
    fn a_duration_has_a_unit_or_is_in_seconds() {
        for (text, secs) in [("90", 90.0), ("1.5s", 1.5), ("10m", 600.0), ("2h", 7200.0), ("1d", 86_400.0)] {
            assert_eq!(duration(text), Ok(secs));
        }
        for wrong in ["", "s", "-3", "0", "NaN", "10 minutes", "1é"] {
            assert!(duration(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn wrong_usage_is_two_and_help_is_nought() {
        for wrong in ["cellwright", "cellwright chekc a.log", "cellwright check", "cellwright check a --fail-on well"] {
            assert_eq!(parse(wrong).unwrap_err().exit_code(), 2, "{wrong}");
        }
        assert_eq!(parse("cellwright check --help").unwrap_err().exit_code(), 0);
    }
}

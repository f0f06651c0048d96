//! Arguments into each command's own small options. The enum [`Command`] is the one table of commands: parsing,
//! dispatch and help come from it; [`EXAMPLES`] is the one table of examples, and a test runs each through the parser.

mod args;
mod examples;

pub use args::{
    Arguments, BankArgs, BankCommand, CheckArgs, Command, ConvertArgs, DecodeArgs, DecodeFormat, DemoArgs, ExplainArgs,
    FailOn, LimitsArgs, PortArgs, ReplayArgs, ReportFormat, SurveyArgs, SurveyFormat, WatchArgs, WatchFormat,
};
pub use examples::{EXAMPLES, Example};

//! The commands as a person or a script runs them: the program itself, from the outside.

#[path = "commands/bank.rs"]
mod bank;
#[path = "commands/program.rs"]
mod program;

#[path = "commands/check.rs"]
mod check;
#[path = "commands/convert.rs"]
mod convert;
#[path = "commands/decode.rs"]
mod decode;
#[path = "commands/demo.rs"]
mod demo;
#[path = "commands/hostile.rs"]
mod hostile;
#[path = "commands/same.rs"]
mod same;
#[path = "commands/survey.rs"]
mod survey;
#[path = "commands/what_if.rs"]
mod what_if;

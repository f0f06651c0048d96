//! Cellwright: reads a lithium-iron-phosphate house bank's bus, listening only, and says with evidence
//! whether the bank is being hurt.
//!
//! The rooms, from the ground up, are listed in `DEVELOPERS.md`; a room uses only rooms of a lower rank.

pub mod app;
pub mod bank;
pub mod config;
pub mod convert;
pub mod curve;
pub mod decode;
pub mod engine;
pub mod history;
pub mod layout;
pub mod model;
pub mod pipeline;
pub mod report;
pub mod sim;
pub mod source;
pub mod store;
pub mod survey;
pub mod tui;
pub mod unit;
pub mod wire;

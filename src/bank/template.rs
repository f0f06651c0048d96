//! The template that the program prints: every key, explained.

/// The template: a bank file that can be read as it stands, with every key.
pub const TEMPLATE: &str = include_str!("template.toml");

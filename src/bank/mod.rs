//! The bank file: text to data and back, without reading or writing a file.

pub mod overrides;
pub mod table;

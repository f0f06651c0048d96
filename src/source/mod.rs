//! Sources.
pub mod log;

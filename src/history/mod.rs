//! Findings of two runs beside each other: other limits, other logs, other periods.

mod compare;

pub use compare::{Change, compare};

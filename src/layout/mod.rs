//! Where bits stand in frames: fields, the compiled map, and our own format as data.
//!
//! Whoever reads frames (the decoder) or writes them (the simulated bank, the converter) uses the same
//! tables from here.

mod compiled;
mod field;
pub mod own;

pub use compiled::{Channel, CompiledMap, MapBuilder, MapError};
pub use field::{Field, Order};

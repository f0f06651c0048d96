//! Where bits stand in frames: fields, the compiled map, and our own format as data.
//!
//! Whoever reads frames (the decoder) or writes them (the simulated bank, the converter) uses the same
//! tables from here.

mod compiled;
pub mod dbc;
mod field;
pub mod own;

pub use compiled::{
    Channel, Codes, CompiledMap, Key, MapBuilder, MapError, MessageSpec, Place, Places, Target, Values, When,
};
pub use field::{Bits, Blank, Field, Form, Order};

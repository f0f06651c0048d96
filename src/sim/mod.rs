//! A physical model of a bank that emits frames of our own format: the demo and the tests' bank.
//!
//! Deterministic: the same scenario, seed and options give the same inputs. Its curves come from another
//! published set than the engine's, so that the two cannot agree by construction.
//!
//! ```
//! use cellwright::sim::{Options, Simulation};
//!
//! let options = Options { seed: 1, days: Some(0.01), sample: None };
//! let inputs: Vec<_> = Simulation::new("cold-morning", options)?.collect();
//! assert_eq!(inputs.last().map(|input| &input.body), Some(&cellwright::model::Body::Closing));
//! # Ok::<(), cellwright::sim::SimError>(())
//! ```

mod bms;
mod bus;
mod cell;
mod charger;
mod day;
mod emit;
mod library;
mod meter;
mod pack;
mod random;
mod scenario;
mod simulation;
mod truth;
mod world;

pub use library::{ScenarioInfo, cases, scenario_info, scenarios};
pub use simulation::{Options, SimError, Simulation};
pub use truth::{CellTruth, PackTruth, Truth};

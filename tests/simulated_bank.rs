//! The simulated bank against published figures, and its scenarios against what their fixtures say of them.

#[path = "simulated_bank/exposure.rs"]
mod exposure;
#[path = "simulated_bank/faults.rs"]
mod faults;
#[path = "simulated_bank/fixture.rs"]
mod fixture;
#[path = "simulated_bank/frames.rs"]
mod frames;
#[path = "simulated_bank/scenarios.rs"]
mod scenarios;

//! Where inputs come from. Sources know nothing of what frames mean.

pub mod log;

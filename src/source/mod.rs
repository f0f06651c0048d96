//! Where inputs come from: CAN controllers, serial lines, pipes and logs. Each source owns its reconnecting and
//! is handed the clock; none knows what a frame means, and none can send one.

pub mod adapter;
mod batch;
#[cfg(target_os = "linux")]
pub mod can;
mod error_frame;
pub mod find;
mod link;
pub mod log;
pub mod merge;
pub mod moment;
pub mod pipe;
pub mod serial;
mod timeline;

pub use batch::{Batch, Gone, Outlet, Status, queue};
pub use merge::{Kind, Merge};
pub use moment::{Clock, Moment};

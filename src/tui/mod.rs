//! The screen: a pure update, one pane a file, and a guard that always gives the terminal back.
//!
//! Nothing in here reads a log, a bus or a clock: pictures of the bank and the place in the log come in as
//! messages, what a key wants goes out as an intent.

pub mod app;
pub mod guard;
pub mod keys;
pub mod theme;
pub mod transport;
pub mod view;
mod words;

#[cfg(test)]
mod made;

pub use app::{App, Intent, Msg};
pub use guard::Guard;
pub use theme::Theme;
pub use transport::{Live, Mark, Origin, Transport};

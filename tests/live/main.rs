//! The program on live sources, as a person runs it: pseudo-terminals and pipes stand for adapters and other
//! computers. CAN interfaces have their stories in `tests/vm/`. Senders live here and nowhere else.

#![allow(clippy::disallowed_methods)] // senders and waits of the stories read the clock; the program is told it

mod adapter;
mod aids;
mod pipe;
mod recording;
mod screen;
mod serial;
mod stream;
mod transports;

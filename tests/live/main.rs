//! The program on live sources, as a person runs it: pseudo-terminals and pipes stand for adapters and other
//! computers. CAN interfaces have their stories in `tests/vm/`. Senders live here and nowhere else.

mod aids;
mod pipe;
mod recording;
mod screen;
mod serial;
mod stream;

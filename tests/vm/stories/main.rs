//! The stories that are told inside the virtual machine, as root; the program itself runs as an ordinary user.
//!
//! Each prints one line; the last says how many were told and how many failed.

#![allow(clippy::disallowed_methods)] // senders and waits of the stories read the clock; the program is told it

mod bus;
mod run;
mod tales;

use std::panic::catch_unwind;

fn main() {
    bus::prepare();
    let only = std::env::args().nth(1);
    let (mut told, mut failed) = (0, 0);
    for (name, story) in tales::ALL {
        if only.as_deref().is_some_and(|only| !name.contains(only)) {
            continue;
        }
        told += 1;
        match catch_unwind(story) {
            Ok(said) => println!("STORY: ok {name}: {said}"),
            Err(_) => {
                failed += 1;
                println!("STORY: FAILED {name}");
            }
        }
    }
    println!("STORIES: {told} told, {failed} failed");
}

//! The open standards: what RV-C and IEC 61162-3 say, read through the maps that come with the program.

mod asked;
mod bus;
mod dialect;
mod encoder;
mod foreign;
mod properties;
mod same_bank;
mod vectors;

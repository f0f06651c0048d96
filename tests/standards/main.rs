//! The open standards: what RV-C and IEC 61162-3 say, read through the maps that come with the program.

mod bus;
mod dialect;
mod encoder;
mod properties;
mod vectors;

//! Tests of the whole crate from outside, in one binary.

mod device;
mod rhythm_reference;
mod screen;
mod store;
mod terminal;

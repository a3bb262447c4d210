//! Tests of the whole crate from outside, in one binary.

mod bad_input;
mod card;
mod device;
mod ear;
mod heard;
mod kill;
mod phrases;
mod plain;
mod program;
mod read_back;
mod rhythm_reference;
mod screen;
mod store;
mod terminal;

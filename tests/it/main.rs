//! Tests of the whole crate from outside, in one binary.

mod bad_input;
mod device;
mod kill;
mod phrases;
mod plain;
mod program;
mod rhythm_reference;
mod store;

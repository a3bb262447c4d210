//! Tests of the whole crate from outside, in one binary.

mod device;
mod read_back;
mod rhythm_reference;
mod store;

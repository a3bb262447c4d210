//! Tests of the whole crate from outside, in one binary.

mod rhythm_reference;
mod store;

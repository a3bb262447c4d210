//! Tests from outside, in one binary.

mod store;

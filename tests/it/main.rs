//! Tests of the whole crate from outside, in one binary.

mod card;
mod device;
mod ear;
mod heard;
mod rhythm_reference;
mod screen;
mod store;
mod terminal;

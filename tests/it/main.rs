//! Tests of the whole crate from outside, in one binary.

mod bad_input;
#[cfg(feature = "playback")]
mod card;
#[cfg(feature = "listen-in")]
mod clapping;
mod class;
mod damaged_recordings;
mod decks;
#[cfg(feature = "playback")]
mod device;
#[cfg(feature = "playback")]
mod ear;
#[cfg(feature = "playback")]
mod hands;
#[cfg(feature = "playback")]
mod hear;
#[cfg(feature = "playback")]
mod heard;
mod kill;
mod learners;
mod level;
mod listen;
mod loudness_reference;
mod marks;
#[cfg(feature = "listen-in")]
mod microphone;
mod phrases;
mod plain;
#[cfg(feature = "playback")]
mod played;
mod program;
mod read_back;
mod real_sounds;
mod recordings;
mod report;
mod rhythm_reference;
mod roster;
mod school;
mod screen;
mod store;
mod terminal;
mod tuning_reference;
mod wishes;

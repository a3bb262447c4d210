//! From a phrase to the ears.
//!
//! Read [`Timeline`] first: it says, in integers, at which frame every note sounds. [`render`] and
//! [`render_loop`] turn a phrase into samples: the strokes of each voice, the body of the guitar, a
//! small room, one loudness for all phrases and a ceiling for peaks. They are pure: the same
//! phrase, rate and seed give the same samples.
//!
//! An ordinary stroke (loudness 0) is equally loud whatever touch makes it: measured through the
//! K-weighting of ITU-R BS.1770 over its first 100 ms. A cue of so many decibels is thus the same
//! size in every voice.
//!
//!
//! Nothing here judges taps, chooses phrases or opens a file, and only `device.rs` knows the
//! library that plays.

mod arrange;
mod body;
mod filter;
mod master;
mod render;
mod room;
mod timeline;
mod units;
mod voice;

pub use arrange::{JoinError, claps, join};
pub use master::fade_in;
pub use render::{render, render_loop};
pub use timeline::Timeline;

#[cfg(test)]
mod tests;

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
//! [`Output`] is the way out: [`SilentOutput`] keeps the time without a sound, and, with the cargo
//! feature `playback`, `DeviceOutput` plays on the default device. Positions are frames, moments
//! are [`Stamp`](crate::world::Stamp)s.
//!
//! The way in is a [`ClapInput`]: with the cargo feature `listen-in` the default `Microphone`, in which a
//! [`ClapFinder`] finds when hands clap.
//!
//! Nothing here judges taps, chooses phrases or opens a file, and only `device.rs` and
//! `microphone.rs` know the library of devices.

mod body;
mod clap_input;
mod claps;
#[cfg(feature = "playback")]
mod device;
#[cfg(feature = "playback")]
mod feed;
mod filter;
mod master;
#[cfg(feature = "listen-in")]
mod microphone;
pub mod output;
mod passage;
mod render;
mod room;
mod timeline;
mod units;
mod voice;

pub use clap_input::{ClapInput, Ear, NoMicrophone};
pub use claps::ClapFinder;
#[cfg(feature = "playback")]
pub use device::DeviceOutput;
#[cfg(feature = "listen-in")]
pub use microphone::{Microphone, ear};
pub use output::{Output, SilentOutput};
pub use passage::{Overlay, Strokes, passage_gain, round_frames, under_claps};
pub use render::{render, render_loop};
pub use timeline::Timeline;

#[cfg(test)]
mod tests;

//! How strongly sounds state a grouping: the accent model.
//!
//! Read [`Profile`] first: accent units on each pulse of a cycle, for one voice. Units are the
//! starting values of our own table (a 6 dB louder note is 1.0), meant only to balance material and
//! to be refitted from answers; they are no measurement of people. [`size`] turns the size of a cue
//! into units and back; [`lean`] and the margins say what a profile states and how clearly.
//!
//! The generator and the analysis of recordings both use this, so that they agree on what a margin
//! is. Nothing here knows notes, sound or chance. Voices are never summed except where a question
//! is about the whole: where the cycle begins, and which clapping fits.

mod cue;
mod lean;
mod profile;
pub mod size;

pub use cue::Cue;
pub use lean::{
    Floor, Lean, both_margin, either_margin, fit, layer_margin, lean, start_margin, steady_margin,
};
pub use profile::{Profile, ProfileError};

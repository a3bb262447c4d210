//! From a recipe and a seed to a phrase with a measured truth.
//!
//! Read [`Phrase`] first: notes over whole cycles. A [`Recipe`] says what may be generated,
//! [`make()`] composes, measures with the accent model and keeps only what has one right answer by
//! the level's margin: a [`Measured`] phrase. The same recipe, seed and [`GENERATOR`] make the same
//! phrase, note for note.
//!
//! Positions are ticks, pitches semitones, loudness tenths of a decibel. Nothing here knows sound,
//! files, time of day, or what is asked of a phrase beyond its [`Purpose`].

mod cells;
mod compose;
mod family;
mod harmony;
mod level;
mod make;
mod measure;
mod note;
mod recipe;
mod wish;

pub use family::Family;
pub use level::Level;
pub use make::{GENERATOR, Measured, NoPhrase, Purpose, Turning, Wanted, make};
pub use measure::{Row, rows};
pub use note::{Loudness, Note, Phrase, Pitch, Touch, Voice};
pub use recipe::{Bell, Entry, Pacing, Recipe, RecipeError, RecipeParts, Rival, Speakers};
pub use wish::{Third, Wish};

#[cfg(test)]
mod tests;

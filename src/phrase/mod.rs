//! From a recipe and a seed to a phrase with a measured truth.

mod level;
mod note;

pub use level::Level;
pub use note::{Loudness, Note, Phrase, Pitch, Touch, Voice};

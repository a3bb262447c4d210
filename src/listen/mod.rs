//! What a recording seems to state: its pulse, and to what each cycle leans. Evidence, never a
//! verdict: only a person's mark is a truth.
//!
//! Read [`Analysis`] first. Samples go through an [`Ear`], which keeps envelopes of them as a
//! [`Sound`]; MIDI files are read as [`Notes`]. Both become streams, one value a pulse for each cue,
//! and from there on the way is one: each stream is asked whether it comes again every third pulse or
//! every second, figures of notes are asked the same, and cycles are heard with their neighbours.
//!
//! Times are seconds, levels decibels, evidence is in nats: above 0 for threes, below for twos.
//! Nothing here opens a file, knows phrases, or plays a sound, and no constant was fitted to a
//! collection of tunes: each is from a published finding or a round figure, as it says beside it.

mod again;
mod analysis;
mod carried;
mod figure;
mod filter;
mod follow;
mod in_time;
mod kept;
mod lean;
mod marked;
mod midi;
mod notes;
mod of_notes;
mod of_sound;
mod period;
mod phase;
mod pulse_path;
mod pulses;
mod said;
mod sound;
mod spectrum;
mod stream;
mod stretch;
mod units;

pub use analysis::{Analysis, Answers, accent_steps, clock};
pub use in_time::{InTime, tempi_in_words, where_in_time};
pub use lean::Lean;
pub use midi::{NotesError, PulseNote};
pub use notes::{NoteHeard, Notes};
pub use phase::{counted_from_firsts, from_first_of_cycle};
pub use pulse_path::{PulsePath, pulse_paths};
pub use pulses::{Pulses, PulsesError};
pub use said::{CycleSaid, Said};
pub use sound::{Ear, Sound};
pub use stream::Part;

#[cfg(test)]
mod tests;
#[cfg(test)]
mod tune_tests;

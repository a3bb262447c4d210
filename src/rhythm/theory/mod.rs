//! Measures of rhythm from the literature, checked against their published values.
//!
//! Everything is asked of a [`Layer`](super::Layer) of one cycle, or of its cycle alone; read
//! [`Metre`] first, which the measures of syncopation share. Numbers are pulses unless a function
//! says otherwise, and exact integers wherever the source's formula is.
//!
//! | subject | names | source |
//! | --- | --- | --- |
//! | onsets spread evenly | [`euclidean`], [`EuclideanClass`], [`arc_sum`], [`chord_sum`] | Toussaint 2005 |
//! | how far two layers are apart | [`chronotonic_distance`], [`directed_swap_distance`] | Diaz-Banez and others 2004 |
//! | standing off the beat | [`offbeatness`], [`has_oddity`] | Toussaint 2005, Arom 1991 |
//! | weights of a metre | [`Metre`], [`syncopations`], [`metrical_complexity`] | Longuet-Higgins and Lee 1984, Lerdahl and Jackendoff 1983, Toussaint 2002 |
//! | notes against beats | [`note_to_beat_distance`], [`keith_syncopation`] | Gomez and others 2005, Keith 1991 |
//! | which clock is heard | [`Clock`], [`Evidence`], [`accents`], [`best_clock`] | Povel and Essens 1985 |
//! | twos and threes counted | [`compositions`], [`placements`], [`placed`], [`necklaces`], [`bracelets`] | OEIS |
//! | layers against each other | [`CrossRhythm`] | definition |
//!
//! Nothing here judges a learner or measures a phrase: these are measures of the pattern alone,
//! and know neither loudness nor pitch.

mod clock;
mod complexity;
mod count;
mod cross;
mod distance;
mod euclid;
mod evenness;
mod metre;
mod offbeat;
mod syncopation;

pub use clock::{Clock, Evidence, accents, best_clock};
pub use complexity::{keith_syncopation, metrical_complexity, note_to_beat_distance};
pub use count::{bracelets, compositions, necklaces, placed, placements};
pub use cross::CrossRhythm;
pub use distance::{Ends, chronotonic_distance, directed_swap_distance};
pub use euclid::{EuclideanClass, euclidean};
pub use evenness::{arc_sum, chord_sum};
pub use metre::{Metre, Split};
pub use offbeat::{has_oddity, offbeatness};
pub use syncopation::{Syncopation, syncopations};

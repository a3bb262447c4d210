//! Questions, answers and the sitting.
//!
//! Read [`Sitting`] first: a state machine that takes events and returns effects, with no clock and
//! no I/O; time is in the event. A [`Question`] is a measured phrase and what is asked of it, its
//! truth with it; [`Question::judge`] turns what was given into a [`Verdict`]; a [`Reveal`] is what
//! the learner is shown and may hear afterwards; an [`Attempt`] is what is kept.
//!
//! What each kind of question asks, accepts and explains lives in `kind/`, one file a kind. Times
//! are microseconds unless a name says otherwise. Nothing here knows sound, screens, files or decks.

mod attempt;
mod hands;
pub mod judge;
mod kind;
mod material;
mod miss;
pub mod passage;
mod question;
mod reveal;
mod sitting;
mod stage;
mod tap;
mod words;

pub use attempt::{Answer, Attempt, AttemptId, KeptTap, KeptTiming, Phase, Skill};
pub use hands::{Along, Habit, Hands, ToClap};
pub use kind::{By, Call, Course, Fits, Form, Guide, Kind, Owner};
pub use material::Material;
pub use miss::{Miss, Repairs};
pub use question::{Given, Question, Verdict};
pub use reveal::{GridRow, Reveal, grid};
pub use sitting::{Effect, Event, Now, Sitting, Tally};
pub use stage::{Hearing, Open, Playing, Shown, Stage, Ticket};
pub use tap::{Hand, Tap, Taps};

#[cfg(test)]
mod tests;

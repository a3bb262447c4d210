//! What is remembered, how well it is heard, and what is asked next.
//!
//! Read [`Learner`] first: one person's skills, each with its [`Standing`]. A standing keeps three
//! quantities apart. The *level* ([`Threshold`]) is how strong the cues must be, moved by every
//! attempt. The *memory* ([`Memory`]) is how long the skill lasts, moved by one event a skill and
//! learning day. The *choice* ([`plan::Plan`]) is what comes next. Adaptive phrases alone cannot
//! feed a memory: their difficulty holds success near 82.5 % whatever is remembered.
//!
//! Units: levels and thresholds in decibels, memory in whole learning days, probabilities 0 to 1.
//!
//! Not here: clock, files, chance without a seed, phrases, words for people. Everything is computed
//! from the log of attempts in the order (day, time, id), so it can be dropped and replayed.

mod grade;
mod grid;
mod learner;
mod memory;
pub mod plan;
mod standing;
mod stored;
mod threshold;

pub use learner::{Arrival, Learner, Replay};
pub use memory::{LONGEST_GAP_DAYS, Memory, Recall};
#[cfg(test)]
pub(crate) use standing::tests::attempt as any_attempt;
pub use standing::{FIRM_DAYS, FIRM_PHRASES, Order, Standing};
pub use stored::RULES;
pub use threshold::Threshold;
pub use threshold::normal_cdf;

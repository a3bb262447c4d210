//! Cycles, pulses, layers and groupings in exact integers.
//!
//! Read [`Layer`] first: the set of pulses that one voice accents. A [`Cycle`] is its length, a
//! [`Grouping`] an ordered sum of twos and threes that states one, a [`Pattern`] a cycle as the trade
//! groups it. Musical time is counted in
//! [`Tick`]s, 240 to the pulse; a [`Pace`] of [`Tempo`]s and a [`PulseMap`] turn ticks into time.
//!
//! [`theory`] holds the measures of the literature, asked of layers alone.
//!
//! Pulses are stored from 0 and shown to people by a [`Counting`], which alone knows how counts are
//! spoken. Nothing here knows sound, chance, files or time of day.

mod counting;
mod cycle;
mod feel;
mod grouping;
mod layer;
mod notation;
mod pattern;
#[cfg(test)]
pub(crate) mod strategies;
mod tempo;
pub mod theory;
mod tick;

pub use counting::Counting;
pub use cycle::{Cycle, CycleError, Pulse};
pub use feel::Feel;
pub use grouping::{Group, Grouping, GroupingError};
pub use layer::{Layer, LayerError};
pub use notation::NotationError;
pub use pattern::Pattern;
pub use tempo::{Pace, PulseMap, Tempo, TempoError};
pub use tick::{Deviation, TICKS_PER_PULSE, Tick, Ticks};

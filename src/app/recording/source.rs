//! Where a recording comes from.

use std::fmt;
use std::io::{self, Read};
use std::path::PathBuf;
use std::sync::Arc;

use super::Played;
use crate::label::Label;
use crate::listen::Pulses;
use crate::pcm::decode::{self, DecodeError};
use crate::rhythm::{Cycle, Tempo};

/// Where a recording comes from; it can be opened again and again.
#[derive(Clone)]
pub struct Source {
    /// Its name, safe to show.
    pub name: String,
    /// Pulses in a cycle.
    pub cycle: Cycle,
    /// Whether that was asked for.
    pub cycle_from: CycleFrom,
    /// Its pulses, where they were given.
    pub pulses: Option<Given>,
    /// Its notes, where it is a MIDI file: they are heard in the stead of their sound.
    pub notes: Option<Played>,
    /// Where it lies, if that can be said.
    pub place: Option<PathBuf>,
    /// Whose marks are looked at first beside the learner's.
    pub beside: Option<Label>,
    /// Opens it.
    pub open: Open,
    /// Opens its bytes as they are, by which it is known again.
    pub bytes: Bytes,
}

/// Where the number of pulses in a cycle comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CycleFrom {
    /// It was asked for, and stands above what was kept.
    Asked,
    /// It is the usual one: what was kept goes before it.
    Usual,
}

/// Opens a recording.
pub type Open = Arc<dyn Fn() -> Result<decode::Recording, DecodeError> + Send + Sync>;

/// Opens the bytes of a file.
pub type Bytes = Arc<dyn Fn() -> io::Result<Box<dyn Read>> + Send + Sync>;

/// Pulses that were given for a recording.
#[derive(Clone, Debug)]
pub enum Given {
    /// Their times.
    Times(Pulses),
    /// So many a minute, from this time on.
    Steady(Tempo, f64),
    /// The grid of the file itself, over which stands what the learner set.
    Grid(Pulses),
}

impl fmt::Debug for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Source")
            .field("name", &self.name)
            .finish_non_exhaustive()
    }
}

impl PartialEq for Source {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.open, &other.open)
    }
}

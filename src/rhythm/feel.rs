//! What a learner names.

use super::{Cycle, Layer};

/// How a phrase groups its cycle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Feel {
    /// It leans on groups of three.
    Threes,
    /// It leans on groups of two.
    Twos,
    /// One voice leans on threes while another leans on twos.
    Both,
    /// The same voice leans on one, then on the other.
    InTurn,
    /// Nothing decides; either reading fits.
    Either,
    /// It groups its cycle as the pattern of the cycle does: 3-3-2-2-2, 2-2-3 and the like.
    Mixed,
}

impl Feel {
    /// The feels of a cycle whose grouping is open, in the order in which they are offered as
    /// answers.
    pub const OPEN: [Self; 5] = [
        Self::Threes,
        Self::Twos,
        Self::Both,
        Self::InTurn,
        Self::Either,
    ];

    /// All feels.
    pub const ALL: [Self; 6] = [
        Self::Threes,
        Self::Twos,
        Self::Both,
        Self::InTurn,
        Self::Either,
        Self::Mixed,
    ];

    /// Its id in decks, files and commands.
    pub fn id(self) -> &'static str {
        match self {
            Self::Threes => "threes",
            Self::Twos => "twos",
            Self::Both => "both",
            Self::InTurn => "in-turn",
            Self::Either => "either",
            Self::Mixed => "mixed",
        }
    }

    /// The feel with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|feel| feel.id() == id)
    }

    /// How it is said to the learner.
    pub fn words(self) -> &'static str {
        match self {
            Self::Threes => "in threes",
            Self::Twos => "in twos",
            Self::Both => "both at once",
            Self::InTurn => "in turn",
            Self::Either => "fits either",
            Self::Mixed => "as its cycle is grouped",
        }
    }

    /// The one layer that claps it, where there is one.
    pub fn layer(self, cycle: Cycle) -> Option<Layer> {
        match self {
            Self::Threes => Some(Layer::every(cycle, 3)),
            Self::Twos => Some(Layer::every(cycle, 2)),
            Self::Both | Self::InTurn | Self::Either | Self::Mixed => None,
        }
    }
}

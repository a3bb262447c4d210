//! Questions, answers and the sitting.

mod attempt;

pub use attempt::{Answer, Attempt, AttemptId, Phase, Skill};

/// What is asked of a phrase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Name the feel.
    NameFeel,
    /// Find the start of the cycle.
    FindStart,
    /// Choose the clapping that fits.
    FitClapping,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 3] = [Self::NameFeel, Self::FindStart, Self::FitClapping];

    /// Its id in decks and files.
    pub fn id(self) -> &'static str {
        match self {
            Self::NameFeel => "name-feel",
            Self::FindStart => "find-start",
            Self::FitClapping => "fit-clapping",
        }
    }

    /// The kind with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.id() == id)
    }
}

//! A deck as written: tables and values of TOML, each with its place.
//!
//! The only folder that knows the TOML library. Read [`Table`] first. Every reader is given the
//! [`Faults`](super::fault::Faults) so far, adds its own, and returns `None` when there is nothing
//! to use. Places are byte offsets.

mod document;
mod table;
mod value;

pub(super) use document::Document;
pub(super) use table::Table;
pub(super) use value::Value;

use crate::quiz::Kind;

/// A key of a table, and what is expected behind it.
pub(super) struct Key {
    pub(super) name: &'static str,
    pub(super) expected: &'static str,
    pub(super) shape: Shape,
    pub(super) presence: Presence,
}

/// What kind of value stands behind a key, for editors. Those that read it say the rest.
pub(super) enum Shape {
    /// This whole number.
    Exactly(i64),
    /// 1 to 40 lower-case letters, digits and hyphens.
    Id,
    /// A short text on one line.
    Label,
    /// One of these words.
    Word(fn() -> Vec<&'static str>),
    /// One of these words or counts, or a list of them, at most so many, each once.
    Patterns(fn() -> Vec<&'static str>, usize),
    /// A list of these words, at least one, each once.
    Words(fn() -> Vec<&'static str>),
    /// A list of ids, at most so many, each once.
    Ids(usize),
    /// A list of skills of the decks that come with the program, at most so many, each once.
    Skills(usize),
    /// A list of such skills and of ids, at most so many, each once.
    SkillsOrIds(usize),
    /// A list of clappings in counts, at most so many, each once.
    Clappings(usize),
    /// Two whole numbers, each within these.
    Pair(fn() -> (i64, i64)),
    /// A number within these.
    Number(fn() -> (f64, f64)),
    /// The name that a file has by its bytes.
    Hash,
    /// So many bytes.
    Bytes,
    /// A text on one line.
    Text,
    /// Pulses in a cycle.
    Cycle,
    /// Times in seconds, rising.
    Times,
    /// A sign for each cycle.
    Marks,
    /// A day, year first.
    Day,
    /// A whole number within these.
    Whole(u32, u32),
    /// A list of texts on one line each, at most so many, each once.
    Texts(usize),
    /// `all`, or a list of ids, at most so many, each once.
    AllOrIds(usize),
    /// A table of these keys.
    Table(&'static [Key]),
    /// A list of tables of these keys, at least one and at most so many.
    Tables(&'static [Key], usize),
}

/// Whether a key has to stand.
#[derive(Clone, Copy)]
pub(super) enum Presence {
    /// It has to.
    Needed,
    /// It may be left out.
    Optional,
    /// It has to where phrases are made, and stands nowhere else.
    NeededToMake,
    /// It may where phrases are made, and stands nowhere else.
    OptionalToMake,
    /// It has to in exercises that ask this, and stands in no others.
    NeededIf(&'static Only),
    /// It may in exercises that ask this, and stands in no others.
    OptionalIf(&'static Only),
}

impl Presence {
    /// What exercises with the key ask; `None` where that is not limited.
    pub(super) fn only(self) -> Option<&'static Only> {
        match self {
            Self::Needed | Self::Optional | Self::NeededToMake | Self::OptionalToMake => None,
            Self::NeededIf(only) | Self::OptionalIf(only) => Some(only),
        }
    }

    /// Whether it has to stand in an exercise that asks `kind`.
    pub(super) fn is_needed(self, kind: Kind) -> bool {
        match self {
            Self::Needed | Self::NeededToMake => true,
            Self::NeededIf(only) => only.kinds.contains(&kind),
            Self::Optional | Self::OptionalToMake | Self::OptionalIf(_) => false,
        }
    }

    /// Whether it says how phrases are made.
    pub(super) fn is_to_make(self) -> bool {
        matches!(self, Self::NeededToMake | Self::OptionalToMake)
    }
}

/// Where alone a key stands.
pub(super) struct Only {
    pub(super) kinds: &'static [Kind],
    /// The same in words, behind "expected it only".
    pub(super) words: &'static str,
}

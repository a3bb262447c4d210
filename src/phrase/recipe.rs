//! What may be generated.

use crate::rhythm::{Cycle, Feel, Tempo};

/// A family of surfaces, and with it the cue that carries the grouping.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Low note, new chord and a louder stroke agree.
    Plain,
    /// Strums over low notes; the low notes tell.
    BassStrums,
    /// Even strums; the changes of chord tell (harmonic rhythm).
    Chords,
    /// A broken chord; the thumb's depth tells.
    Arpeggio,
    /// A single line in even notes; the tops of its figures tell.
    Line,
}

impl Family {
    /// All families.
    pub const ALL: [Self; 5] = [
        Self::Plain,
        Self::BassStrums,
        Self::Chords,
        Self::Arpeggio,
        Self::Line,
    ];

    /// Its id in decks and files.
    pub fn id(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::BassStrums => "bass-strums",
            Self::Chords => "chords",
            Self::Arpeggio => "arpeggio",
            Self::Line => "line",
        }
    }

    /// The family with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|family| family.id() == id)
    }
}

/// Where a phrase comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Entry {
    /// On the first count.
    One,
    /// On any count, equally often.
    Any,
    /// With one or two notes that lead to the first count.
    Pickup,
}

impl Entry {
    /// All entries.
    pub const ALL: [Self; 3] = [Self::One, Self::Any, Self::Pickup];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::One => "one",
            Self::Any => "any",
            Self::Pickup => "pickup",
        }
    }

    /// The entry with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|entry| entry.id() == id)
    }
}

/// Whether a small bell marks the first count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Bell {
    /// No bell.
    None,
    /// In every cycle.
    Every,
    /// In every second cycle, from the first.
    Second,
}

impl Bell {
    /// All ways of the bell.
    pub const ALL: [Self; 3] = [Self::None, Self::Every, Self::Second];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Every => "every",
            Self::Second => "second",
        }
    }

    /// The way with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|bell| bell.id() == id)
    }
}

/// What may be asked of a recipe before it is checked; see [`Recipe::new`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecipeParts {
    /// The surfaces, drawn evenly.
    pub families: Vec<Family>,
    /// The feels in play, drawn evenly by whoever asks.
    pub feels: Vec<Feel>,
    /// Slowest and fastest, in pulses a minute.
    pub tempo: (i64, i64),
    /// Fewest and most cycles.
    pub cycles: (i64, i64),
    /// Where it may come in, drawn evenly.
    pub entries: Vec<Entry>,
    /// Whether a bell marks the first count.
    pub bell: Bell,
}

/// What may be generated; only what the generator can make.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recipe {
    parts: RecipeParts,
    slowest: Tempo,
    fastest: Tempo,
    fewest: u32,
    most: u32,
}

/// Why a recipe cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecipeError {
    /// A list without an entry.
    #[error("no {0}; at least one is needed")]
    Nothing(&'static str),
    /// A tempo that does not let groups be felt, or is upside down.
    #[error("tempo {0} to {1} pulses a minute; slowest and fastest lie in 100 to 260")]
    Tempo(i64, i64),
    /// Too few or too many cycles, or upside down.
    #[error("{0} to {1} cycles; fewest and most lie in 2 to 8")]
    Cycles(i64, i64),
    /// A change needs room on both sides.
    #[error("in-turn with phrases of {0} cycles; it needs 4 or more")]
    NoRoomForTurn(i64),
}

impl Recipe {
    /// The cycle of every phrase so far.
    pub const CYCLE: Cycle = Cycle::SIX;

    /// Checks `parts`.
    ///
    /// # Errors
    /// When a list is empty, a range is out of bounds, or `in-turn` has no room.
    pub fn new(parts: RecipeParts) -> Result<Self, RecipeError> {
        let (low, high) = parts.tempo;
        let in_range = |ppm: i64| (100..=260).contains(&ppm);
        let tempo = |ppm| Tempo::of_pulses_a_minute(ppm).map_err(|_| RecipeError::Tempo(low, high));
        if !in_range(low) || !in_range(high) || low > high {
            return Err(RecipeError::Tempo(low, high));
        }
        let (fewest, most) = parts.cycles;
        let count = |n: i64| match u32::try_from(n) {
            Ok(n @ 2..=8) if fewest <= most => Ok(n),
            _ => Err(RecipeError::Cycles(fewest, most)),
        };
        let recipe = Self {
            slowest: tempo(low)?,
            fastest: tempo(high)?,
            fewest: count(fewest)?,
            most: count(most)?,
            parts,
        };
        recipe.check_lists()?;
        Ok(recipe)
    }

    fn check_lists(&self) -> Result<(), RecipeError> {
        let parts = &self.parts;
        let lists = [
            ("families", parts.families.is_empty()),
            ("feels", parts.feels.is_empty()),
            ("entry", parts.entries.is_empty()),
        ];
        if let Some((name, _)) = lists.into_iter().find(|(_, empty)| *empty) {
            return Err(RecipeError::Nothing(name));
        }
        if parts.feels.contains(&Feel::InTurn) && self.fewest < 4 {
            return Err(RecipeError::NoRoomForTurn(parts.cycles.0));
        }
        Ok(())
    }

    /// The surfaces.
    pub fn families(&self) -> &[Family] {
        &self.parts.families
    }

    /// The feels in play.
    pub fn feels(&self) -> &[Feel] {
        &self.parts.feels
    }

    /// Where it may come in.
    pub fn entries(&self) -> &[Entry] {
        &self.parts.entries
    }

    /// Whether a bell marks the first count.
    pub fn bell(&self) -> Bell {
        self.parts.bell
    }

    /// Slowest and fastest.
    pub fn tempo(&self) -> (Tempo, Tempo) {
        (self.slowest, self.fastest)
    }

    /// Fewest and most cycles.
    pub fn cycles(&self) -> (u32, u32) {
        (self.fewest, self.most)
    }
}

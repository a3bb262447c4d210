//! What may be generated.

use super::{Family, Third};
use crate::accent::Cue;
use crate::rhythm::{Feel, Pattern, Tempo};

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

/// What another voice does against a layer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Rival {
    /// Nothing, or its own layer at the same strength where both sound at once.
    #[default]
    None,
    /// From the second cycle on it hints at the other layer, too weakly to state it.
    Mild,
    /// The guitar is 3 dB stronger than the knocks against it.
    Stronger,
}

impl Rival {
    /// All rivals.
    pub const ALL: [Self; 3] = [Self::None, Self::Mild, Self::Stronger];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Mild => "mild",
            Self::Stronger => "stronger",
        }
    }
}

/// How the tempo goes through a phrase.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Pacing {
    /// It stays.
    #[default]
    Steady,
    /// It moves by 20 to 40 % up or down, within a cycle in the middle of the phrase.
    Moving,
    /// The pulses before the close are a little longer, as a player breathes there.
    Elastic,
}

impl Pacing {
    /// All ways of pacing.
    pub const ALL: [Self; 3] = [Self::Steady, Self::Moving, Self::Elastic];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Moving => "moving",
            Self::Elastic => "elastic",
        }
    }
}

/// What phrases are to be heard through.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Speakers {
    /// Headphones or speakers that carry a guitar's low strings.
    #[default]
    Full,
    /// Small ones, as in a laptop: the low notes are played an octave higher, and what stands over
    /// them moves up too, so that they stay as low against it. What it states is measured so.
    Small,
}

/// What may be asked of a recipe before it is checked; see [`Recipe::new`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecipeParts {
    /// The cycle, and its own grouping where it has one; several that differ in nothing but their
    /// grouping are drawn evenly by whoever asks.
    pub patterns: Vec<Pattern>,
    /// The surfaces, drawn evenly.
    pub families: Vec<Family>,
    /// The feels in play, drawn evenly by whoever asks.
    pub feels: Vec<Feel>,
    /// Slowest and fastest, in pulses a minute, in which a phrase begins.
    pub tempo: (i64, i64),
    /// How the tempo goes on from there.
    pub pacing: Pacing,
    /// What another voice does against the layer.
    pub rival: Rival,
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
    speakers: Speakers,
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
    #[error("tempo {found:?} pulses a minute; slowest and fastest lie in {possible:?}")]
    Tempo {
        /// What was asked for, slowest and fastest.
        found: (i64, i64),
        /// What the pattern lets be felt.
        possible: (i64, i64),
    },
    /// Too few or too many cycles, or upside down.
    #[error("{0} to {1} cycles; fewest and most lie in 2 to 12")]
    Cycles(i64, i64),
    /// A feel that the pattern does not have.
    #[error("the pattern {pattern} has no phrases {feel}", pattern = .1.name(), feel = .0.words())]
    Feel(Feel, Pattern),
    /// Patterns that differ in more than their grouping.
    #[error("the patterns {} and {} do not stand beside each other", .0.name(), .1.name())]
    Patterns(Pattern, Pattern),
    /// A family that cannot state the pattern.
    #[error("the pattern {pattern} has no {family}", pattern = .1.name(), family = .0.id())]
    Family(Family, Pattern),
    /// A change needs room on both sides.
    #[error("in-turn needs phrases of 4 cycles or more, and here they have {0}")]
    NoRoomForTurn(i64),
}

impl Recipe {
    /// Checks `parts`.
    ///
    /// # Errors
    /// When a list is empty, a range is out of bounds, `in-turn` has no room, or the pattern has
    /// not such a feel.
    pub fn new(parts: RecipeParts) -> Result<Self, RecipeError> {
        if parts.patterns.is_empty() {
            return Err(RecipeError::Nothing("pattern"));
        }
        let (slowest, fastest) = tempo_range(&parts)?;
        let (fewest, most) = cycle_range(parts.cycles)?;
        let recipe = Self {
            speakers: Speakers::Full,
            slowest,
            fastest,
            fewest,
            most,
            parts,
        };
        recipe.check_lists()?;
        recipe.check_patterns()?;
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
        parts.feels.iter().try_for_each(|feel| self.allows(*feel))
    }

    fn check_patterns(&self) -> Result<(), RecipeError> {
        let first = self.pattern();
        for pattern in &self.parts.patterns {
            let differs = pattern.marks().is_none() || !pattern.is_like(first);
            if *pattern != first && differs {
                return Err(RecipeError::Patterns(first, *pattern));
            }
            let mut families = self.parts.families.iter();
            if let Some(family) = families.find(|family| !family.can_state(*pattern)) {
                return Err(RecipeError::Family(*family, *pattern));
            }
        }
        Ok(())
    }

    /// Whether its phrases can have this feel, be it in play or not.
    ///
    /// # Errors
    /// When the pattern has no such feel, or a change has no room.
    pub fn allows(&self, feel: Feel) -> Result<(), RecipeError> {
        let is_open = self.pattern().marks().is_none();
        if (feel == Feel::Mixed) == is_open {
            Err(RecipeError::Feel(feel, self.pattern()))
        } else if feel == Feel::InTurn && self.fewest < 4 {
            Err(RecipeError::NoRoomForTurn(self.parts.cycles.0))
        } else {
            Ok(())
        }
    }

    /// The same recipe, its phrases to be heard through these speakers.
    #[must_use]
    pub fn through(self, speakers: Speakers) -> Self {
        Self { speakers, ..self }
    }

    /// The same recipe with only those families that tell by `cue`; `None` when it has none.
    pub fn telling_by(&self, cue: Cue) -> Option<Self> {
        let mut recipe = self.clone();
        recipe
            .parts
            .families
            .retain(|family| family.cue() == Some(cue));
        (!recipe.parts.families.is_empty()).then_some(recipe)
    }

    /// The same recipe with only the tempi of this third of its range.
    #[must_use]
    pub fn in_third(&self, third: Third) -> Self {
        let (low, high) = (self.slowest.hundredths(), self.fastest.hundredths());
        let at = |thirds: u32| Tempo::of_hundredths(low + (high - low) * thirds / 3);
        let (from, to) = match third {
            Third::Slow => (0, 1),
            Third::Middle => (1, 2),
            Third::Fast => (2, 3),
        };
        Self {
            // What lies between two tempi is one.
            slowest: at(from).unwrap_or(self.slowest),
            fastest: at(to).unwrap_or(self.fastest),
            ..self.clone()
        }
    }

    /// The same recipe with this one of its patterns alone.
    #[must_use]
    pub fn in_pattern(&self, pattern: Pattern) -> Self {
        let mut recipe = self.clone();
        recipe.parts.patterns = vec![pattern];
        recipe
    }

    /// What its phrases are to be heard through.
    pub fn speakers(&self) -> Speakers {
        self.speakers
    }

    /// The cycle, and its own grouping where it has one; the first of several.
    pub fn pattern(&self) -> Pattern {
        *self.parts.patterns.first().expect("a recipe has a pattern")
    }

    /// One pattern, or several of one cycle that are each grouped in another way.
    pub fn patterns(&self) -> &[Pattern] {
        &self.parts.patterns
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

    /// What another voice does against a layer.
    pub fn rival(&self) -> Rival {
        self.parts.rival
    }

    /// How the tempo goes through a phrase.
    pub fn pacing(&self) -> Pacing {
        self.parts.pacing
    }

    /// Slowest and fastest in which a phrase begins.
    pub fn tempo(&self) -> (Tempo, Tempo) {
        (self.slowest, self.fastest)
    }

    /// Fewest and most cycles.
    pub fn cycles(&self) -> (u32, u32) {
        (self.fewest, self.most)
    }
}

fn tempo_range(parts: &RecipeParts) -> Result<(Tempo, Tempo), RecipeError> {
    // What every pattern lets be felt.
    let each = parts.patterns.iter().map(|pattern| pattern.tempo());
    let possible = each.reduce(|all, one| (all.0.max(one.0), all.1.min(one.1)));
    let possible = possible.unwrap_or_default();
    let (low, high) = parts.tempo;
    let wrong = RecipeError::Tempo {
        found: parts.tempo,
        possible,
    };
    if low < possible.0 || high > possible.1 || low > high {
        return Err(wrong);
    }
    match (
        Tempo::of_pulses_a_minute(low),
        Tempo::of_pulses_a_minute(high),
    ) {
        (Ok(low), Ok(high)) => Ok((low, high)),
        _ => Err(wrong),
    }
}

fn cycle_range((fewest, most): (i64, i64)) -> Result<(u32, u32), RecipeError> {
    match (u32::try_from(fewest), u32::try_from(most)) {
        (Ok(low @ 2..=12), Ok(high @ 2..=12)) if low <= high => Ok((low, high)),
        _ => Err(RecipeError::Cycles(fewest, most)),
    }
}

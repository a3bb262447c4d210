//! The phrase of the bench, as it is set up.

use crate::phrase::{
    Bell, Entry, Family, Level, Pacing, Phrase, Purpose, Recipe, RecipeParts, Rival, Speakers,
    Wanted, make,
};
use crate::rhythm::{Feel, Pattern};
use crate::world::Seed;

use super::LEVEL;

/// What a phrase of the bench is made from, besides chance.
pub(super) struct SetUp {
    pub(super) pattern: Pattern,
    pub(super) family: Family,
    pub(super) feel: Feel,
    pub(super) ppm: i64,
    pub(super) n_cycles: i64,
    pub(super) speakers: Speakers,
}

impl SetUp {
    pub(super) fn compose(self, seed: Seed) -> Option<Phrase> {
        let recipe = Recipe::new(RecipeParts {
            patterns: vec![self.pattern],
            families: vec![self.family],
            feels: vec![self.feel],
            tempo: (self.ppm, self.ppm),
            pacing: Pacing::Steady,
            rival: Rival::None,
            cycles: (self.n_cycles, self.n_cycles),
            entries: vec![Entry::One],
            bell: Bell::None,
        });
        let wanted = Wanted {
            feel: self.feel,
            level: Level::of_decibels(LEVEL),
            knocks: None,
            purpose: Purpose::NameFeel,
        };
        make(&recipe.ok()?.through(self.speakers), &wanted, seed)
            .ok()
            .map(|made| made.phrase().clone())
    }
}

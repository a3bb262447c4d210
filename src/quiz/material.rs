//! What an exercise takes its questions from: phrases that are made, or passages of recordings.

use std::sync::Arc;

use super::kind::of_passage;
use super::passage::Passage;
use super::{By, Form};
use crate::phrase::Recipe;
use crate::rhythm::{Counting, Cycle};

/// What an exercise takes its questions from.
#[derive(Clone, Debug, PartialEq)]
pub enum Material {
    /// Phrases of a recipe.
    Made(Recipe),
    /// Passages of recordings; one or more, all of one cycle, and all fit for what is asked.
    Cut(Vec<Arc<Passage>>),
}

impl Material {
    /// Those of `passages` of which `form` can be asked, with the same number of pulses in a cycle;
    /// `None` where there is no question in them: none fits, or where feels are to be told apart all
    /// have one.
    pub fn cut(form: &Form, passages: &[Arc<Passage>], cycle: Cycle) -> Option<Self> {
        let fits =
            |passage: &&Arc<Passage>| passage.cycle() == cycle && of_passage::fits(form, passage);
        let those: Vec<Arc<Passage>> = passages.iter().filter(fits).cloned().collect();
        let is_told_apart = *form != Form::NameFeel || of_passage::feels(&those).len() > 1;
        (!those.is_empty() && is_told_apart).then_some(Self::Cut(those))
    }

    /// Whether a form can be asked of passages at all.
    pub fn can_be_cut(form: &Form) -> bool {
        of_passage::is_possible(form)
    }

    /// The recipe, where phrases are made.
    pub fn recipe(&self) -> Option<&Recipe> {
        match self {
            Self::Made(recipe) => Some(recipe),
            Self::Cut(_) => None,
        }
    }

    /// The passages, where they are cut from recordings.
    pub fn passages(&self) -> &[Arc<Passage>] {
        match self {
            Self::Made(_) => &[],
            Self::Cut(passages) => passages,
        }
    }

    /// The cycle.
    pub fn cycle(&self) -> Cycle {
        match self {
            Self::Made(recipe) => recipe.pattern().cycle(),
            Self::Cut(passages) => passages.first().map_or(Cycle::SIX, |one| one.cycle()),
        }
    }

    /// How its counts are spoken where the learner chose nothing else.
    pub fn counting(&self) -> Counting {
        let pattern = self.recipe().map(Recipe::pattern);
        pattern.map_or(Counting::FromOne, |pattern| pattern.counting())
    }

    /// How many answers `form` offers of it; 0 where the answer is tapped.
    pub fn alternatives(&self, form: &Form) -> u8 {
        let passages = match self {
            Self::Made(recipe) => return form.alternatives(recipe),
            Self::Cut(passages) => passages,
        };
        let n = match form {
            Form::NameFeel => of_passage::feels(passages).len(),
            Form::FindStart(By::Count) => self.cycle().n_pulses(),
            Form::CatchTurn(_) => {
                let n_cycles = passages.iter().map(|passage| passage.n_cycles()).min();
                // Three cycles side by side are right.
                n_cycles.unwrap_or(2).div_ceil(3).max(2)
            }
            Form::FitClapping { clappings, .. } => of_passage::n_offered(clappings),
            _ => 0,
        };
        u8::try_from(n).unwrap_or(u8::MAX)
    }
}

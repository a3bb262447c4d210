//! What a learner wishes of phrases, over what a recipe says.

use crate::accent::Cue;

use super::Recipe;

/// What phrases are to be like, as far as their recipes let them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    /// By which cue they are to tell; any when `None`.
    pub cue: Option<Cue>,
    /// Which third of the recipe's tempi; any when `None`.
    pub tempo: Option<Third>,
}

/// A third of a recipe's range of tempi.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Third {
    /// The slowest.
    Slow,
    /// The middle.
    Middle,
    /// The fastest.
    Fast,
}

impl Third {
    /// All thirds.
    pub const ALL: [Self; 3] = [Self::Slow, Self::Middle, Self::Fast];

    /// Its word, which is also its id on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Slow => "slow",
            Self::Middle => "middle",
            Self::Fast => "fast",
        }
    }

    /// The third with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|third| third.word() == word)
    }
}

impl Wish {
    /// The recipe as it is wished for: with the families that tell by the cue, where it has any, and
    /// with the tempi of the third.
    #[must_use]
    pub fn upon(self, recipe: &Recipe) -> Recipe {
        let recipe = match self.cue {
            Some(cue) => recipe.telling_by(cue).unwrap_or_else(|| recipe.clone()),
            None => recipe.clone(),
        };
        match self.tempo {
            Some(third) => recipe.in_third(third),
            None => recipe,
        }
    }

    /// The wish in words, as far as the recipe lets it come true; `None` where nothing of it does.
    pub fn words(self, recipe: &Recipe) -> Option<String> {
        let cue = self.cue.filter(|cue| recipe.telling_by(*cue).is_some());
        let cue = cue.map(|cue| format!("by {}", cue.words()));
        let tempo = self.tempo.map(|third| match third {
            Third::Slow => "at a slow tempo".to_owned(),
            Third::Middle => "at a middle tempo".to_owned(),
            Third::Fast => "at a fast tempo".to_owned(),
        });
        let parts: Vec<String> = cue.into_iter().chain(tempo).collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    }

    /// The wish with the next of these cues, and after the last with any.
    #[must_use]
    pub fn with_next_cue(self, cues: &[Cue]) -> Self {
        Self {
            cue: next(self.cue, cues),
            ..self
        }
    }

    /// The wish with the next third of the tempi, and after the last with any.
    #[must_use]
    pub fn with_next_tempo(self) -> Self {
        Self {
            tempo: next(self.tempo, &Third::ALL),
            ..self
        }
    }
}

/// What comes after `here` in `all`: none, then each in turn, then none again.
fn next<T: Copy + PartialEq>(here: Option<T>, all: &[T]) -> Option<T> {
    match here {
        None => all.first().copied(),
        Some(here) => {
            let idx = all.iter().position(|one| *one == here)?;
            all.get(idx + 1).copied()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::{Bell, Entry, Family, Pacing, RecipeParts, Rival};
    use crate::rhythm::{Feel, Pattern};

    fn recipe() -> Recipe {
        Recipe::new(RecipeParts {
            patterns: vec![Pattern::SIX],
            families: vec![Family::Plain, Family::Chords, Family::Arpeggio],
            feels: vec![Feel::Threes],
            tempo: (120, 210),
            pacing: Pacing::Steady,
            rival: Rival::None,
            cycles: (4, 4),
            entries: vec![Entry::One],
            bell: Bell::None,
        })
        .expect("a recipe")
    }

    #[test]
    fn a_wish_narrows_what_it_can_and_leaves_the_rest() {
        let recipe = recipe();
        let wish = Wish {
            cue: Some(Cue::Bass),
            tempo: Some(Third::Middle),
        };
        let wished = wish.upon(&recipe);
        assert_eq!(wished.families(), [Family::Arpeggio]);
        let (slowest, fastest) = wished.tempo();
        assert_eq!(
            (slowest.hundredths(), fastest.hundredths()),
            (15_000, 18_000)
        );
        let words = wish.words(&recipe).expect("it comes true");
        assert_eq!(words, "by the low notes, at a middle tempo");

        let impossible = Wish {
            cue: Some(Cue::Strike),
            tempo: None,
        };
        assert_eq!(impossible.upon(&recipe), recipe);
        assert_eq!(impossible.words(&recipe), None);
        assert_eq!(Wish::default().upon(&recipe), recipe);
    }

    #[test]
    fn wishes_go_round() {
        let cues = [Cue::Bass, Cue::Chord];
        let mut wish = Wish::default();
        let mut seen = Vec::new();
        for _ in 0..3 {
            wish = wish.with_next_cue(&cues).with_next_tempo();
            seen.push((wish.cue, wish.tempo));
        }
        assert_eq!(seen[0], (Some(Cue::Bass), Some(Third::Slow)));
        assert_eq!(seen[2], (None, Some(Third::Fast)));
        // A cue that this deck does not have is let go.
        let elsewhere = Wish {
            cue: Some(Cue::Roll),
            ..wish
        };
        assert_eq!(elsewhere.with_next_cue(&cues).cue, None);
    }
}

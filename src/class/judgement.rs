//! What a person decided about phrases whose label was doubted.
//!
//! Read [`Judgement`] first. A phrase is named by skill, seed and version of the generator, since those
//! make it; of several judgements of one phrase the latest stands. [`Rulings`] has those that stand and
//! reads an attempt as judged.

use std::collections::HashMap;
use std::fmt;

use crate::label::Label;
use crate::quiz::{Answer, Attempt, Skill};
use crate::world::{Moment, Seed};

/// The most judgements that travel with an assignment, the latest of them.
pub const MOST_JUDGED: usize = 1_000;

/// Names a phrase: what it was made of, and by which generator.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct PhraseId {
    /// What was practised; it stands for the recipe.
    pub skill: Skill,
    /// What it was made from.
    pub seed: Seed,
    /// The version of the generator that made it.
    pub generator: u32,
}

impl PhraseId {
    /// The phrase of an attempt.
    pub fn of(attempt: &Attempt) -> Self {
        Self {
            skill: attempt.skill.clone(),
            seed: attempt.seed,
            generator: attempt.generator,
        }
    }

    /// The phrase that [`fmt::Display`] wrote: skill, seed and generator with blanks between.
    pub fn from_text(text: &str) -> Option<Self> {
        let words: Vec<&str> = text.split(' ').collect();
        let [skill, seed, generator] = words.as_slice() else {
            return None;
        };
        Some(Self {
            skill: skill_of(skill)?,
            seed: Seed(number(seed)?),
            generator: u32::try_from(number(generator)?).ok()?,
        })
    }
}

/// The skill of this name: two ids with a stroke between, as decks have them.
pub fn skill_of(text: &str) -> Option<Skill> {
    let (deck, exercise) = text.split_once('/')?;
    let is_id = |id: &str| {
        let fits = |sign: u8| matches!(sign, b'a'..=b'z' | b'0'..=b'9' | b'-');
        !id.is_empty() && id.bytes().all(fits)
    };
    let is_short = text.len() <= super::hand_in::limit::SKILL;
    (is_short && is_id(deck) && is_id(exercise)).then(|| Skill(text.into()))
}

/// Plain decimal digits: one phrase has one name.
fn number(text: &str) -> Option<u64> {
    let number: u64 = text.parse().ok()?;
    (number.to_string() == text).then_some(number)
}

impl fmt::Display for PhraseId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.skill, self.seed.0, self.generator)
    }
}

/// What was decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ruling {
    /// The label is right. The phrase may be asked again.
    Upheld,
    /// This is the right answer, and the label was wrong. The phrase is not asked again, since it
    /// would come with the same label; attempts at it count by this answer.
    Overruled(Answer),
    /// There is no one right answer. The phrase is not asked again, and attempts at it do not count.
    Withdrawn,
}

impl Ruling {
    /// Its id.
    pub fn id(self) -> &'static str {
        match self {
            Self::Upheld => "upheld",
            Self::Overruled(_) => "overruled",
            Self::Withdrawn => "withdrawn",
        }
    }

    /// The right answer, where the label was wrong.
    pub fn answer(self) -> Option<Answer> {
        match self {
            Self::Overruled(answer) => Some(answer),
            Self::Upheld | Self::Withdrawn => None,
        }
    }

    /// The ruling of an id and of the text of an answer, empty where it has none.
    pub fn from_texts(id: &str, answer: &str) -> Option<Self> {
        match (id, answer) {
            ("upheld", "") => Some(Self::Upheld),
            ("withdrawn", "") => Some(Self::Withdrawn),
            ("overruled", answer) => Answer::from_text(answer).map(Self::Overruled),
            _ => None,
        }
    }

    /// Whether the phrase may still be asked.
    pub fn may_be_asked(self) -> bool {
        matches!(self, Self::Upheld)
    }
}

/// A decision about a phrase.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judgement {
    /// The phrase.
    pub phrase: PhraseId,
    /// What was decided.
    pub ruling: Ruling,
    /// When.
    pub at: Moment,
    /// Why, in a line of the teacher's.
    pub note: Option<Label>,
}

/// The rulings that stand.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rulings {
    of: HashMap<Skill, HashMap<(Seed, u32), Ruling>>,
}

impl Rulings {
    /// Takes a ruling in place of one before it.
    pub fn set(&mut self, phrase: PhraseId, ruling: Ruling) {
        let of_skill = self.of.entry(phrase.skill).or_default();
        of_skill.insert((phrase.seed, phrase.generator), ruling);
    }

    /// What was decided about the phrase of an attempt.
    pub fn of(&self, attempt: &Attempt) -> Option<Ruling> {
        let of_skill = self.of.get(&attempt.skill)?;
        of_skill.get(&(attempt.seed, attempt.generator)).copied()
    }

    /// The attempt as it counts: by the right answer where the label was overruled, `None` where the
    /// phrase was withdrawn. What is right is then the very answer; a turn one cycle off is not.
    pub fn judged(&self, mut attempt: Attempt) -> Option<Attempt> {
        match self.of(&attempt) {
            None | Some(Ruling::Upheld) => {}
            Some(Ruling::Withdrawn) => return None,
            Some(Ruling::Overruled(answer)) => {
                attempt.truth = answer;
                attempt.right = attempt.answer == answer;
            }
        }
        Some(attempt)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn the_name_of_a_phrase_reads_as_it_is_written(seed in any::<u64>(), generator in any::<u32>()) {
            let phrase = PhraseId { skill: Skill("path/bass".into()), seed: Seed(seed), generator };
            prop_assert_eq!(PhraseId::from_text(&phrase.to_string()), Some(phrase));
        }

        #[test]
        fn no_text_makes_it_panic(text in ".{0,60}") {
            if let Some(phrase) = PhraseId::from_text(&text) {
                prop_assert_eq!(phrase.to_string(), text);
            }
        }
    }

    #[test]
    fn what_names_no_phrase_is_none() {
        for text in [
            "",
            "path/bass 1",
            "path/bass 1 2 3",
            "path 1 2",
            "../../etc 1 2",
            "path/bass +1 2",
            "path/bass 01 2",
            "path/bass 18446744073709551616 2",
            "path/bass 1 4294967296",
        ] {
            assert_eq!(PhraseId::from_text(text), None, "{text}");
        }
    }
}

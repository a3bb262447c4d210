//! The exercises of a deck as the plan knows them: by their place.

use std::collections::HashMap;
use std::sync::Arc;

use crate::accent::Cue;
use crate::deck::{Deck, Exercise, Order, Part};
use crate::phrase::Level;
use crate::quiz::Skill;
use crate::quiz::passage::Passage;
use crate::report::heard_from;
use crate::review::plan::{BLOCKS_OF_A_SKILL, Candidate, Candidates, Limit, NEW_A_DAY};
use crate::review::{Learner, Standing};

use super::check;

/// A deck, its exercises counted as the plan's candidates are.
#[derive(Clone, Debug)]
pub struct Course {
    deck: Deck,
    candidates: Candidates,
}

impl Course {
    /// The course through `deck`.
    pub fn new(deck: Deck) -> Self {
        Self {
            candidates: candidates(&deck),
            deck,
        }
    }

    /// How many exercises there are.
    pub fn len(&self) -> usize {
        self.deck.exercises().len()
    }

    /// Whether there are none, which no deck has.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The exercise of a candidate.
    pub fn exercise(&self, idx: usize) -> Option<&Exercise> {
        self.deck.exercises().get(idx)
    }

    /// The skill of a candidate.
    pub fn skill(&self, idx: usize) -> Option<&Skill> {
        self.exercise(idx).map(|exercise| &exercise.skill)
    }

    /// The place of a skill; `None` where the deck has no exercise of it.
    pub fn place_of(&self, skill: &Skill) -> Option<usize> {
        let mut exercises = self.deck.exercises().iter();
        exercises.position(|exercise| exercise.skill == *skill)
    }

    /// The candidates that must be firm before one opens.
    pub(super) fn needs(&self, idx: usize) -> &[usize] {
        self.candidates
            .get(idx)
            .map_or(&[], |candidate| &candidate.needs)
    }

    /// The title of a candidate.
    pub fn title(&self, idx: usize) -> String {
        self.exercise(idx)
            .map_or_else(String::new, |exercise| exercise.title.to_string())
    }

    /// The cues by which one of its phrases can tell alone.
    pub fn cues(&self) -> Vec<Cue> {
        let tells = |cue: &Cue| {
            let exercises = self.deck.exercises().iter();
            exercises
                .filter_map(|e| e.material.recipe())
                .any(|recipe| recipe.telling_by(*cue).is_some())
        };
        Cue::ALL.into_iter().filter(tells).collect()
    }

    /// How many skills may be begun in a day.
    pub fn new_a_day(&self) -> u32 {
        match self.deck.order() {
            Order::Path => NEW_A_DAY,
            Order::Free | Order::Once => u32::MAX,
        }
    }

    /// In how many blocks of a sitting a skill may be asked.
    pub fn blocks_of_a_skill(&self) -> u32 {
        match self.deck.order() {
            Order::Path | Order::Free => BLOCKS_OF_A_SKILL,
            Order::Once => 1,
        }
    }

    /// The candidates that are asked of passages of recordings.
    pub(super) fn cut(&self) -> Vec<usize> {
        let is_cut = |idx: &usize| !self.passages(*idx).is_empty();
        (0..self.len()).filter(is_cut).collect()
    }

    /// A candidate's passages of recordings; none where phrases are made for it.
    pub(super) fn passages(&self, idx: usize) -> &[Arc<Passage>] {
        self.exercise(idx)
            .map_or(&[], |exercise| exercise.material.passages())
    }

    /// The passages whose turn is not asked though an exercise would have it caught.
    pub(super) fn turns_not_asked(&self) -> &[Arc<Passage>] {
        self.deck.turns_not_asked()
    }

    /// From what level a skill is heard, as far as its levels can show it: from none below the hardest,
    /// and not yet where it would be above the easiest. `None` while too little is known.
    pub(super) fn heard_from(&self, learner: &Learner, skill: &Skill) -> Option<Level> {
        let level = heard_from(learner.standing(skill)?)?;
        let levels = self.deck.exercise(skill).map(|exercise| exercise.levels);
        Some(match levels {
            Some(levels) if level > levels.easiest() => Level::STRONGEST,
            Some(levels) => level.max(levels.hardest()),
            None => level,
        })
    }

    /// Whether some of its skills wait for others.
    pub fn waits(&self) -> bool {
        self.deck.order() == Order::Path
    }

    /// When a sitting is over: a deck that is asked through once goes on to its end.
    pub fn limit(&self, wanted: Limit) -> Limit {
        match (self.deck.order(), wanted) {
            (Order::Once, Limit::Minutes(_)) => Limit::Minutes(u16::MAX),
            (_, wanted) => wanted,
        }
    }

    /// Whether it is the check that says where to begin.
    pub(super) fn is_check(&self) -> bool {
        self.id() == check::DECK
    }

    /// The part that somebody is in, which is that of the first skill that is not firm, and its place:
    /// `Week 3: holding against (3 of 8)`. `None` where the deck has no parts.
    pub fn part(&self, learner: &Learner) -> Option<String> {
        let parts = self.deck.parts();
        let is_firm = |skill: &Skill| learner.standing(skill).is_some_and(Standing::is_firm);
        let is_open = |part: &Part| !part.skills.iter().all(is_firm);
        match (parts.iter().position(is_open), parts) {
            (_, []) => None,
            (Some(idx), _) => Some(format!(
                "{} ({} of {})",
                parts[idx].title,
                idx + 1,
                parts.len()
            )),
            (None, [only]) => Some(format!("{}: all of it is firm", only.title)),
            (None, _) => Some(format!("All {} parts are firm", parts.len())),
        }
    }

    /// The title of the part that begins with a candidate.
    pub fn part_from(&self, idx: usize) -> Option<&str> {
        let skill = self.skill(idx)?;
        let mut parts = self.deck.parts().iter();
        let part = parts.find(|part| part.skills.first() == Some(skill))?;
        Some(part.title.as_str())
    }

    /// The name of the deck.
    pub fn title_of_deck(&self) -> &str {
        self.deck.title().as_str()
    }

    /// The id of the deck.
    pub fn id(&self) -> &str {
        self.deck.id()
    }

    /// All exercises as candidates, in the order of the deck.
    pub fn candidates(&self) -> Candidates {
        self.candidates.clone()
    }
}

/// What the plan has to know of a deck's exercises. What a deck needs and does not have holds nothing
/// back.
fn candidates(deck: &Deck) -> Candidates {
    let places = deck.exercises().iter().enumerate();
    let places: HashMap<&Skill, usize> = places.map(|(idx, e)| (&e.skill, idx)).collect();
    let needs = |exercise: &Exercise| match deck.order() {
        Order::Path => exercise
            .needs
            .iter()
            .filter_map(|need| places.get(need).copied())
            .collect(),
        Order::Free | Order::Once => Vec::new(),
    };
    let candidate = |exercise: &Exercise| Candidate {
        skill: exercise.skill.clone(),
        kind: exercise.form.kind(),
        needs: needs(exercise),
        criterion: exercise.levels.criterion(),
        easiest: exercise.levels.easiest(),
        hardest: exercise.levels.hardest(),
        alternatives: exercise.material.alternatives(&exercise.form),
    };
    deck.exercises().iter().map(candidate).collect()
}

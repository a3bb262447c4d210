//! How passages rest. What one exercise has shown is known in every other until the learner has slept over
//! it; in the same exercise an answer is remembered by its surface for longer.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use crate::app::{App, Trouble};
use crate::phrase::GENERATOR;
use crate::quiz::Skill;
use crate::quiz::passage::Passage;
use crate::world::{Day, Seed};

/// For so many days after it was asked a passage is not asked again in the same exercise, and in the others
/// of its deck (rules of our own, no source).
const REST_DAYS: u32 = 4;
const REST_DAYS_ELSEWHERE: u32 = 0;

/// The passages of a deck, when they were asked last, and whether somebody doubts them.
pub(super) struct Rests {
    /// By exercise and by passage.
    asked: HashMap<Skill, HashMap<Seed, Day>>,
    all: Vec<Arc<Passage>>,
    /// Those that were doubted as they stand, each in its line. What a person said of a passage is what every
    /// exercise goes by, so that a doubt in one holds in all.
    doubted: HashSet<String>,
}

impl Rests {
    /// The latest day on which it was heard in a question of any exercise, or some of it in another passage.
    pub(super) fn last(&self, passage: &Passage) -> Option<Day> {
        let each = self.asked.values();
        each.filter_map(|asked| self.last_among(asked, passage))
            .max()
    }

    /// Whether an exercise may ask it on this day.
    pub(super) fn has_rested(&self, skill: &Skill, passage: &Passage, day: Day) -> bool {
        let here = self.asked.get(skill);
        let here = here.and_then(|asked| self.last_among(asked, passage));
        let has = |last: Option<Day>, days| last.is_none_or(|last| day.since(last) > days);
        has(here, REST_DAYS) && has(self.last(passage), REST_DAYS_ELSEWHERE)
    }

    fn last_among(&self, asked: &HashMap<Seed, Day>, passage: &Passage) -> Option<Day> {
        let others = self.all.iter().filter(|other| other.overlaps(passage));
        let seeds = others.map(|other| other.seed()).chain([passage.seed()]);
        seeds.filter_map(|seed| asked.get(&seed)).max().copied()
    }
}

impl App {
    /// When the passages of the deck were asked, and which of them are doubted.
    pub(super) fn rests(&self) -> Result<Rests, Trouble> {
        let mut rests = Rests {
            asked: HashMap::new(),
            all: Vec::new(),
            doubted: HashSet::new(),
        };
        for idx in self.course.cut() {
            let passages = self.course.passages(idx);
            let Some(skill) = self.course.skill(idx) else {
                continue;
            };
            rests.all.extend_from_slice(passages);
            let asked = rests.asked.entry(skill.clone()).or_default();
            self.store.attempts_of(skill, |attempt| {
                let last = asked.entry(attempt.seed).or_insert(attempt.day);
                *last = (*last).max(attempt.day);
            })?;
            for passage in passages {
                if self.store.is_passage_disputed(skill, passage, GENERATOR)? {
                    rests.doubted.insert(passage.line());
                }
            }
        }
        Ok(rests)
    }

    /// Those of an exercise's passages that rested, whose label nobody doubts, and whose recordings are
    /// not missing.
    pub(super) fn ready<'p>(
        &'p self,
        skill: &'p Skill,
        passages: &'p [Arc<Passage>],
        rests: &'p Rests,
    ) -> impl Iterator<Item = &'p Arc<Passage>> {
        passages.iter().filter(move |passage| {
            !self.missing.contains(&passage.recording())
                && rests.has_rested(skill, passage, self.planned_for)
                && !rests.doubted.contains(&passage.line())
        })
    }

    /// Whether nothing of a deck of recordings can be asked since all its passages rest.
    pub(in crate::app) fn are_all_resting(&self) -> Result<bool, Trouble> {
        let cut = self.course.cut();
        let is_cut = cut.len() == self.course.len() && !self.is_all_missing();
        Ok(is_cut && self.n_passages_ready(&cut)? == 0)
    }

    /// How many questions of passages these exercises have today: each passage is one, and rests in all of
    /// them until the next learning day.
    pub(in crate::app) fn n_passages_ready(&self, exercises: &[usize]) -> Result<u32, Trouble> {
        let rests = self.rests()?;
        let mut counted: Vec<&Arc<Passage>> = Vec::new();
        for idx in exercises {
            let Some(skill) = self.course.skill(*idx) else {
                continue;
            };
            for passage in self.ready(skill, self.course.passages(*idx), &rests) {
                if !counted.iter().any(|other| other.overlaps(passage)) {
                    counted.push(passage);
                }
            }
        }
        Ok(u32::try_from(counted.len()).unwrap_or(u32::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quiz::passage::tests::passage;

    #[test]
    fn a_passage_rests_longer_in_the_exercise_that_asked_it_than_in_the_others() {
        let [feel, start, clap] = ["own/feel", "own/start", "own/clap"].map(|id| Skill(id.into()));
        let (asked, other) = (Arc::new(passage("3333")), Arc::new(passage("2222")));
        let on = |day: i32| HashMap::from([(asked.seed(), Day(day))]);
        let rests = Rests {
            asked: HashMap::from([(feel.clone(), on(100)), (start.clone(), on(103))]),
            all: vec![Arc::clone(&asked), Arc::clone(&other)],
            doubted: HashSet::new(),
        };
        let days = |skill: &Skill, passage: &Passage| -> Vec<i32> {
            let rested = (100..110).filter(|day| rests.has_rested(skill, passage, Day(*day)));
            rested.collect()
        };
        // On the third day another exercise asked it, so that it rests in all until the next.
        assert_eq!(days(&feel, &asked), [105, 106, 107, 108, 109]);
        assert_eq!(days(&start, &asked), [108, 109]);
        assert_eq!(days(&clap, &asked), [104, 105, 106, 107, 108, 109]);
        assert_eq!(rests.last(&asked), Some(Day(103)));
        assert_eq!(days(&feel, &other), (100..110).collect::<Vec<i32>>());
        assert_eq!(rests.last(&other), None);
    }
}

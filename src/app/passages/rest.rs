//! How passages rest: what one exercise has shown is known in every other.

use std::collections::HashMap;
use std::sync::Arc;

use crate::app::{App, Trouble};
use crate::phrase::GENERATOR;
use crate::quiz::Skill;
use crate::quiz::passage::Passage;
use crate::world::{Day, Seed};

/// For so many days after it was asked a passage is not asked again.
const REST_DAYS: u32 = 4;

/// The passages of a deck, and when they were asked last, whichever exercise did so.
pub(super) struct Rests {
    asked: HashMap<Seed, Day>,
    all: Vec<Arc<Passage>>,
}

impl Rests {
    /// The latest day on which it was heard in a question, or some of it in another passage.
    pub(super) fn last(&self, passage: &Passage) -> Option<Day> {
        let others = self.all.iter().filter(|other| other.overlaps(passage));
        let seeds = others.map(|other| other.seed()).chain([passage.seed()]);
        seeds
            .filter_map(|seed| self.asked.get(&seed))
            .max()
            .copied()
    }

    /// Whether it may be asked on this day.
    pub(super) fn has_rested(&self, passage: &Passage, day: Day) -> bool {
        let last = self.last(passage);
        last.is_none_or(|last| day.since(last) > REST_DAYS)
    }
}

impl App {
    /// When the passages of the deck were asked.
    pub(super) fn rests(&self) -> Result<Rests, Trouble> {
        let mut rests = Rests {
            asked: HashMap::new(),
            all: Vec::new(),
        };
        for idx in self.course.cut() {
            let passages = self.course.passages(idx);
            let Some(skill) = self.course.skill(idx) else {
                continue;
            };
            rests.all.extend_from_slice(passages);
            self.store.attempts_of(skill, |attempt| {
                let last = rests.asked.entry(attempt.seed).or_insert(attempt.day);
                *last = (*last).max(attempt.day);
            })?;
        }
        Ok(rests)
    }

    /// Those of an exercise's passages that rested, whose label nobody doubts, and whose recordings are
    /// not missing.
    pub(super) fn ready<'p>(
        &self,
        skill: &Skill,
        passages: &'p [Arc<Passage>],
        rests: &Rests,
    ) -> Result<Vec<&'p Arc<Passage>>, Trouble> {
        let is_there = |passage: &&Arc<Passage>| !self.missing.contains(&passage.recording());
        let has_rested = |passage: &&Arc<Passage>| rests.has_rested(passage, self.planned_for);
        let mut ready = Vec::new();
        for passage in passages.iter().filter(is_there).filter(has_rested) {
            if !self.store.is_disputed(skill, passage.seed(), GENERATOR)? {
                ready.push(passage);
            }
        }
        Ok(ready)
    }

    /// Whether nothing of a deck of recordings can be asked since all its passages rest.
    pub(in crate::app) fn are_all_resting(&self) -> Result<bool, Trouble> {
        let cut = self.course.cut();
        let is_cut = cut.len() == self.course.len() && !self.is_all_missing();
        Ok(is_cut && self.n_passages_ready(&cut)? == 0)
    }

    /// How many questions of passages these exercises have until all rest: each passage is one, and rests
    /// in all of them.
    pub(in crate::app) fn n_passages_ready(&self, exercises: &[usize]) -> Result<u32, Trouble> {
        let rests = self.rests()?;
        let mut counted: Vec<&Arc<Passage>> = Vec::new();
        for idx in exercises {
            let Some(skill) = self.course.skill(*idx) else {
                continue;
            };
            for passage in self.ready(skill, self.course.passages(*idx), &rests)? {
                if !counted.iter().any(|other| other.overlaps(passage)) {
                    counted.push(passage);
                }
            }
        }
        Ok(u32::try_from(counted.len()).unwrap_or(u32::MAX))
    }
}

//! What a report has to know of exercises.

use std::collections::HashMap;

use crate::quiz::Skill;
use crate::quiz::judge::Place;
use crate::review::Learner;
use crate::review::plan::{Candidates, Chooser, Limit, Plan, Terms, Why};
use crate::rhythm::{Counting, Cycle};
use crate::world::{Day, Seed};

/// What a report has to know of one exercise.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lesson {
    /// Its title.
    pub title: String,
    /// The cycle of its phrases.
    pub cycle: Cycle,
    /// How its counts are spoken.
    pub counting: Counting,
    /// Where its claps fall, when they can be followed from taps alone: the pulses are steady and
    /// nothing calls for a change.
    pub followed: Option<Place>,
}

/// The exercises that are known, and those among which it is said what to set next.
#[derive(Clone, Debug)]
pub struct Syllabus {
    /// What is known of exercises, of whatever deck.
    pub lessons: HashMap<Skill, Lesson>,
    /// Those of the deck from which work is set.
    pub candidates: Candidates,
    /// How many of them may be begun in a day.
    pub new_a_day: u32,
}

impl Syllabus {
    /// The lesson of a skill, where its deck is known.
    pub fn lesson(&self, skill: &Skill) -> Option<&Lesson> {
        self.lessons.get(skill)
    }

    /// The title of a skill: its id where its deck is not known.
    pub fn title(&self, skill: &Skill) -> String {
        let lesson = self.lesson(skill);
        lesson.map_or_else(|| skill.0.to_string(), |lesson| lesson.title.clone())
    }

    /// What to set next, by what is firm: what opens, what comes back for another skill, and the first
    /// that waits. What is due comes by itself.
    pub(super) fn next(&self, learner: &Learner, day: Day) -> Vec<String> {
        const MOST: usize = 5;
        let terms = Terms {
            day,
            seed: Seed(0),
            limit: Limit::Minutes(10),
            chooser: Chooser::Forgetting,
            new_a_day: self.new_a_day,
            blocks_of_a_skill: 1,
        };
        let plan = Plan::begin(learner, self.candidates.clone(), terms);
        let title = |idx: usize| {
            let candidate = self.candidates.get(idx);
            candidate.map_or_else(String::new, |candidate| self.title(&candidate.skill))
        };
        let line = |entry: crate::review::plan::Entry| {
            let here = title(entry.candidate);
            match entry.why {
                Why::New => Some(here),
                Why::Repair { of } => Some(format!("{here} again, for {}", title(of))),
                Why::Waiting { on } => Some(format!("{here} once {} is firm", title(on))),
                Why::Resting { until } => Some(format!("{here} after a rest, from {until}")),
                Why::Due { .. } | Why::Ahead { .. } | Why::Spare | Why::Again | Why::Chosen => None,
            }
        };
        plan.today()
            .into_iter()
            .filter_map(line)
            .take(MOST)
            .collect()
    }
}

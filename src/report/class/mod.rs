//! What the practice of a class came to: for each learner and exercise, and on one page for all.
//!
//! Read [`ClassReport`] first, then [`Tally`], which makes one [`LearnerReport`] from the attempts of
//! one learner as they come, so that never more than those of one learner are held. [`text`],
//! [`html`], [`csv`] and [`json`] write the same report in four forms.
//!
//! Learners stand by name and are never ranked; where the class has groups the overview goes by group. Shares are 0 to 1 with 95 % intervals, levels are in
//! decibels, times in milliseconds, days are learning days. Texts that came from outside are labels,
//! and are escaped as each form needs it.
//!
//! Not here: files, sounds, the clock, where attempts are kept.

mod confusion;
mod csv;
mod followed;
mod form;
mod group;
mod html;
mod json;
mod learner;
mod moment;
mod practice;
mod syllabus;
mod tally;
mod text;
mod wording;

pub use csv::{csv, csv_field};
pub use form::Form;
pub use group::GroupReport;
pub use html::html;
pub use json::json;
pub use learner::{About, Doubtful, ExerciseReport, HeardLive, LearnerReport, SetWork, Stage, Who};
pub use moment::{Heard, Moment};
pub use syllabus::{Lesson, Syllabus};
pub use tally::Tally;
pub use text::text;

use std::collections::BTreeMap;

use crate::quiz::Skill;
use crate::world::Day;

use super::stats::{Share, wilson};
use confusion::Confusion;

/// What the practice of a class came to.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassReport {
    /// The day on which it was made, up to which everything is counted.
    pub today: Day,
    /// The deck from which it is said what to set next.
    pub deck: String,
    /// The learners, by name and then number.
    pub learners: Vec<LearnerReport>,
    /// The groups by which the overview goes; nothing where it goes by none.
    pub groups: Vec<GroupReport>,
}

/// An exercise over all learners of a report.
#[derive(Clone, Debug, PartialEq)]
pub struct Common {
    /// Its title.
    pub title: String,
    /// How many learners practised it.
    pub n_learners: u32,
    /// For how many of them it is firm.
    pub n_firm: u32,
    /// The share of all answers to it that were right.
    pub share: Share,
    /// How many answers there were.
    pub n: u32,
    /// What is confused most often in it, of all learners together.
    pub confused: Option<Confusion>,
}

impl ClassReport {
    /// The exercises that anybody practised, in the order of their names.
    pub fn exercises(&self) -> Vec<Common> {
        let mut of_all: BTreeMap<&Skill, Vec<&ExerciseReport>> = BTreeMap::new();
        for exercise in self.learners.iter().flat_map(|learner| &learner.exercises) {
            of_all.entry(&exercise.skill).or_default().push(exercise);
        }
        of_all.values().filter_map(|all| common(all)).collect()
    }
}

fn common(all: &[&ExerciseReport]) -> Option<Common> {
    let count = |of: fn(&ExerciseReport) -> u32| all.iter().map(|one| of(one)).sum::<u32>();
    let (right, n) = (count(|one| one.right), count(|one| one.n));
    Some(Common {
        title: all.first()?.title.clone(),
        n_learners: count(|_| 1),
        n_firm: count(|one| u32::from(one.is_firm)),
        share: wilson(right, n)?,
        n,
        confused: confusion::most_of_all(all.iter().flat_map(|one| &one.confusions)),
    })
}

#[cfg(test)]
mod tests;

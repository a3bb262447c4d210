//! What the practice of one learner came to.

use crate::class::hand_in::LearnerId;
use crate::label::Label;
use crate::phrase::Level;
use crate::quiz::{Kind, Skill};
use crate::report::stats::{Sensitivity, Share};
use crate::world::Day;

use super::confusion::Confusion;
use super::moment::Moment;
use super::practice::Practice;

/// Whose report it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Who {
    /// The learner.
    pub learner: LearnerId,
    /// What the learner is called.
    pub name: Label,
    /// Attempts that were made, as hand-ins say, and are not here.
    pub n_missing: u64,
}

/// What the practice of one learner came to.
#[derive(Clone, Debug, PartialEq)]
pub struct LearnerReport {
    /// Whose it is.
    pub who: Who,
    /// Days, minutes and answers.
    pub practice: Practice,
    /// How well threes are told from twos over all exercises, where both were asked.
    pub sensitivity: Option<Sensitivity>,
    /// The exercises that were practised, in the order of their names.
    pub exercises: Vec<ExerciseReport>,
    /// The place among them of the one in which the learner is stuck, if any.
    pub stuck: Option<usize>,
    /// Titles of what is due, the longest due first.
    pub due: Vec<String>,
    /// What to set next, in words.
    pub next: Vec<String>,
    /// Doubts about labels, which a person has to judge.
    pub doubts: Vec<Doubtful>,
    /// Misses that are worth hearing again, the worst first; at most three.
    pub moments: Vec<Moment>,
}

/// A doubt that waits for a judgement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubtful {
    /// The attempt, as it is named: machine, sitting, number.
    pub attempt: String,
    /// The title of the exercise; `None` while the attempt is not here.
    pub title: Option<String>,
    /// Why, in the learner's words.
    pub note: Option<Label>,
}

/// One exercise of one learner.
#[derive(Clone, Debug, PartialEq)]
pub struct ExerciseReport {
    /// What was practised.
    pub skill: Skill,
    /// Its title; the id where its deck is not known.
    pub title: String,
    /// What is asked in it.
    pub kind: Kind,
    /// How many were answered.
    pub n: u32,
    /// How many of them rightly.
    pub right: u32,
    /// The share that was right.
    pub share: Share,
    /// What was taken for what, most often first.
    pub confusions: Vec<Confusion>,
    /// How well threes are told from twos, where both were asked.
    pub sensitivity: Option<Sensitivity>,
    /// From what level it is heard, and within which bounds in decibels.
    pub threshold: Option<(Level, (f64, f64))>,
    /// How taps lay, where that was measured.
    pub timing: Option<TapTiming>,
    /// Where hands slid in the latest misses, most often first, in words, and how often.
    pub slides: Vec<(String, u32)>,
    /// In how many of the latest misses that could be looked for.
    pub n_followed: u32,
    /// On how many learning days it was practised, and the last of them.
    pub days: (u32, Option<Day>),
    /// Whether what needs it may open.
    pub is_firm: bool,
    /// Whether it was lost time and again.
    pub is_failing: bool,
    /// The day from which on it is due.
    pub due: Day,
}

/// How taps lay over all attempts in which it was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TapTiming {
    /// By how many milliseconds they lay after what they struck on the mean; negative is early.
    pub lead_ms: f64,
    /// Their spread around each attempt's lead, in milliseconds.
    pub spread_ms: f64,
    /// The same as a share of a pulse.
    pub of_pulse: f64,
    /// How many taps.
    pub n: u32,
}

impl LearnerReport {
    /// The exercise in which the learner is stuck.
    pub fn stuck_in(&self) -> Option<&ExerciseReport> {
        self.stuck.and_then(|idx| self.exercises.get(idx))
    }
}

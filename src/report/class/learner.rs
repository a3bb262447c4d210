//! What the practice of one learner came to, and what the teacher set, heard and has to judge.

use std::sync::Arc;

use crate::class::assignment::{Assignment, Reached};
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

/// What is known of a learner before any attempt is looked at.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// Who it is.
    pub who: Who,
    /// The groups in which they are, by name.
    pub groups: Vec<Label>,
    /// What is set to them, with its number in the class store, by number.
    pub set: Vec<(u32, Arc<Assignment>)>,
    /// What the teacher heard live, by skill and then day.
    pub heard_live: Vec<HeardLive>,
    /// Doubts about labels, which a person has to judge.
    pub doubts: Vec<Doubtful>,
}

/// What the practice of one learner came to.
#[derive(Clone, Debug, PartialEq)]
pub struct LearnerReport {
    /// Whose it is.
    pub who: Who,
    /// The groups in which the learner is, by name.
    pub groups: Vec<Label>,
    /// What is set, by number: what ended more than four weeks ago is left out.
    pub set: Vec<SetWork>,
    /// What the teacher heard live, by skill and then day.
    pub heard_live: Vec<HeardLive>,
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

/// Something that is set, and how far it is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetWork {
    /// Its number in the class store.
    pub number: u32,
    /// What is set.
    pub assignment: Arc<Assignment>,
    /// How far its goal is reached, counted as the learner's own program does.
    pub reached: Reached,
    /// How it stands.
    pub stage: Stage,
}

/// How something that is set stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Its first day is to come.
    ToCome,
    /// Its goal is reached.
    Reached,
    /// Its last day is not over.
    Open,
    /// Its last day is over, and its goal is not reached.
    Missed,
}

/// A skill that the teacher heard live.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeardLive {
    /// What was heard.
    pub skill: Skill,
    /// The title of its exercise; the id where its deck is not known.
    pub title: String,
    /// When.
    pub day: Day,
    /// How it was, in the teacher's words.
    pub note: Option<Label>,
}

/// A doubt that waits for a judgement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubtful {
    /// The attempt, as it is named: machine, sitting, number.
    pub attempt: String,
    /// The title of the exercise; `None` while the attempt is not here.
    pub title: Option<String>,
    /// The label that is doubted and what was answered, each as `class judge` takes it; `None` while the
    /// attempt is not here.
    pub label_and_answer: Option<(String, String)>,
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

impl Stage {
    /// As `open`.
    pub fn id(self) -> &'static str {
        match self {
            Self::ToCome => "to come",
            Self::Reached => "reached",
            Self::Open => "open",
            Self::Missed => "missed",
        }
    }
}

impl LearnerReport {
    /// Of how much that is set and has begun the goal is reached, and how much has begun.
    pub fn n_reached(&self) -> (usize, usize) {
        let begun = self.set.iter().filter(|set| set.stage != Stage::ToCome);
        let reached = begun.clone().filter(|set| set.stage == Stage::Reached);
        (reached.count(), begun.count())
    }

    /// The exercise in which the learner is stuck.
    pub fn stuck_in(&self) -> Option<&ExerciseReport> {
        self.stuck.and_then(|idx| self.exercises.get(idx))
    }
}

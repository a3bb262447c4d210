//! Answers as classes, so that none hides behind the others.

use std::collections::BTreeMap;

use super::stats::{Share, wilson};
use crate::quiz::{Answer, Attempt, Owner};
use crate::rhythm::{Counting, Cycle, Feel};

/// What was true of questions that are counted together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Label {
    /// This feel.
    Feel(Feel),
    /// It came in on this pulse of the cycle, from 0.
    CameIn(u8),
    /// A stroke of these.
    Owner(Owner),
    /// It turned, in whatever cycle.
    Turned,
    /// It did not turn.
    Stayed,
}

impl Label {
    /// The label of a question that is answered by a choice; `None` where claps or marks answer it.
    pub fn of(attempt: &Attempt) -> Option<Self> {
        match attempt.truth {
            Answer::Feel(feel) => Some(Self::Feel(feel)),
            Answer::Start(pulse) if attempt.alternatives > 0 => pulse.map(Self::CameIn),
            Answer::Owner(owner) => Some(Self::Owner(owner)),
            Answer::Turn(turn) => Some(turn.map_or(Self::Stayed, |_| Self::Turned)),
            Answer::Start(_)
            | Answer::Clapping(_)
            | Answer::Hands(_)
            | Answer::Pair(_)
            | Answer::Marks(_) => None,
        }
    }

    /// In words, as the learner counts this cycle.
    pub fn words(self, cycle: Cycle, counting: Counting) -> String {
        match self {
            Self::Feel(feel) => feel.words().to_owned(),
            Self::CameIn(pulse) => {
                let pulse = cycle.pulse_at(i64::from(pulse));
                format!("in on {}", counting.name(cycle, pulse))
            }
            Self::Owner(owner) => owner.words().to_owned(),
            Self::Turned => "a turn".to_owned(),
            Self::Stayed => "no turn".to_owned(),
        }
    }
}

/// How many questions of each label there were, and how many of them were right.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Labels(BTreeMap<Label, (u32, u32)>);

impl Labels {
    pub(super) fn take(&mut self, attempt: &Attempt) {
        if let Some(label) = Label::of(attempt) {
            let (n, right) = self.0.entry(label).or_default();
            *n += 1;
            *right += u32::from(attempt.right);
        }
    }

    /// All labels with how many there were and the share that was right, with its interval.
    pub fn shares(&self) -> impl Iterator<Item = (Label, u32, Share)> {
        let share =
            |(label, (n, right)): (&Label, &(u32, u32))| Some((*label, *n, wilson(*right, *n)?));
        self.0.iter().filter_map(share)
    }
}

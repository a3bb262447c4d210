//! What a sitting came to.

use std::collections::BTreeMap;

use super::Course;
use crate::phrase::Level;
use crate::quiz::{Now, Sitting, Skill, Tally};
use crate::review::Learner;

/// What a sitting came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// How many were answered.
    pub n_answered: u32,
    /// How many of them rightly.
    pub n_right: u32,
    /// How long it took, in whole minutes.
    pub minutes: u64,
    /// Skill by skill.
    pub lines: Vec<SummaryLine>,
    /// What the check says, where it was that.
    pub advice: Option<String>,
    /// What else is to be told.
    pub notes: Vec<String>,
}

/// What a sitting came to for one skill.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SummaryLine {
    /// The exercise's title.
    pub title: String,
    /// How many were right, and of how many.
    pub right: (u32, u32),
    /// From what level it is heard now; `None` while too little is known.
    pub heard_from: Option<Level>,
    /// From what level it was heard before the sitting.
    pub before: Option<Level>,
    /// In how many days it comes back.
    pub back_in_days: Option<u32>,
}

impl Summary {
    pub(super) fn of(
        sitting: &Sitting,
        before: &BTreeMap<Skill, Level>,
        (learner, course): (&Learner, &Course),
        now: &Now,
    ) -> Self {
        let line = |tally: &Tally| {
            let standing = learner.standing(&tally.skill);
            SummaryLine {
                title: tally.title.to_string(),
                right: (tally.n_right, tally.n_answered),
                heard_from: course.heard_from(learner, &tally.skill),
                before: before.get(&tally.skill).copied(),
                back_in_days: standing.map(|s| s.memory().due_day().since(now.day)),
            }
        };
        let tallies = sitting.tallies();
        Self {
            n_answered: tallies.iter().map(|tally| tally.n_answered).sum(),
            n_right: tallies.iter().map(|tally| tally.n_right).sum(),
            minutes: sitting.elapsed(now) / 60_000_000,
            lines: tallies.iter().map(line).collect(),
            advice: None,
            notes: Vec::new(),
        }
    }

    /// How long it took, in words.
    pub fn lasted(&self) -> String {
        match self.minutes {
            0 => "under a minute".to_owned(),
            1 => "1 minute".to_owned(),
            n => format!("{n} minutes"),
        }
    }
}

impl SummaryLine {
    /// The title, and how many were right.
    pub fn told(&self) -> String {
        let (right, of) = self.right;
        format!("{} {right} of {of}", headed(&self.title))
    }
}

/// A title before what is said of it: one that asks has its mark already.
pub fn headed(title: &str) -> String {
    if title.ends_with(['?', '!', ':']) {
        title.to_owned()
    } else {
        format!("{title}:")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_that_asks_needs_no_colon() {
        assert_eq!(headed("In threes or in twos"), "In threes or in twos:");
        assert_eq!(headed("Where did it come in?"), "Where did it come in?");
    }
}

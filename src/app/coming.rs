//! When a skill comes: what it waits for, or when it is due.

use crate::quiz::Skill;
use crate::review::{Learner, Standing};
use crate::world::Day;

use super::Course;

/// When a skill comes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Coming {
    /// It is new, and nothing holds it back.
    Open,
    /// It is new, and opens when these are firm: the skills and their titles.
    Waits(Vec<(Skill, String)>),
    /// It is due on a day, so many days from now.
    Due(Day, u32),
    /// It went wrong often and rests until a day, so many days from now.
    Rests(Day, u32),
}

impl Coming {
    /// When the skill of this place in a course comes.
    pub(super) fn of(course: &Course, idx: usize, learner: &Learner, day: Day) -> Self {
        let standing = course.skill(idx).and_then(|skill| learner.standing(skill));
        let needs = course.needs(idx);
        match standing {
            // As in the plan: what needs no other skill has nothing to wait for.
            Some(standing)
                if !needs.is_empty() && standing.is_failing() && day < standing.rests_until() =>
            {
                let until = standing.rests_until();
                Self::Rests(until, until.since(day))
            }
            Some(standing) => Self::due(standing, day),
            None => Self::new_behind(course, needs, learner),
        }
    }

    /// When what was practised is due.
    pub(super) fn due(standing: &Standing, day: Day) -> Self {
        let due = standing.memory().due_day();
        Self::Due(due, due.since(day))
    }

    fn new_behind(course: &Course, needs: &[usize], learner: &Learner) -> Self {
        let missing = |idx: &usize| {
            let skill = course.skill(*idx)?;
            let is_firm = learner.standing(skill).is_some_and(Standing::is_firm);
            (!is_firm).then(|| (skill.clone(), course.title(*idx)))
        };
        let missing: Vec<(Skill, String)> = needs.iter().filter_map(missing).collect();
        if missing.is_empty() {
            Self::Open
        } else {
            Self::Waits(missing)
        }
    }

    /// The same in words; nothing is said of what is open.
    pub fn words(&self) -> Option<String> {
        match self {
            Self::Open => None,
            Self::Waits(missing) => {
                let titles: Vec<&str> = missing.iter().map(|(_, title)| &**title).collect();
                Some(format!("opens after: {}", titles.join("; ")))
            }
            Self::Due(_, 0) => Some("due".to_owned()),
            Self::Due(_, days) => Some(format!("due in {}", days_in_words(*days))),
            Self::Rests(_, days) => Some(format!(
                "went wrong often, back in {}",
                days_in_words(*days)
            )),
        }
    }
}

fn days_in_words(days: u32) -> String {
    match days {
        1 => "1 day".to_owned(),
        n => format!("{n} days"),
    }
}

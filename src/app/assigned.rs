//! How far what was set is done, as the opening screen tells it.

use std::collections::HashSet;

use crate::class::assignment::{Assignment, Practised, Reached};
use crate::quiz::Skill;
use crate::review::{Learner, Standing};
use crate::store::{Store, StoreError};
use crate::world::Day;

/// For so many days after it was due something that was not reached is still shown.
const SHOWN_AFTER: u32 = 14;
/// The most that are shown: those that are due first, as far as the smallest screen has room.
const MOST: usize = 2;

/// Something that was set, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetToday {
    /// The deck, and when it is due.
    pub head: String,
    /// What to do.
    pub line: Option<String>,
    /// How far the goal is reached.
    pub reached: String,
    /// The id of its deck, where another one is in hand.
    pub elsewhere: Option<String>,
}

/// What is set for today, those due first in front. `deck` is the one in hand.
pub(super) fn set_today(
    store: &Store,
    learner: &Learner,
    deck: &str,
    day: Day,
) -> Result<Vec<SetToday>, StoreError> {
    let mut shown = Vec::new();
    for assignment in store.assignments()? {
        let is_past = day > assignment.due;
        if day < assignment.from || day.since(assignment.due) > SHOWN_AFTER {
            continue;
        }
        let so_far = reached(store, learner, &assignment)?;
        if is_past && assignment.goal.is_reached(so_far) {
            continue;
        }
        shown.push(in_words(&assignment, so_far, deck, day));
        if shown.len() == MOST {
            break;
        }
    }
    Ok(shown)
}

/// How far an assignment is done.
fn reached(
    store: &Store,
    learner: &Learner,
    assignment: &Assignment,
) -> Result<Reached, StoreError> {
    let skills: HashSet<&Skill> = assignment.skills.iter().collect();
    let mut practised = Practised::since(assignment.from);
    store.practised(assignment.from, |practice| {
        if skills.contains(&practice.skill) {
            practised.take(practice.id, practice.day, practice.since_start_ms);
        }
    })?;
    let is_firm = |skill: &&&Skill| learner.standing(skill).is_some_and(Standing::is_firm);
    let n_firm = skills.iter().filter(is_firm).count();
    Ok(Reached {
        firm: u32::try_from(n_firm).unwrap_or(u32::MAX),
        minutes: practised.minutes(),
        days: practised.days(),
    })
}

fn in_words(assignment: &Assignment, so_far: Reached, deck: &str, day: Day) -> SetToday {
    let due = match assignment.due {
        due if due == day => "due today".to_owned(),
        due if due < day => format!("was due {}", due.in_words()),
        due => format!("due {}", due.in_words()),
    };
    let goal = assignment.goal.reached_in_words(so_far);
    let is_elsewhere = *assignment.deck != *deck;
    SetToday {
        head: format!("Set for you: {}, {due}.", assignment.title),
        line: assignment.line.as_ref().map(ToString::to_string),
        reached: if assignment.goal.is_reached(so_far) {
            format!("Reached: {goal}.")
        } else {
            format!("So far {goal}.")
        },
        elsewhere: is_elsewhere.then(|| assignment.deck.to_string()),
    }
}

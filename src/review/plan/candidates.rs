//! The skills that a plan chooses among, and how each of them stands.

use std::ops::Deref;
use std::sync::Arc;

use crate::phrase::Level;
use crate::quiz::{Kind, Skill};
use crate::review::{Learner, Standing};

/// A skill that may be asked: what the plan has to know of an exercise.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// Its name.
    pub skill: Skill,
    /// What is asked.
    pub kind: Kind,
    /// The candidates that must be firm before it opens, by their places. Others could not be named: the
    /// plan could do nothing for them.
    pub needs: Vec<usize>,
    /// The level at which the exercise counts as learnt.
    pub criterion: Level,
    /// The strongest level that it can make.
    pub easiest: Level,
    /// The weakest.
    pub hardest: Level,
    /// How many answers are offered; 0 where the answer is tapped.
    pub alternatives: u8,
}

/// All of them, in the order in which they are offered; cheap to clone.
#[derive(Clone, Debug)]
pub struct Candidates {
    list: Arc<[Candidate]>,
    /// Their places, by the names of their skills. Sorted once, since a plan is made for every sitting.
    by_skill: Arc<[usize]>,
}

impl Candidates {
    /// Goes through all that the learner has practised, each with its place among these where it has
    /// one.
    ///
    /// Both sides are in the order of names and are gone through side by side: a hundred thousand
    /// skills do not fit into a processor's cache, and each of them is touched but once.
    pub(super) fn each_standing<'a>(
        &self,
        learner: &'a Learner,
        mut each: impl FnMut(Option<usize>, &'a Standing),
    ) {
        let mut places = self.by_skill.iter().copied().peekable();
        for (skill, standing) in learner.standings() {
            while places
                .next_if(|place| self.list[*place].skill < *skill)
                .is_some()
            {}
            each(
                places.next_if(|place| self.list[*place].skill == *skill),
                standing,
            );
        }
    }
}

impl Deref for Candidates {
    type Target = [Candidate];

    fn deref(&self) -> &[Candidate] {
        &self.list
    }
}

impl FromIterator<Candidate> for Candidates {
    fn from_iter<T: IntoIterator<Item = Candidate>>(those: T) -> Self {
        let list: Arc<[Candidate]> = those.into_iter().collect();
        let mut by_skill: Vec<usize> = (0..list.len()).collect();
        by_skill.sort_by_key(|place| &list[*place].skill);
        Self {
            by_skill: by_skill.into(),
            list,
        }
    }
}

//! Who of a report is in which group.

use crate::class::roster::{Group, Roster};
use crate::label::{Label, name_order};

use super::learner::LearnerReport;

/// A group of a class, with those on its list who are not in the report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GroupReport {
    /// Its name; `None` are those in no group.
    pub name: Option<Label>,
    /// The places of its learners in the report, in the same order.
    pub learners: Vec<usize>,
    /// Names of its list under which nobody has handed in yet, by name.
    pub awaited: Vec<Label>,
    /// Names of its list by which two learners or more go, by name.
    pub unclear: Vec<Label>,
}

impl GroupReport {
    /// All groups by name, then those in none; nothing where there are no groups and no lists.
    pub fn all(roster: &Roster, learners: &[LearnerReport]) -> Vec<Self> {
        let mut groups: Vec<&Group> = roster.groups().collect();
        groups.sort_by_cached_key(|group| name_order(group.name.as_str()));
        let mut all: Vec<Self> = groups
            .into_iter()
            .map(|group| Self::of(group, learners))
            .collect();
        let listed = roster.without_group();
        if all.is_empty() && listed.is_none() {
            return all;
        }
        let is_alone = |idx: &usize| {
            let learner = learners.get(*idx);
            learner.is_some_and(|one| roster.groups_of(one.who.learner).is_empty())
        };
        let others = Self {
            name: None,
            learners: (0..learners.len()).filter(is_alone).collect(),
            awaited: listed.map_or_else(Vec::new, |group| sorted(&group.awaited)),
            unclear: listed.map_or_else(Vec::new, |group| sorted(&group.unclear)),
        };
        if !others.is_empty() {
            all.push(others);
        }
        all
    }

    /// One group.
    pub fn of(group: &Group, learners: &[LearnerReport]) -> Self {
        let members = (0..).zip(learners);
        let members = members.filter(|(_, one)| group.members.contains(&one.who.learner));
        Self {
            name: Some(group.name.clone()),
            learners: members.map(|(idx, _)| idx).collect(),
            awaited: sorted(&group.awaited),
            unclear: sorted(&group.unclear),
        }
    }

    fn is_empty(&self) -> bool {
        self.learners.is_empty() && self.awaited.is_empty() && self.unclear.is_empty()
    }
}

fn sorted<'l>(names: impl IntoIterator<Item = &'l Label>) -> Vec<Label> {
    let mut names: Vec<Label> = names.into_iter().cloned().collect();
    names.sort_by_cached_key(|name| name_order(name.as_str()));
    names
}

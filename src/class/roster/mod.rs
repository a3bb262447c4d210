//! Who is in which group.
//!
//! Read [`Roster`] first. A learner is in a group either by number, because the teacher put them
//! there, or by name, because a list of the class ([`read_list`]) has a name that exactly one learner
//! goes by. Names are looked up whenever a roster is made and never kept as an answer, so that neither
//! the order in which lists and hand-ins come nor a stranger's name changes anything for good: where
//! two learners go by one name, neither is taken, and the roster says so.
//!
//! Everything here takes time in proportion to the learners and the lines. Nothing here opens a file.

mod list;

use std::collections::{BTreeMap, BTreeSet};

use super::hand_in::LearnerId;
use crate::label::Label;

pub use list::{LONGEST_LIST, Line, ListFault, MOST_LINES, read_list};

/// A learner and what they are called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Called {
    /// Who it is.
    pub learner: LearnerId,
    /// What the teacher calls them, or else what they call themselves.
    pub name: Label,
}

/// Why somebody is in a group.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// The teacher put this learner there.
    ByNumber(LearnerId),
    /// A list of the class has this name.
    ByName(Label),
}

/// A group as it stands now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Its name.
    pub name: Label,
    /// Who is in it, by number.
    pub members: BTreeSet<LearnerId>,
    /// Names of its list under which nobody has handed in yet.
    pub awaited: BTreeSet<Label>,
    /// Names of its list by which two learners or more go.
    pub unclear: BTreeSet<Label>,
}

/// All learners and groups as they stand now.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Roster {
    by_name: BTreeMap<Label, Vec<LearnerId>>,
    groups: BTreeMap<Label, Group>,
    groups_of: BTreeMap<LearnerId, Vec<Label>>,
    /// Everybody on a list without a group.
    without: Option<Group>,
}

/// Who is meant by a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Meant {
    /// This learner.
    One(LearnerId),
    /// Several learners go by it.
    Several(Vec<LearnerId>),
    /// Nobody who handed in, but it is on a list.
    Awaited,
    /// Nobody.
    Nobody,
}

impl Roster {
    /// The roster of these learners. `places` says who is in which group; `None` is a name on a list
    /// without a group. Groups without anybody are named by `groups`.
    pub fn new(
        learners: &[Called],
        groups: impl IntoIterator<Item = Label>,
        places: impl IntoIterator<Item = (Option<Label>, Place)>,
    ) -> Self {
        let mut roster = Self::default();
        for called in learners {
            let of_name = roster.by_name.entry(called.name.clone()).or_default();
            of_name.push(called.learner);
        }
        for name in groups {
            roster.groups.entry(name.clone()).or_insert(empty(name));
        }
        for (group, place) in places {
            roster.put(group, place);
        }
        for group in roster.groups.values() {
            for learner in &group.members {
                let of = roster.groups_of.entry(*learner).or_default();
                of.push(group.name.clone());
            }
        }
        roster
    }

    fn put(&mut self, group: Option<Label>, place: Place) {
        let group = match group {
            Some(name) => self.groups.entry(name.clone()).or_insert(empty(name)),
            None => {
                let nobody = Label::new("no group").expect("letters and a blank");
                self.without.get_or_insert(empty(nobody))
            }
        };
        match place {
            Place::ByNumber(learner) => {
                group.members.insert(learner);
            }
            Place::ByName(name) => match self.by_name.get(&name).map(Vec::as_slice) {
                None | Some([]) => {
                    group.awaited.insert(name);
                }
                Some([one]) => {
                    group.members.insert(*one);
                }
                Some(_) => {
                    group.unclear.insert(name);
                }
            },
        }
    }

    /// All groups, by name.
    pub fn groups(&self) -> impl Iterator<Item = &Group> {
        self.groups.values()
    }

    /// The group of this name.
    pub fn group(&self, name: &Label) -> Option<&Group> {
        self.groups.get(name)
    }

    /// Those of lists without a group, where there are any.
    pub fn without_group(&self) -> Option<&Group> {
        self.without.as_ref()
    }

    /// The names of the groups in which a learner is, in order.
    pub fn groups_of(&self, learner: LearnerId) -> &[Label] {
        self.groups_of.get(&learner).map_or(&[], Vec::as_slice)
    }

    /// Who goes by this name.
    pub fn meant(&self, name: &Label) -> Meant {
        match self.by_name.get(name).map(Vec::as_slice) {
            Some([one]) => Meant::One(*one),
            Some(several @ [_, ..]) => Meant::Several(several.to_vec()),
            _ if self.is_awaited(name) => Meant::Awaited,
            _ => Meant::Nobody,
        }
    }

    fn is_awaited(&self, name: &Label) -> bool {
        let all = self.groups.values().chain(&self.without);
        all.into_iter().any(|group| group.awaited.contains(name))
    }
}

fn empty(name: Label) -> Group {
    Group {
        name,
        members: BTreeSet::new(),
        awaited: BTreeSet::new(),
        unclear: BTreeSet::new(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn label(text: &str) -> Label {
        Label::new(text).expect("a label")
    }

    fn called(learner: u64, name: &str) -> Called {
        Called {
            learner: LearnerId(learner),
            name: label(name),
        }
    }

    fn by_name(group: &str, name: &str) -> (Option<Label>, Place) {
        (Some(label(group)), Place::ByName(label(name)))
    }

    #[test]
    fn a_name_on_a_list_is_the_one_learner_who_goes_by_it() {
        let learners = [called(1, "Anna"), called(2, "Ben"), called(3, "Ben")];
        let by_number = (Some(label("3b")), Place::ByNumber(LearnerId(3)));
        let places = [
            by_name("3a", "Anna"),
            by_name("3a", "Ben"),
            by_name("3a", "Cleo"),
            by_number,
        ];
        let roster = Roster::new(&learners, [label("empty")], places);
        let group = roster.group(&label("3a")).expect("a group");
        assert_eq!(group.members, BTreeSet::from([LearnerId(1)]));
        assert_eq!(group.awaited, BTreeSet::from([label("Cleo")]));
        assert_eq!(group.unclear, BTreeSet::from([label("Ben")]));
        assert_eq!(roster.groups_of(LearnerId(3)), [label("3b")]);
        assert_eq!(roster.meant(&label("Anna")), Meant::One(LearnerId(1)));
        assert_eq!(roster.meant(&label("Cleo")), Meant::Awaited);
        assert_eq!(roster.meant(&label("Dora")), Meant::Nobody);
        assert!(matches!(roster.meant(&label("Ben")), Meant::Several(two) if two.len() == 2));
        assert_eq!(roster.groups().count(), 3);
    }

    proptest! {
        #[test]
        fn the_order_of_lists_does_not_matter(
            mut places in proptest::collection::vec((0_usize..3, 0_usize..6), 0..20),
            names in proptest::collection::vec(0_usize..6, 0..8),
        ) {
            let words = ["Anna", "Ben", "Cleo", "Dora", "Eva", "Fay"];
            let groups = ["3a", "3b", "4"];
            let learners: Vec<Called> = (1..).zip(&names).map(|(n, name)| called(n, words[*name])).collect();
            let of = |places: &[(usize, usize)]| {
                let places = places.iter().map(|(group, name)| by_name(groups[*group], words[*name]));
                Roster::new(&learners, [], places.collect::<Vec<_>>())
            };
            let one = of(&places);
            places.reverse();
            places.extend(places.clone());
            prop_assert_eq!(one, of(&places));
        }
    }
}

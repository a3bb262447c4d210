//! Who is in which group.
//!
//! Read [`Roster`] first. A learner is in a group either by number, because the teacher put them
//! there, or by name, because a list of the class ([`read_list`]) has a name that exactly one learner
//! goes by. Names are looked up whenever a roster is made and never kept as an answer, so that neither
//! the order in which lists and hand-ins come nor a stranger's name changes anything for good: where
//! two learners go by one name, neither is taken, and the roster says so. A name that nobody is called by
//! stands for the one learner who calls themselves so, so that calling somebody otherwise takes them out
//! of no list. Capitals tell neither learners nor groups apart.
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
    /// What they call themselves, where the teacher calls them otherwise.
    pub own: Option<Label>,
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
    /// By folded names, as all that follow but the last.
    by_name: BTreeMap<String, Vec<LearnerId>>,
    by_own_name: BTreeMap<String, Vec<LearnerId>>,
    groups: BTreeMap<String, Group>,
    awaited: BTreeSet<String>,
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
            let of_name = roster.by_name.entry(called.name.folded()).or_default();
            of_name.push(called.learner);
            if let Some(own) = &called.own {
                let of_name = roster.by_own_name.entry(own.folded()).or_default();
                of_name.push(called.learner);
            }
        }
        for name in groups {
            roster.group_of(name);
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

    /// The group of this name. Of several spellings the first in order stands, whatever comes first.
    fn group_of(&mut self, name: Label) -> &mut Group {
        let spelling = name.clone();
        let group = self.groups.entry(name.folded()).or_insert(empty(name));
        if spelling < group.name {
            group.name = spelling;
        }
        group
    }

    fn put(&mut self, group: Option<Label>, place: Place) {
        let found = match &place {
            Place::ByNumber(learner) => vec![*learner],
            Place::ByName(name) => self.by(name).to_vec(),
        };
        if let (Place::ByName(name), []) = (&place, found.as_slice()) {
            self.awaited.insert(name.folded());
        }
        let group = match group {
            Some(name) => self.group_of(name),
            None => {
                let nobody = Label::new("no group").expect("letters and a blank");
                self.without.get_or_insert(empty(nobody))
            }
        };
        match (place, found.as_slice()) {
            (_, [one]) => {
                group.members.insert(*one);
            }
            (Place::ByName(name), []) => {
                group.awaited.insert(name);
            }
            (Place::ByName(name), _) => {
                group.unclear.insert(name);
            }
            (Place::ByNumber(_), _) => {}
        }
    }

    /// Who is called so, or else calls themselves so.
    fn by(&self, name: &Label) -> &[LearnerId] {
        let name = name.folded();
        let called = self.by_name.get(&name);
        let found = called.or_else(|| self.by_own_name.get(&name));
        found.map_or(&[], Vec::as_slice)
    }

    /// All groups, by name.
    pub fn groups(&self) -> impl Iterator<Item = &Group> {
        self.groups.values()
    }

    /// The group of this name.
    pub fn group(&self, name: &Label) -> Option<&Group> {
        self.groups.get(&name.folded())
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
        match self.by(name) {
            [one] => Meant::One(*one),
            several @ [_, ..] => Meant::Several(several.to_vec()),
            [] if self.awaited.contains(&name.folded()) => Meant::Awaited,
            [] => Meant::Nobody,
        }
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
            own: None,
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

    #[test]
    fn whoever_is_called_otherwise_stays_on_the_list_that_has_their_own_name() {
        let own = |name: &str, own: &str, learner| Called {
            own: Some(label(own)),
            ..called(learner, name)
        };
        let learners = [
            own("The Ó", "Óscar", 1),
            own("Ben B", "Ben", 2),
            called(3, "Ben"),
        ];
        let places = ["Óscar", "the ó", "Ben"].map(|name| by_name("3a", name));
        let roster = Roster::new(&learners, [], places);
        let group = roster.group(&label("3A")).expect("a group");
        // Where somebody is called so, it is they, and not who only calls themselves so.
        assert_eq!(group.members, BTreeSet::from([LearnerId(1), LearnerId(3)]));
        assert!(group.awaited.is_empty() && group.unclear.is_empty());
        assert_eq!(roster.meant(&label("óscar")), Meant::One(LearnerId(1)));
    }

    #[test]
    fn capitals_tell_neither_learners_nor_groups_apart() {
        let learners = [called(1, "Anna"), called(2, "BEN"), called(3, "ben")];
        let places = [
            by_name("tuesday", "ANNA"),
            by_name("Tuesday", "Ben"),
            by_name("TUESDAY", "Cleo"),
        ];
        let roster = Roster::new(&learners, [], places);
        let group = roster.group(&label("tUESDAY")).expect("a group");
        assert_eq!(group.name, label("TUESDAY"));
        assert_eq!(group.members, BTreeSet::from([LearnerId(1)]));
        assert_eq!(group.unclear, BTreeSet::from([label("Ben")]));
        assert_eq!(roster.groups().count(), 1);
        assert_eq!(roster.groups_of(LearnerId(1)), [label("TUESDAY")]);
        assert_eq!(roster.meant(&label("cleo")), Meant::Awaited);
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

//! Ordered sums of twos and threes.

use super::{Cycle, CycleError, Layer, Pulse};

/// A group of pulses that is felt as one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Group {
    /// Two pulses.
    Two,
    /// Three pulses.
    Three,
}

impl Group {
    /// How many pulses it spans.
    pub fn n_pulses(self) -> usize {
        match self {
            Self::Two => 2,
            Self::Three => 3,
        }
    }

    fn span(self) -> i64 {
        match self {
            Self::Two => 2,
            Self::Three => 3,
        }
    }
}

/// An ordered composition of a cycle into twos and threes, entered at a pulse of the cycle.
///
/// The cycle is the sum of the groups, so that sum and cycle cannot disagree.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Grouping {
    groups: Box<[Group]>,
    rotation: Pulse,
}

/// Why groups make no grouping.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum GroupingError {
    /// The groups sum to a cycle that does not exist.
    #[error(transparent)]
    Cycle(#[from] CycleError),
    /// The first group begins outside the cycle.
    #[error("a grouping that begins on pulse {rotation} of {n_pulses}")]
    Rotation {
        /// The pulse asked for, from 0.
        rotation: i64,
        /// The cycle's length.
        n_pulses: usize,
    },
}

impl Grouping {
    /// The groups in order, the first beginning on pulse `rotation`, from 0.
    ///
    /// # Errors
    /// When the groups do not sum to a cycle, or the rotation lies outside it.
    pub fn new(groups: &[Group], rotation: i64) -> Result<Self, GroupingError> {
        let span: i64 = groups.iter().map(|group| group.span()).sum();
        let cycle = Cycle::new(span)?;
        if (0..span).contains(&rotation) {
            Ok(Self {
                groups: groups.into(),
                rotation: cycle.pulse_at(rotation),
            })
        } else {
            Err(GroupingError::Rotation {
                rotation,
                n_pulses: cycle.n_pulses(),
            })
        }
    }

    /// The groups in order.
    pub fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// The pulse on which the first group begins.
    pub fn rotation(&self) -> Pulse {
        self.rotation
    }

    /// The cycle that the groups sum to.
    pub fn cycle(&self) -> Cycle {
        let span = self.groups.iter().map(|group| group.span()).sum();
        Cycle::new(span).expect("checked when it was built")
    }

    /// The pulses on which its groups begin.
    pub fn layer(&self) -> Layer {
        let cycle = self.cycle();
        let starts = self.groups.iter().scan(self.rotation, |next, group| {
            let start = *next;
            *next = cycle.step(start, group.span());
            Some(start)
        });
        Layer::on(cycle, starts).expect("starts lie in the cycle, and there is a first")
    }

    /// The same groups begun `by` pulses later.
    #[must_use]
    pub fn turned(&self, by: i64) -> Self {
        Self {
            groups: self.groups.clone(),
            rotation: self.cycle().step(self.rotation, by),
        }
    }

    /// All groupings of `cycle` that begin on its first pulse, twos before threes.
    pub fn all(cycle: Cycle) -> Vec<Self> {
        let mut found = Vec::new();
        extend(cycle, cycle.n_pulses(), &mut Vec::new(), &mut found);
        found
    }
}

fn extend(cycle: Cycle, left: usize, groups: &mut Vec<Group>, found: &mut Vec<Grouping>) {
    if left == 0 {
        found.push(Grouping {
            groups: groups.as_slice().into(),
            rotation: cycle.first(),
        });
        return;
    }
    for group in [Group::Two, Group::Three] {
        if let Some(rest) = left.checked_sub(group.n_pulses()) {
            groups.push(group);
            extend(cycle, rest, groups, found);
            groups.pop();
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::any_grouping;

    #[test]
    fn groups_that_make_no_cycle_are_refused() {
        assert_eq!(
            Grouping::new(&[], 0),
            Err(GroupingError::Cycle(CycleError(0)))
        );
        assert_eq!(
            Grouping::new(&[Group::Three; 17], 0),
            Err(GroupingError::Cycle(CycleError(51)))
        );
        for rotation in [-1, 6, i64::MAX] {
            assert_eq!(
                Grouping::new(&[Group::Three; 2], rotation),
                Err(GroupingError::Rotation {
                    rotation,
                    n_pulses: 6
                })
            );
        }
    }

    #[test]
    fn mixed_twelve_in_its_two_places() {
        // Groups and accented counts of the guajira and the seguiriya: Diaz-Banez, Farigu, Gomez,
        // Rappaport and Toussaint 2004, Bridges, pp. 61-70.
        use Group::{Three, Two};
        let guajira = Grouping::new(&[Three, Three, Two, Two, Two], 0).expect("twelve");
        assert_eq!(guajira.layer().in_counts(), "1-4-7-9-11");
        let seguiriya = Grouping::new(&[Two, Two, Three, Three, Two], 0).expect("twelve");
        assert_eq!(seguiriya.layer().in_counts(), "1-3-5-8-11");
        assert_eq!(guajira.turned(4).layer(), seguiriya.layer());
    }

    proptest! {
        #[test]
        fn a_grouping_sums_to_its_cycle(grouping in any_grouping()) {
            let sum: usize = grouping.groups().iter().map(|group| group.n_pulses()).sum();
            prop_assert_eq!(grouping.cycle().n_pulses(), sum);
            prop_assert_eq!(grouping.layer().n_onsets(), grouping.groups().len());
            prop_assert!(grouping.layer().contains(grouping.rotation()));
            prop_assert!(grouping.layer().gaps().iter().all(|gap| matches!(gap, 2 | 3)));
        }

        #[test]
        fn turning_a_grouping_turns_its_layer(grouping in any_grouping(), by in any::<i64>()) {
            let turned = grouping.turned(by);
            prop_assert_eq!(turned.layer(), grouping.layer().turned(by));
            prop_assert_eq!(turned.groups(), grouping.groups());
        }
    }
}

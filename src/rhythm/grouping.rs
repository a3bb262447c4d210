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
        let n_pulses: usize = groups.iter().map(|group| group.n_pulses()).sum();
        let cycle = Cycle::new(i64::try_from(n_pulses).unwrap_or(i64::MAX))?;
        if (0..i64::try_from(n_pulses).unwrap_or(i64::MAX)).contains(&rotation) {
            Ok(Self {
                groups: groups.into(),
                rotation: cycle.pulse_at(rotation),
            })
        } else {
            Err(GroupingError::Rotation { rotation, n_pulses })
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
        let n_pulses: usize = self.groups.iter().map(|group| group.n_pulses()).sum();
        Cycle::new(i64::try_from(n_pulses).unwrap_or(i64::MAX)).expect("checked when it was built")
    }

    /// The pulses on which its groups begin.
    pub fn layer(&self) -> Layer {
        let cycle = self.cycle();
        let mut at = i64::try_from(self.rotation.idx()).unwrap_or(0);
        let mut starts = Vec::with_capacity(self.groups.len());
        for group in &self.groups {
            starts.push(i64::try_from(cycle.pulse_at(at).idx()).unwrap_or(0));
            at += i64::try_from(group.n_pulses()).unwrap_or(0);
        }
        Layer::of(cycle, &starts).expect("starts lie in the cycle, and there is a first")
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

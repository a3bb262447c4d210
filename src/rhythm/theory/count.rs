//! How many groupings of twos and threes there are, and which.
//!
//! A *composition* begins on the cycle's first pulse; a *placement* on any. Placements that a turn
//! carries into each other are one *necklace*, and those that a turn or reading backwards does are
//! one *bracelet*.

use crate::rhythm::{Cycle, Group, Grouping};

/// The number of ordered sums of twos and threes that give `n_pulses`: a(n) = a(n-2) + a(n-3) from
/// 1, 0, 1. OEIS A182097.
pub fn compositions(n_pulses: u8) -> u128 {
    padovan(n_pulses, [1, 0, 1])
}

/// The number of layers of a cycle of `n_pulses` whose gaps are twos and threes, every rotation
/// counted: the Perrin numbers, the same recurrence from 3, 0, 2. OEIS A001608; the count holds from
/// two pulses on.
pub fn placements(n_pulses: u8) -> u128 {
    padovan(n_pulses, [3, 0, 2])
}

/// One grouping for each layer of `cycle` whose gaps are twos and threes, as many as
/// [`placements`] says.
///
/// Each has its last group on or across the cycle's end, so that none comes twice.
pub fn placed(cycle: Cycle) -> Vec<Grouping> {
    let groupings = Grouping::all(cycle);
    let turned = groupings.iter().flat_map(|grouping| {
        let last = grouping.groups().last().map_or(0, |group| group.n_pulses());
        (0..).take(last).map(|by| grouping.turned(by))
    });
    turned.collect()
}

/// One grouping, begun on the first pulse, for each necklace of `cycle`: the first of its rotations,
/// twos before threes. Their number is OEIS A127687.
pub fn necklaces(cycle: Cycle) -> Vec<Grouping> {
    let mut groupings = Grouping::all(cycle);
    groupings.retain(|grouping| first_rotation(grouping.groups()) == grouping.groups());
    groupings
}

/// One grouping, begun on the first pulse, for each bracelet of `cycle`. Their number is OEIS
/// A127685.
pub fn bracelets(cycle: Cycle) -> Vec<Grouping> {
    let mut groupings = necklaces(cycle);
    groupings.retain(|grouping| {
        let backwards: Vec<Group> = grouping.groups().iter().rev().copied().collect();
        grouping.groups() <= first_rotation(&backwards).as_slice()
    });
    groupings
}

fn padovan(n: u8, first: [u128; 3]) -> u128 {
    // The 255th member has 32 digits, well inside the type.
    let [last, ..] = (0..n).fold(first, |[a, b, c], _| [b, c, a + b]);
    last
}

fn first_rotation(groups: &[Group]) -> Vec<Group> {
    let rotations = (0..groups.len()).map(|at| {
        let (before, after) = groups.split_at(at);
        [after, before].concat()
    });
    rotations.min().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn the_longest_counts_fit() {
        // The ratio of neighbours tends to the plastic number, 1.3247...; common knowledge.
        let ratio = |count: fn(u8) -> u128| count(255) * 10_000 / count(254);
        assert_eq!((ratio(compositions), ratio(placements)), (13_247, 13_247));
    }

    #[test]
    fn what_is_listed_is_as_many_as_counted() {
        for n_pulses in 2..=20_u8 {
            let cycle = Cycle::new(i64::from(n_pulses)).expect("in range");
            assert_eq!(Grouping::all(cycle).len() as u128, compositions(n_pulses));
            let layers: Vec<_> = placed(cycle).iter().map(Grouping::layer).collect();
            let distinct: HashSet<_> = layers.iter().collect();
            assert_eq!(layers.len(), distinct.len());
            assert_eq!(layers.len() as u128, placements(n_pulses));
        }
    }

    #[test]
    fn twelve_pulses_have_four_necklaces() {
        let written: Vec<String> = necklaces(Cycle::TWELVE)
            .iter()
            .map(Grouping::to_string)
            .collect();
        assert_eq!(
            written,
            ["2+2+2+2+2+2", "2+2+2+3+3", "2+2+3+2+3", "3+3+3+3"]
        );
    }
}

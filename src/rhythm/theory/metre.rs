//! Metres as trees of equal divisions, and the weights that they give to pulses.

use crate::rhythm::{Cycle, CycleError, Pulse};

/// Into how many equal parts a level of a metre is divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Split {
    /// Two parts.
    Halves,
    /// Three parts.
    Thirds,
}

impl Split {
    fn n_parts(self) -> i64 {
        match self {
            Self::Halves => 2,
            Self::Thirds => 3,
        }
    }
}

/// A cycle divided level by level down to single pulses.
///
/// Six pulses are 6/8 when they are halved and then divided into thirds, and 3/4 the other way
/// about: the same cycle, and the whole of cross-rhythm lies between the two.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Metre {
    cycle: Cycle,
    splits: Box<[Split]>,
}

impl Metre {
    /// The metre of `splits`, the division of the whole cycle first.
    ///
    /// # Errors
    /// When the splits lead to no cycle: none at all, or more than 48 pulses.
    pub fn new(splits: &[Split]) -> Result<Self, CycleError> {
        let n_pulses = splits.iter().fold(1_i64, |product, split| {
            product.saturating_mul(split.n_parts())
        });
        Ok(Self {
            cycle: Cycle::new(n_pulses)?,
            splits: splits.into(),
        })
    }

    /// 3/4 in eighths.
    pub fn three_four() -> Self {
        Self::known(&[Split::Thirds, Split::Halves])
    }

    /// 6/8 in eighths.
    pub fn six_eight() -> Self {
        Self::known(&[Split::Halves, Split::Thirds])
    }

    /// 4/4 in eighths.
    pub fn four_four() -> Self {
        Self::known(&[Split::Halves, Split::Halves, Split::Halves])
    }

    /// 12/8 in eighths.
    pub fn twelve_eight() -> Self {
        Self::known(&[Split::Halves, Split::Halves, Split::Thirds])
    }

    /// The cycle that is divided.
    pub fn cycle(&self) -> Cycle {
        self.cycle
    }

    /// The weight of each pulse: 0 for the first, and one less for every level that must be divided
    /// to reach it.
    ///
    /// H. C. Longuet-Higgins and C. S. Lee, "The rhythmic interpretation of monophonic music",
    /// Music Perception 1(4), 1984, pp. 424-441.
    pub fn weights(&self) -> Vec<i32> {
        self.cycle
            .pulses()
            .map(|pulse| -self.depth(pulse))
            .collect()
    }

    /// The dots under each pulse of the metrical grid: one for every level to which it belongs, the
    /// pulse itself and the whole cycle among them.
    ///
    /// F. Lerdahl and R. Jackendoff, "A Generative Theory of Tonal Music", MIT Press 1983, ch. 4.
    pub fn grid(&self) -> Vec<i32> {
        let n_levels = i32::try_from(self.splits.len()).expect("at most five splits") + 1;
        self.weights()
            .iter()
            .map(|weight| weight + n_levels)
            .collect()
    }

    /// The weights over a whole `cycle` that holds the metre a number of times.
    pub(super) fn repeated_weights(&self, cycle: Cycle) -> Option<Vec<i32>> {
        let n_pulses = cycle.n_pulses();
        let fits = n_pulses.is_multiple_of(self.cycle.n_pulses());
        fits.then(|| self.weights().into_iter().cycle().take(n_pulses).collect())
    }

    fn known(splits: &[Split]) -> Self {
        Self::new(splits).expect("the named metres have 6, 8 and 12 pulses")
    }

    /// How many levels must be divided before a part begins on `pulse`.
    fn depth(&self, pulse: Pulse) -> i32 {
        let mut part = i64::from(self.cycle.size());
        let mut depth = 0;
        for split in &self.splits {
            if i64::from(pulse.place()) % part == 0 {
                break;
            }
            part /= split.n_parts();
            depth += 1;
        }
        depth
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splits_that_make_no_cycle_are_refused() {
        assert_eq!(Metre::new(&[]), Err(CycleError(1)));
        assert_eq!(Metre::new(&[Split::Thirds; 4]), Err(CycleError(81)));
        assert_eq!(Metre::new(&[Split::Halves; 500]), Err(CycleError(i64::MAX)));
    }

    #[test]
    fn six_pulses_are_two_metres() {
        let (threes, twos) = (Metre::six_eight(), Metre::three_four());
        assert_eq!(threes.cycle(), twos.cycle());
        // Counts 3 and 5 are strong in 3/4 alone, count 4 in 6/8 alone.
        let stronger = |pulse: usize| threes.weights()[pulse] - twos.weights()[pulse];
        assert_eq!(
            (0..6).map(stronger).collect::<Vec<_>>(),
            [0, 0, -1, 1, -1, 0]
        );
    }
}

//! What is clapped over the phrase of the bench.

use crate::rhythm::{Layer, Pattern};

use super::after;

/// What is clapped over the phrase.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claps {
    /// Nothing.
    None,
    /// The threes.
    Threes,
    /// The twos.
    Twos,
    /// One, four and five of six.
    OneFourFive,
    /// The marks of the pattern's own grouping.
    Own,
    /// Between all counts (contra).
    Contra,
}

impl Claps {
    pub(super) const ALL: [Self; 6] = [
        Self::None,
        Self::Threes,
        Self::Twos,
        Self::OneFourFive,
        Self::Own,
        Self::Contra,
    ];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Threes => "3",
            Self::Twos => "2",
            Self::OneFourFive => "1-4-5",
            Self::Own => "its marks",
            Self::Contra => "contra",
        }
    }

    /// What is clapped in a pattern; `None` where it has no such claps, or for none.
    pub(super) fn layer(self, pattern: Pattern) -> Option<Layer> {
        let cycle = pattern.cycle();
        let even = |n: usize| {
            let fits = cycle.n_pulses().is_multiple_of(n);
            fits.then(|| Layer::every(cycle, n))
        };
        match self {
            Self::None => None,
            Self::Threes => even(3),
            Self::Twos => even(2),
            Self::OneFourFive if pattern == Pattern::SIX => Layer::of(cycle, &[0, 3, 4]).ok(),
            Self::OneFourFive => None,
            Self::Own => pattern.marks(),
            Self::Contra => even(1),
        }
    }

    /// The next claps that the pattern has.
    pub(super) fn after(self, pattern: Pattern) -> Self {
        let mut here = after(&Self::ALL, self);
        while here != Self::None && here.layer(pattern).is_none() {
            here = after(&Self::ALL, here);
        }
        here
    }
}

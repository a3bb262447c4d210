//! The cycle and its pulses.

use std::fmt;

/// A cycle of N equal pulses that comes round again; N is 2 to 48, so that a set of its pulses fits
/// in one machine word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cycle(u8);

/// A number of pulses that no cycle here has.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a cycle of {0} pulses; 2 to 48 are possible")]
pub struct CycleError(pub i64);

impl Cycle {
    /// The six-pulse cycle.
    pub const SIX: Self = Self(6);
    /// The twelve-pulse cycle.
    pub const TWELVE: Self = Self(12);

    /// A cycle of `n_pulses` pulses.
    ///
    /// # Errors
    /// When `n_pulses` is not 2 to 48.
    pub fn new(n_pulses: i64) -> Result<Self, CycleError> {
        match u8::try_from(n_pulses) {
            Ok(n @ 2..=48) => Ok(Self(n)),
            _ => Err(CycleError(n_pulses)),
        }
    }

    /// Whether it is made of several sixes.
    pub fn is_of_sixes(self) -> bool {
        self.n_pulses() > 6 && self.n_pulses().is_multiple_of(6)
    }

    /// The number of pulses.
    pub fn n_pulses(self) -> usize {
        usize::from(self.0)
    }

    /// The number of pulses as a small number, which every number type holds without loss.
    pub(super) fn size(self) -> u8 {
        self.0
    }

    /// The pulses in order, from 0.
    pub fn pulses(self) -> impl DoubleEndedIterator<Item = Pulse> + ExactSizeIterator {
        (0..self.0).map(Pulse)
    }

    /// The first pulse.
    pub fn first(self) -> Pulse {
        Pulse(0)
    }

    /// The pulse on which the `idx`-th pulse of an unbroken row falls, counted from a first pulse;
    /// negative indices count back from it.
    pub fn pulse_at(self, idx: i64) -> Pulse {
        let pulse = idx.rem_euclid(i64::from(self.0));
        Pulse(u8::try_from(pulse).expect("a remainder by at most 48 fits"))
    }

    /// The pulse `by` pulses after `pulse`, round the cycle; any number is fine.
    pub fn step(self, pulse: Pulse, by: i64) -> Pulse {
        // The remainder comes first, so that no `by` can overflow the sum.
        self.pulse_at(i64::from(pulse.0) + by.rem_euclid(i64::from(self.0)))
    }
}

impl fmt::Display for Cycle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            6 => f.pad("six"),
            12 => f.pad("twelve"),
            n => n.fmt(f),
        }
    }
}

/// One pulse of a cycle, from 0. Only a [`Cycle`] makes one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pulse(u8);

impl Pulse {
    /// Its place from 0.
    pub fn idx(self) -> usize {
        usize::from(self.0)
    }

    /// Its place as a small number, which every number type holds without loss.
    pub(super) fn place(self) -> u8 {
        self.0
    }

    /// The bit that stands for it in a set of pulses.
    pub(super) fn bit(self) -> u64 {
        1 << self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_two_to_forty_eight_pulses_make_a_cycle() {
        for n_pulses in [i64::MIN, -6, 0, 1, 49, 256 + 6, i64::MAX] {
            assert_eq!(Cycle::new(n_pulses), Err(CycleError(n_pulses)));
        }
        for n_pulses in 2..=48 {
            let cycle = Cycle::new(n_pulses).expect("in range");
            assert_eq!(cycle.pulses().len() as i64, n_pulses);
        }
    }

    #[test]
    fn steps_go_round_however_far() {
        let last = Cycle::SIX.pulse_at(5);
        assert_eq!(Cycle::SIX.step(last, 1), Cycle::SIX.first());
        assert_eq!(Cycle::SIX.step(last, -6), last);
        // i64::MAX is 1 and i64::MIN is 4 above a multiple of six.
        assert_eq!(Cycle::SIX.step(last, i64::MAX), Cycle::SIX.first());
        assert_eq!(Cycle::SIX.step(last, i64::MIN), Cycle::SIX.pulse_at(3));
    }
}

//! The pulses over which a grouping is heard, and how they fall into cycles.

use std::ops::Range;

use crate::rhythm::{Cycle, Tempo};

use super::units::{index, mean, real};

/// Times of pulses in seconds: finite, rising, at least two; the first is the first pulse of a
/// cycle.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulses(Vec<f64>);

/// Why times are no pulses.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PulsesError {
    /// Fewer than two.
    #[error(
        "{n} {noun}; at least two are needed to have a gap between them",
        n = .0, noun = if *.0 == 1 { "pulse" } else { "pulses" }
    )]
    TooFew(usize),
    /// A time that is no number or infinite; its place from 0.
    #[error("time {} is no finite number", .0 + 1)]
    NotFinite(usize),
    /// A time that is not later than the one before it by a millisecond; its place from 0.
    #[error("time {} is not later than the one before it", .0 + 1)]
    NotRising(usize),
}

/// How many times as long as its neighbours a gap is in which pulses count in no cycle (a round figure: two are
/// twice as long, and no tempo turns so much at once and back again).
const BREAK: f64 = 1.5;
/// The least gap between pulses, in seconds.
const LEAST_GAP: f64 = 0.001;
/// The most pulses that are laid over one sound.
const MOST: usize = 1 << 20;

impl Pulses {
    /// Pulses at these times in seconds.
    ///
    /// # Errors
    /// When there are fewer than two, or they are not finite and rising.
    pub fn new(times: Vec<f64>) -> Result<Self, PulsesError> {
        if times.len() < 2 {
            return Err(PulsesError::TooFew(times.len()));
        }
        if let Some(at) = times.iter().position(|time| !time.is_finite()) {
            return Err(PulsesError::NotFinite(at));
        }
        let falls = |pair: &[f64]| pair[1] - pair[0] < LEAST_GAP;
        match times.windows(2).position(falls) {
            Some(at) => Err(PulsesError::NotRising(at + 1)),
            None => Ok(Self(times)),
        }
    }

    /// Steady pulses from `start` seconds on, as many as begin before `until`.
    ///
    /// # Errors
    /// When fewer than two do, or `start` is no finite number.
    pub fn steady(tempo: Tempo, start: f64, until: f64) -> Result<Self, PulsesError> {
        let gap = 60.0 / tempo.pulses_a_minute();
        let n = index(((until - start) / gap).ceil()).min(MOST);
        Self::new((0..n).map(|k| start + real(k) * gap).collect())
    }

    /// The times in seconds.
    pub fn times(&self) -> &[f64] {
        &self.0
    }

    /// The gap after a pulse in seconds; after the last, and before a break, the one before it.
    pub(super) fn gap(&self, at: usize) -> f64 {
        let after = |at: usize| self.0[at + 1] - self.0[at];
        let from = at.min(self.0.len() - 2);
        match from.checked_sub(1) {
            Some(before) if self.is_break(from) => after(before),
            _ => after(from),
        }
    }

    /// Whether pulses count in no cycle, or none lie, between this one and the next: the gap stands out between
    /// its neighbours.
    fn is_break(&self, at: usize) -> bool {
        let gap = |at: usize| Some(self.0.get(at + 1)? - self.0.get(at)?);
        let stands_out = |beside: Option<usize>| {
            let beside = beside.and_then(gap);
            gap(at)
                .zip(beside)
                .is_some_and(|(gap, beside)| gap > BREAK * beside)
        };
        stands_out(at.checked_sub(1)) && stands_out(Some(at + 1))
    }

    /// Pulses a minute, by the mean gap but for breaks.
    pub fn tempo_ppm(&self) -> f64 {
        let n_gaps = self.0.len() - 1;
        let gap = |at: usize| self.0[at + 1] - self.0[at];
        let counted = (0..n_gaps).filter(|at| !self.is_break(*at)).map(gap);
        let counted: Vec<f64> = counted.collect();
        60.0 / mean(&counted)
    }

    /// Those of whole cycles in stretches of which each begins with the first of one; of the last stretch
    /// what is left over after its last cycle too. As they are where these are fewer than two.
    #[must_use]
    pub fn in_cycles(&self, stretches: &[Range<usize>], cycle: Cycle) -> Self {
        let n_last = stretches.len().saturating_sub(1);
        let counted = stretches.iter().enumerate().flat_map(|(nth, stretch)| {
            let n_cut = match nth == n_last {
                true => 0,
                false => stretch.len() % cycle.n_pulses(),
            };
            // Of a few pulses, none may be the first of a cycle.
            let whole = self.0.get(stretch.start..stretch.end.saturating_sub(n_cut));
            whole.unwrap_or_default().iter().copied()
        });
        Self::new(counted.collect()).unwrap_or_else(|_| self.clone())
    }

    /// The same, so many seconds later.
    #[must_use]
    pub fn moved(&self, seconds: f64) -> Self {
        Self(self.0.iter().map(|time| time + seconds).collect())
    }

    /// So many of the first, two at least.
    pub(super) fn first(&self, n: usize) -> Self {
        Self(self.0.iter().copied().take(n.max(2)).collect())
    }

    /// The same without so many at the beginning; as it is where fewer than two would be left.
    #[must_use]
    pub fn without_first(&self, n: usize) -> Self {
        let rest = self.0.get(n..).filter(|rest| rest.len() >= 2);
        Self(rest.unwrap_or(&self.0).to_vec())
    }
}

/// Where pulses stand in their cycle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Counted {
    /// Pulses in a cycle.
    pub(super) n_cycle: usize,
    /// Pulses in all.
    pub(super) n_pulses: usize,
}

impl Counted {
    pub(super) fn of(cycle: Cycle, n_pulses: usize) -> Self {
        Self {
            n_cycle: cycle.n_pulses(),
            n_pulses,
        }
    }

    /// Cycles of which every pulse is there; one that breaks off before its end counts where it has
    /// five sixths of its pulses, so that a last cycle without its last gap is not lost.
    pub(super) fn n_cycles(&self) -> usize {
        let whole = self.n_pulses / self.n_cycle;
        let rest = self.n_pulses % self.n_cycle;
        whole + usize::from(6 * rest >= 5 * self.n_cycle)
    }

    /// The pulses of a cycle, by their number from the first.
    pub(super) fn pulses(&self, cycle: usize) -> std::ops::Range<usize> {
        let from = cycle * self.n_cycle;
        from.min(self.n_pulses)..(from + self.n_cycle).min(self.n_pulses)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_pulses_is_named() {
        let new = |times: &[f64]| Pulses::new(times.to_vec());
        assert_eq!(new(&[]), Err(PulsesError::TooFew(0)));
        assert_eq!(new(&[1.0]), Err(PulsesError::TooFew(1)));
        assert_eq!(new(&[0.0, f64::NAN]), Err(PulsesError::NotFinite(1)));
        assert_eq!(new(&[0.0, 1.0, 0.5]), Err(PulsesError::NotRising(2)));
        assert_eq!(new(&[0.0, 1.0]).map(|p| p.gap(1)), Ok(1.0));
    }

    #[test]
    fn steady_pulses_stop_where_the_sound_does() {
        // By hand: 120 pulses a minute are half a second apart.
        let tempo = Tempo::of_pulses_a_minute(120).expect("in range");
        let pulses = Pulses::steady(tempo, 0.25, 1.75).expect("three pulses");
        assert_eq!(pulses.times(), [0.25, 0.75, 1.25]);
        assert!(Pulses::steady(tempo, 2.0, 1.0).is_err());
        assert!(Pulses::steady(tempo, f64::NAN, 1.0).is_err());
    }

    #[test]
    fn a_cycle_that_breaks_off_early_is_none() {
        let n_cycles = |n| {
            Counted {
                n_cycle: 6,
                n_pulses: n,
            }
            .n_cycles()
        };
        assert_eq!([4, 5, 6, 10, 11].map(n_cycles), [0, 1, 1, 1, 2]);
    }
}

//! Accent units on each pulse, for one voice.

use crate::rhythm::{Cycle, Pulse};

/// Accent units on each pulse of one cycle, of one voice. Finite, never negative.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    cycle: Cycle,
    units: Box<[f64]>,
}

/// Why numbers are no profile.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ProfileError {
    /// Not one value a pulse.
    #[error("{found} values for a cycle of {n_pulses} pulses")]
    Length {
        /// How many values were given.
        found: usize,
        /// How many pulses the cycle has.
        n_pulses: usize,
    },
    /// A value that is negative, infinite or no number.
    #[error("{0} accent units on a pulse")]
    Value(f64),
}

impl Profile {
    /// One value a pulse.
    ///
    /// # Errors
    /// When there are more or fewer values than pulses, or one is negative or not finite.
    pub fn new(cycle: Cycle, units: &[f64]) -> Result<Self, ProfileError> {
        if units.len() != cycle.n_pulses() {
            return Err(ProfileError::Length {
                found: units.len(),
                n_pulses: cycle.n_pulses(),
            });
        }
        match units
            .iter()
            .find(|value| !value.is_finite() || **value < 0.0)
        {
            Some(value) => Err(ProfileError::Value(*value)),
            None => Ok(Self {
                cycle,
                units: units.into(),
            }),
        }
    }

    /// The cycle it describes.
    pub fn cycle(&self) -> Cycle {
        self.cycle
    }

    /// Units on `pulse`; 0 on a pulse of a longer cycle.
    pub fn at(&self, pulse: Pulse) -> f64 {
        self.units.get(pulse.idx()).copied().unwrap_or(0.0)
    }

    /// Units in the order of the pulses.
    pub fn units(&self) -> &[f64] {
        &self.units
    }

    /// The mean of several profiles of one cycle; `None` of none.
    pub fn mean(profiles: &[Self]) -> Option<Self> {
        let mut sum = profiles.first()?.clone();
        for profile in profiles.iter().skip(1) {
            for (total, value) in sum.units.iter_mut().zip(&profile.units) {
                *total += value;
            }
        }
        let n = profiles.iter().fold(0.0, |n, _| n + 1.0);
        sum.units.iter_mut().for_each(|total| *total /= n);
        Some(sum)
    }

    /// The sum of two voices, for questions about the whole.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        let units = self
            .units
            .iter()
            .zip(&other.units)
            .map(|(a, b)| a + b)
            .collect();
        Self {
            cycle: self.cycle,
            units,
        }
    }
}

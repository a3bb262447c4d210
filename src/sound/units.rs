//! Crossing between counts of frames and real numbers, for filters and envelopes.

use crate::pcm::SampleRate;

/// A count as a real number.
pub(in crate::sound) fn real(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// A coefficient in the precision of samples.
#[expect(
    clippy::cast_possible_truncation,
    reason = "24 bits are enough for a filter's coefficient"
)]
pub(in crate::sound) fn single(value: f64) -> f32 {
    value as f32
}

/// The nearest count to a real number; 0 of what is negative or no number.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates, and negative counts are meant to be zero"
)]
pub(in crate::sound) fn count(value: f64) -> usize {
    value.round() as usize
}

/// How many frames `seconds` last.
pub(in crate::sound) fn frames(seconds: f64, rate: SampleRate) -> usize {
    count(seconds * f64::from(rate.hz()))
}

/// The factor on samples that `db` decibels make.
pub(in crate::sound) fn factor(db: f64) -> f64 {
    10.0_f64.powf(db / 20.0)
}

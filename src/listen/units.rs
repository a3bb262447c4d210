//! Casts between counts and numbers, each with its reason, and sums over rows.

use std::array;

/// A count as a number.
#[expect(
    clippy::cast_precision_loss,
    reason = "counts of frames and pulses stay far below 2^52"
)]
pub(super) fn real(n: usize) -> f64 {
    n as f64
}

/// The whole part of a number as an index; 0 below zero and of what is no number.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates, and what is no number becomes 0"
)]
pub(super) fn index(x: f64) -> usize {
    x as usize
}

/// A number as a sample.
#[expect(
    clippy::cast_possible_truncation,
    reason = "samples need no more than single precision"
)]
pub(super) fn single(x: f64) -> f32 {
    x as f32
}

/// The mean; 0 of none.
pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / real(values.len().max(1))
}

/// The sum of something of each pair of two rows of one length, in sixteen sums at once: one sum would have to wait for
/// each addition, and takes several times as long.
pub(super) fn sum_of_pairs(a: &[f32], b: &[f32], of: impl Fn(f32, f32) -> f32) -> f32 {
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<16>(), b.as_chunks::<16>());
    let mut sums = [0.0; 16];
    for (a, b) in a.iter().zip(b) {
        sums = array::from_fn(|k| sums[k] + of(a[k], b[k]));
    }
    let rest = a_rest.iter().zip(b_rest).map(|(a, b)| of(*a, *b));
    sums.iter().sum::<f32>() + rest.sum::<f32>()
}

/// The value below which a share of all lies; 0 of none.
pub(super) fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = index(share * real(sorted.len()));
    let last = sorted.len().saturating_sub(1);
    sorted.get(at.min(last)).copied().unwrap_or(0.0)
}

/// The value held within bounds; 0 of what is no number.
pub(super) fn held(x: f64, most: f64) -> f64 {
    if x.is_nan() {
        0.0
    } else {
        x.clamp(-most, most)
    }
}

//! How much of an envelope comes again, and after what gap.

use super::units::{index, mean};

/// The gap that is most usual, and how far others lie from it, as logarithms: about half-way between
/// 100 ms, faster than which nothing is a subdivision, and a beat of 500 ms (London 2002), and tried on
/// melodies made by rule; and a round figure.
const USUAL: f64 = 0.22;
const USUAL_WIDTH: f64 = 0.7;

/// How usual a gap is, 0 to 1.
pub(super) fn usual(gap: f64) -> f64 {
    (-0.5 * ((gap / USUAL).ln() / USUAL_WIDTH).powi(2)).exp()
}

/// An envelope's correlation with itself at each lag below so many.
pub(super) fn again(onsets: &[f64], n_lags: usize) -> Vec<f64> {
    let middle = mean(onsets);
    let row: Vec<f64> = onsets.iter().map(|x| x - middle).collect();
    let own: f64 = row.iter().map(|x| x * x).sum::<f64>().max(1e-9);
    let at = |lag: usize| {
        let later = row.get(lag..).unwrap_or_default();
        row.iter().zip(later).map(|(a, b)| a * b).sum::<f64>() / own
    };
    (0..n_lags).map(at).collect()
}

/// How much comes again after a gap and after two to four of it.
pub(super) fn comb(again: &[f64], rate: f64, gap: f64) -> f64 {
    let at = |gap: f64| {
        let low = (gap * rate).floor();
        let share = gap * rate - low;
        let of = |lag: usize| again.get(lag).copied().unwrap_or(0.0);
        (1.0 - share) * of(index(low)) + share * of(index(low) + 1)
    };
    let comb = at(gap) + 0.5 * at(2.0 * gap) + 0.33 * at(3.0 * gap) + 0.25 * at(4.0 * gap);
    comb.max(0.0)
}

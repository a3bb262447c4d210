//! How tightly taps keep to what they clap, whatever they clap.

use std::f64::consts::TAU;

use super::circular::Circular;

/// The timing of taps against the strokes that they clapped. Milliseconds; early is negative.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// How many taps were matched.
    pub n: usize,
    /// Mean asynchrony.
    pub mean: f64,
    /// Standard deviation of the asynchronies (n - 1).
    pub spread: f64,
    /// The spread as a share of the gap between pulses.
    pub spread_of_gap: f64,
    /// How the asynchrony changes from one stroke to the next, by linear regression.
    pub drift: f64,
    /// Where in the gap taps fall, and how surely they keep to it.
    pub phase: Circular,
}

impl Timing {
    /// The timing of asynchronies in milliseconds, in the order of the strokes, on pulses `gap`
    /// milliseconds apart on the mean; `None` of fewer than two.
    pub fn of(asynchronies: &[f64], gap: f64) -> Option<Self> {
        let n = asynchronies.iter().fold(0.0, |n, _| n + 1.0);
        if n < 2.0 {
            return None;
        }
        let mean = asynchronies.iter().sum::<f64>() / n;
        let squares: f64 = asynchronies.iter().map(|a| (a - mean).powi(2)).sum();
        let spread = (squares / (n - 1.0)).sqrt();
        let phases = asynchronies.iter().map(|a| a / gap * TAU);
        Some(Self {
            n: asynchronies.len(),
            mean,
            spread,
            spread_of_gap: spread / gap,
            drift: slope(asynchronies),
            phase: Circular::of(phases)?,
        })
    }
}

/// The slope of `values` over their places 0, 1, 2 …, by least squares.
pub(super) fn slope(values: &[f64]) -> f64 {
    let places = || {
        (0..values.len()).scan(0.0, |place, _| {
            let here = *place;
            *place += 1.0;
            Some(here)
        })
    };
    let n = places().fold(0.0, |n, _| n + 1.0);
    let (middle, mean) = (
        (n - 1.0) / 2.0,
        values.iter().sum::<f64>() / f64::max(n, 1.0),
    );
    let (mut both, mut own) = (0.0, 0.0);
    for (place, value) in places().zip(values) {
        both += (place - middle) * (value - mean);
        own += (place - middle) * (place - middle);
    }
    if own > 0.0 { both / own } else { 0.0 }
}

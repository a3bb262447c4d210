//! Whether a stream comes again every third pulse or every second, and how strong it is where the
//! two differ.
//!
//! Evidence is a difference of logarithms of probability (nats): above 0 for threes, below for twos.
//! The question is put to each stream by itself, since sums of strength hear the wrong thing: in a
//! strum with a quiet bass the fillers are the loud ones.

use super::stream::{Stream, Tells};
use super::units::held;

/// The most that one stream says; the clip of the Bayesian information criterion at 25 in the
/// measurements of the independent listener is twice this, as that criterion counts twice.
const MOST: f64 = 12.0;
/// The most units by which one cycle's strength counts, so that one loud stroke decides nothing.
const MOST_OVER: f64 = 6.0;
/// How many cycles of one unit's difference the spread of strength is expected to have beforehand.
const STRENGTH_WEIGHT: f64 = 2.0;
/// How much of a spread is expected beforehand, in observations.
const PRIOR_WEIGHT: f64 = 3.0;
/// How far means of positions lie apart beforehand, against the spread within them: as far as twice
/// the spread, so that one observation counts nearly in full.
const PRIOR_SHARE: f64 = 0.25;

/// Sums of a stream over the pulses of one cycle, by position, the first of every six left out: 30
/// places are enough to add cycles up and ask for any stretch of them.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    /// By position among six: how many, their sum, and the sum of their squares.
    of: [[f64; 3]; 6],
    /// By how many units the fourth of six pulses stands over its neighbours but one: how many such
    /// sixes, the sum, and the sum of squares.
    over: [f64; 3],
}

impl Sums {
    /// Of the pulses of one cycle, in units of the stream about its `middle`.
    pub(super) fn of(stream: &Stream, pulses: std::ops::Range<usize>, middle: f64) -> Self {
        let mut sums = Self::default();
        let from = pulses.start;
        for pulse in pulses.clone() {
            let position = (pulse - from) % 6;
            if let Some(value) = stream.at(pulse) {
                let x = (value - middle) / stream.unit;
                let cell = &mut sums.of[position];
                *cell = [cell[0] + 1.0, cell[1] + x, cell[2] + x * x];
            }
        }
        if stream.tells == Tells::Strength {
            for x in pulses.step_by(6).filter_map(|from| over(stream, from)) {
                sums.over = [sums.over[0] + 1.0, sums.over[1] + x, sums.over[2] + x * x];
            }
        }
        sums
    }

    pub(super) fn plus(self, other: &Self) -> Self {
        self.with(other, 1.0)
    }

    pub(super) fn minus(self, other: &Self) -> Self {
        self.with(other, -1.0)
    }

    fn with(mut self, other: &Self, sign: f64) -> Self {
        let cells = self.of.iter_mut().chain([&mut self.over]);
        for (cell, more) in cells.zip(other.of.iter().chain([&other.over])) {
            for (sum, more) in cell.iter_mut().zip(more) {
                *sum += sign * more;
            }
        }
        self
    }

    /// What the stream says: for threes above 0, for twos below.
    pub(super) fn evidence(&self) -> f64 {
        let (threes, twos, flat) = (self.fit(3), self.fit(2), self.fit(1));
        // Each against the better of itself and no period at all.
        let period = log_sum(threes, flat) - log_sum(twos, flat);
        // Where the period is clear, a stream's loud pulses may be its fillers.
        let strength = self.strength() / (1.0 + period.abs());
        held(held(period, MOST) + held(strength, MOST / 2.0), MOST)
    }

    /// The logarithm of the odds that the fourth of six pulses is the stronger on the whole.
    fn strength(&self) -> f64 {
        let [n, sum, squares] = self.over;
        if n < 0.5 {
            return 0.0;
        }
        let mean = sum / n;
        let rest = (squares - n * mean * mean).max(0.0) + STRENGTH_WEIGHT * 4.0;
        let deviation = (rest / (n + STRENGTH_WEIGHT) / n).sqrt();
        let t = mean / deviation;
        // The odds of a normal deviate by the logistic approximation of Page (1977).
        1.5976 * t + 0.070565 * t.powi(3)
    }

    /// The logarithm of how probable the values are when each position modulo `period` has a mean
    /// of its own: normal with unknown spread under its conjugate prior (normal, inverse gamma), what
    /// the information criterion approximates (Schwarz 1978; Kass and Raftery 1995) and good for five
    /// values too. Terms alike for all periods are left out.
    fn fit(&self, period: usize) -> f64 {
        let mut groups = [[0.0; 3]; 3];
        for (position, cell) in self.of.iter().enumerate().skip(1) {
            for (sum, more) in groups[position % period].iter_mut().zip(cell) {
                *sum += more;
            }
        }
        let total: [f64; 2] = [0, 1].map(|k| groups.iter().map(|group| group[k]).sum());
        if total[0] < 1.0 {
            return 0.0;
        }
        let middle = total[1] / total[0];
        let (mut rest, mut shape) = (0.0, 0.0);
        for [n, sum, squares] in groups.into_iter().filter(|group| group[0] > 0.5) {
            let mean = sum / n;
            let apart = (mean - middle).powi(2) * PRIOR_SHARE * n / (PRIOR_SHARE + n);
            rest += (squares - n * mean * mean).max(0.0) + apart;
            shape += ((PRIOR_SHARE + n) / PRIOR_SHARE).ln();
        }
        let spread = PRIOR_WEIGHT + total[0];
        -0.5 * (shape + spread * (PRIOR_WEIGHT + rest).ln())
    }
}

/// By how many units the fourth of six pulses stands over the third and the fifth.
fn over(stream: &Stream, from: usize) -> Option<f64> {
    let at = |position: usize| stream.at(from + position);
    let over = at(3)? - 0.5 * (at(2)? + at(4)?);
    Some(held(over / stream.unit, MOST_OVER))
}

/// The logarithm of the sum of two numbers given by theirs.
pub(super) fn log_sum(a: f64, b: f64) -> f64 {
    let most = a.max(b);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + ((a - most).exp() + (b - most).exp()).ln()
}

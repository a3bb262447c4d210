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
/// What a stream says by chance, taken off.
const CHANCE: f64 = 0.5;
/// The most that strength says of a stream.
const MOST_STRENGTH: f64 = 4.0;
/// The most units by which one cycle's strength counts, so that one loud stroke decides nothing.
const MOST_OVER: f64 = 6.0;
/// How many cycles of one unit's difference the spread of strength is expected to have beforehand.
const STRENGTH_WEIGHT: f64 = 2.0;
/// How far positions lie apart for reasons other than the grouping, in units, however many cycles
/// are heard: a player's habit on one pulse is no accent while it can hardly be told.
const HABIT: f64 = 1.0;
/// For how many positions that expectation counts.
const HABIT_WEIGHT: f64 = 4.0;
/// How much cycles that come again add: alike as they are, twice as many tell less than twice as much.
pub(super) const ALIKE: f64 = 0.5;
/// How far groups of positions lie apart beforehand, in units: an accent of 4 dB balances that of a
/// longer gap (Povel and Okkerman 1981).
const APART: f64 = 4.0;
/// The least spread of one position from cycle to cycle that is expected beforehand, in units, and
/// for how many observations that counts.
const SPREAD: f64 = 1.5;
const SPREAD_WEIGHT: f64 = 5.0;

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

    /// The variance of positions from cycle to cycle, in square units.
    pub(super) fn variance(&self, expected: f64) -> f64 {
        let (mut rest, mut weight) = (SPREAD_WEIGHT * expected, SPREAD_WEIGHT);
        for [n, sum, squares] in self.of.iter().skip(1).filter(|cell| cell[0] > 1.5) {
            rest += (squares - sum * sum / n).max(0.0);
            weight += n - 1.0;
        }
        rest / weight
    }

    /// The variance that is expected where nothing was heard yet.
    pub(super) fn expected() -> f64 {
        SPREAD * SPREAD
    }

    /// What the stream says, when positions vary so much in the whole piece: for threes above 0, for
    /// twos below.
    pub(super) fn evidence(&self, variance: f64) -> f64 {
        let variance = self.variance(variance);
        let [threes, twos, flat] = [3, 2, 1].map(|period| self.fit(period, variance));
        // Each against the better of itself and no period at all.
        let period = log_sum(threes, flat) - log_sum(twos, flat);
        // Where the period is clear, a stream's loud pulses may be its fillers.
        let strength = self.strength() / (1.0 + period.abs());
        let most = MOST * self.weight();
        let said = held(held(period, most) + held(strength, MOST_STRENGTH), most);
        said.signum() * (said.abs() - CHANCE).max(0.0)
    }

    /// How much of the most a stream may say by now: one cycle shows a figure, but not that it comes
    /// again (it takes two or three to hear a grouping, so that half is reached between them).
    fn weight(&self) -> f64 {
        let n_cycles = self.of.iter().map(|cell| cell[0]).fold(0.0, f64::max);
        let squared = n_cycles * n_cycles;
        squared / (squared + 5.0)
    }

    /// The logarithm of the odds that the fourth of six pulses is the stronger on the whole.
    fn strength(&self) -> f64 {
        let [n, sum, squares] = self.over;
        if n < 0.5 {
            return 0.0;
        }
        let mean = sum / n;
        let rest = (squares - n * mean * mean).max(0.0) + STRENGTH_WEIGHT * 4.0;
        let habit = 1.5 * HABIT * HABIT;
        let deviation = (rest / (n + STRENGTH_WEIGHT) / n + habit).sqrt();
        let t = mean / deviation;
        // The odds of a normal deviate by the logistic approximation of Page (1977).
        1.5976 * t + 0.070565 * t.powi(3)
    }

    /// The logarithm of how probable the means of the positions are when those alike modulo `period`
    /// share a mean of their own: normal, under a normal prior about the middle of all, with a spread
    /// that is itself not known, so that what fits neither speaks for neither. It is what the
    /// information criterion approximates (Schwarz 1978; Kass and Raftery 1995), and good for five
    /// values too. Terms alike for all periods are left out.
    fn fit(&self, period: usize, variance: f64) -> f64 {
        // By group: the weights of its means, their weighted sum, and that of their squares.
        let mut groups = [[0.0; 3]; 3];
        for (position, [n, sum, _]) in self.of.iter().enumerate().skip(1) {
            if *n > 0.5 {
                let (mean, weight) = (sum / n, 1.0 / (HABIT * HABIT + variance / n));
                let group = &mut groups[position % period];
                for (sum, more) in group.iter_mut().zip([1.0, mean, mean * mean]) {
                    *sum += weight * more;
                }
            }
        }
        let [weight, sum] = [0, 1].map(|k| groups.iter().map(|group| group[k]).sum::<f64>());
        if weight <= 0.0 {
            return 0.0;
        }
        let middle = sum / weight;
        let prior = APART * APART;
        let (mut shape, mut rest) = (0.0, HABIT_WEIGHT);
        for [weight, sum, squares] in groups.into_iter().filter(|group| group[0] > 0.0) {
            let mean = sum / weight;
            rest += (squares - weight * mean * mean).max(0.0);
            rest += (mean - middle).powi(2) / (prior + 1.0 / weight);
            shape += (1.0 + prior * weight).ln();
        }
        -0.5 * (shape + (HABIT_WEIGHT + self.n_told()) * rest.ln())
    }

    /// For how many positions those count that were heard.
    fn n_told(&self) -> f64 {
        let told = self.of.iter().skip(1).filter(|cell| cell[0] > 0.5);
        told.map(|[n, ..]| n / (1.0 + ALIKE * (n - 1.0))).sum()
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

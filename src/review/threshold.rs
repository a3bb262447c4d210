//! How strong the cues must be for one learner in one skill.
//!
//! A [`Threshold`] is a posterior over three things about the learner: the level of the curve's
//! middle, its slope and how often attention lapses (QUEST+, Watson 2017, J. Vision 17(3):10). The
//! chance of being right at level `x` is `g + (1 − g − λ)·Φ((x − t)/σ)`, where `g` is the chance of
//! guessing. Placing is not by entropy but where success is predicted in five of six: in simulation
//! that costs no precision and keeps practice where it is worth most.
//!
//! Units: decibels of cue strength, more is easier to hear; probabilities 0 to 1.
//!
//! The lapse grid goes to 0.15, so that a miss on a very easy phrase is read as inattention and
//! hardly moves the threshold. After each attempt a little of every weight moves to its neighbours:
//! learners change while they are measured.

use std::sync::LazyLock;

use crate::phrase::Level;
use crate::world::Seed;

use super::grid::{Grid, Likelihood};

/// Thresholds: −10 to 22 dB in steps of 1 dB.
const N_THRESHOLDS: usize = 33;
const LOWEST_THRESHOLD: f64 = -10.0;

/// Slopes σ: seven from 1.2 to 8 dB at equal ratios, expected log-normal about 3 dB.
const N_SLOPES: usize = 7;
const SLOPE_ENDS: (f64, f64) = (1.2, 8.0);
const SLOPE_MIDDLE: f64 = 3.0;
const SLOPE_SPREAD: f64 = 0.5;

/// Chances λ of an inattentive miss.
const LAPSES: [f32; 5] = [0.0, 0.02, 0.04, 0.08, 0.15];

/// How likely each is beforehand, against the others. The largest is there for days of little
/// attention; expected as often as the rest, it would make every learner seem less attentive and so
/// the level of five in six too easy.
const LAPSE_WEIGHTS: [f64; 5] = [1.0, 1.0, 1.0, 1.0, 0.25];

/// Where thresholds are expected when nothing is known, in decibels: mean and standard deviation.
const POPULATION: (f64, f64) = (6.0, 6.0);

const N_ROWS: usize = N_SLOPES * LAPSES.len();

/// The share of each weight that moves to either neighbouring threshold per attempt.
const BLUR: f32 = 0.05;

/// Chances stay this far from 0 and 1, so that no single answer is impossible.
const CLIP: f64 = 1e-6;

/// The success at which phrases are placed.
pub(super) const TARGET: f64 = 0.825;

/// Placed levels are spread by up to this many tenths of a decibel to either side.
const JITTER_TENTHS: i64 = 10;

/// What is known about the level one learner needs in one skill.
#[derive(Clone, Debug, PartialEq)]
pub struct Threshold {
    alternatives: u8,
    grid: Grid<f32, N_THRESHOLDS, N_ROWS>,
}

impl Threshold {
    /// Nothing known but that thresholds lie about `mean` with standard deviation `sd`, in decibels.
    /// `alternatives` answers are offered; 0 where the answer is tapped and cannot be guessed.
    pub fn new(alternatives: u8, mean: f64, sd: f64) -> Self {
        // Each curve serves all lapses: whoever reads the logs of a school begins many thresholds.
        let offs: [f64; N_THRESHOLDS] =
            std::array::from_fn(|column| (threshold_at(column) - mean) / sd.max(0.1));
        let curves: [[f64; N_THRESHOLDS]; N_SLOPES] = std::array::from_fn(|slope| {
            let slope_off = (slope_at(slope) / SLOPE_MIDDLE).ln() / SLOPE_SPREAD;
            offs.map(|off| (-0.5 * (off * off + slope_off * slope_off)).exp())
        });
        let prior = |row: usize, column: usize| {
            let lapse_weight = LAPSE_WEIGHTS[row % LAPSES.len()];
            single(lapse_weight * curves[row / LAPSES.len()][column])
        };
        Self {
            alternatives,
            grid: Grid::new(prior),
        }
    }

    /// Nothing known but how people hear. `alternatives` answers are offered.
    pub fn of_people(alternatives: u8) -> Self {
        let (mean, sd) = POPULATION;
        Self::new(alternatives, mean, sd)
    }

    /// From the stored weights; `None` when they are not as [`Threshold::weights`] gave them.
    pub(super) fn from_weights(alternatives: u8, weights: &[f32]) -> Option<Self> {
        let grid = Grid::from_weights(weights)?;
        Some(Self { alternatives, grid })
    }

    /// All weights in a fixed order.
    pub(super) fn weights(&self) -> &[f32] {
        self.grid.cells().as_flattened()
    }

    /// How many weights there are.
    pub(super) const N_WEIGHTS: usize = N_ROWS * N_THRESHOLDS;

    /// How many answers are offered from now on.
    pub fn offer(&mut self, alternatives: u8) {
        self.alternatives = alternatives;
    }

    /// How many answers are offered; 0 where the answer is tapped.
    pub fn alternatives(&self) -> u8 {
        self.alternatives
    }

    /// Learns from one answer to a phrase of this level.
    ///
    /// The curve is tabled at every tenth of a decibel that can be asked, for all numbers of
    /// alternatives at once, so that no level is rounded or interpolated.
    pub fn learn(&mut self, level: Level, right: bool) {
        let guess = single(guess_rate(self.alternatives));
        let curves = CURVES.at(level);
        // The likelihood is linear in Φ in each row: a + b·Φ.
        let coefficients = LAPSES.map(|lapse| {
            let range = 1.0 - guess - lapse;
            if right {
                (guess, range)
            } else {
                (1.0 - guess, -range)
            }
        });
        let likelihood = |row: usize| {
            let (base, gain) = coefficients[row % LAPSES.len()];
            let curve = &curves[row / LAPSES.len()];
            Likelihood { base, gain, curve }
        };
        self.grid.update(likelihood, BLUR);
    }

    /// The chance of a right answer at `level`, over everything that may be true of the learner.
    pub fn success(&self, level: Level) -> f64 {
        let guess = guess_rate(self.alternatives);
        guess + self.above_guessing().at(level)
    }

    /// The chance of hearing it at `level`: success without what guessing adds and inattention
    /// takes. The same observed success means different things with two and with four answers.
    pub fn guess_free_success(&self, level: Level) -> f64 {
        self.mixture(|_| 1.0).at(level).clamp(0.0, 1.0)
    }

    /// The level from which the learner is right in five of six: what can be said in words. The
    /// strongest level when none is strong enough.
    pub fn heard_from(&self) -> Level {
        let above = self.above_guessing();
        let wanted = TARGET - guess_rate(self.alternatives);
        let (mut low, mut high) = (Level::WEAKEST.tenths(), Level::STRONGEST.tenths());
        // Success rises with the level, so the range can be halved.
        while low < high {
            let middle = low + (high - low) / 2;
            if above.at(Level::of_tenths(middle)) >= wanted {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        Level::of_tenths(low)
    }

    /// The level to ask next: where success is predicted in five of six, made `easier` by that many
    /// decibels, moved by up to 1 dB at random, and within what the exercise can make.
    pub fn place(&self, easier: f64, hardest: Level, easiest: Level, seed: Seed) -> Level {
        let jitter = seed.dice().between(-JITTER_TENTHS, JITTER_TENTHS);
        let jitter = i16::try_from(jitter).unwrap_or(0);
        let wanted = Level::of_decibels(self.heard_from().decibels() + easier);
        Level::of_tenths(wanted.tenths() + jitter)
            .min(easiest)
            .max(hardest)
    }

    /// The expected threshold in decibels: the middle of the curve, not the level of five in six.
    pub fn mean(&self) -> f64 {
        self.grid.mean(threshold_at)
    }

    /// The range in decibels that holds the threshold with a probability of 95 %.
    pub fn interval(&self) -> (f64, f64) {
        let marginal = self.grid.marginal();
        (quantile(&marginal, 0.025), quantile(&marginal, 0.975))
    }

    /// The range in decibels that holds the level of five in six with a probability of 95 %, with slope
    /// and lapses taken as they are expected.
    pub fn heard_within(&self) -> (f64, f64) {
        let (low, high) = self.interval();
        let shift = self.heard_from().decibels() - self.mean();
        let within = |x: f64| Level::of_decibels(x + shift).decibels();
        (within(low), within(high))
    }

    /// What is expected above guessing.
    fn above_guessing(&self) -> Mixture {
        let guess = single(guess_rate(self.alternatives));
        self.mixture(|lapse| 1.0 - guess - lapse)
    }

    /// The probabilities of slopes and thresholds, each times what `factor` makes of the lapse.
    fn mixture(&self, factor: impl Fn(f32) -> f32) -> Mixture {
        let scale = 1.0 / self.grid.total();
        let factors = LAPSES.map(|lapse| factor(lapse) * scale);
        let mut weights = [[0.0; N_THRESHOLDS]; N_SLOPES];
        for (row, cells) in self.grid.cells().iter().enumerate() {
            let factor = factors[row % LAPSES.len()];
            for (weight, cell) in weights[row / LAPSES.len()].iter_mut().zip(cells) {
                *weight += factor * cell;
            }
        }
        Mixture(weights)
    }
}

/// Weights of the tabled curves: with their level they give a chance.
struct Mixture([[f32; N_THRESHOLDS]; N_SLOPES]);

impl Mixture {
    fn at(&self, level: Level) -> f64 {
        let mut columns = [0.0_f32; N_THRESHOLDS];
        for (weights, curve) in self.0.iter().zip(CURVES.at(level)) {
            for ((column, weight), phi) in columns.iter_mut().zip(weights).zip(curve) {
                *column += weight * phi;
            }
        }
        f64::from(columns.iter().sum::<f32>())
    }
}

/// Φ((x − t)/σ) for every level that can be asked, slope and threshold: 98 kB, made once.
struct Curves(Vec<[[f32; N_THRESHOLDS]; N_SLOPES]>);

static CURVES: LazyLock<Curves> = LazyLock::new(Curves::new);

impl Curves {
    fn new() -> Self {
        let levels = Level::WEAKEST.tenths()..=Level::STRONGEST.tenths();
        Self(
            levels
                .map(|tenths| {
                    let level = f64::from(tenths) / 10.0;
                    std::array::from_fn(|slope| {
                        std::array::from_fn(|column| {
                            let z = (level - threshold_at(column)) / slope_at(slope);
                            single(normal_cdf(z).clamp(CLIP, 1.0 - CLIP))
                        })
                    })
                })
                .collect(),
        )
    }

    fn at(&self, level: Level) -> &[[f32; N_THRESHOLDS]; N_SLOPES] {
        let offset = level.tenths() - Level::WEAKEST.tenths();
        &self.0[usize::try_from(offset).expect("no level is weaker than the weakest")]
    }
}

fn threshold_at(column: usize) -> f64 {
    LOWEST_THRESHOLD + count(column)
}

fn slope_at(slope: usize) -> f64 {
    let (low, high) = SLOPE_ENDS;
    low * (high / low).powf(count(slope) / count(N_SLOPES - 1))
}

fn guess_rate(alternatives: u8) -> f64 {
    match alternatives {
        0 => 0.0,
        // A single answer could not be wrong and would teach nothing; it counts as two.
        n => 1.0 / f64::from(n.max(2)),
    }
}

/// Where the probabilities of thresholds reach `share` of the whole. Each threshold stands for the
/// decibel about it, so the result is interpolated within that.
fn quantile(marginal: &[f64], share: f64) -> f64 {
    let mut below = 0.0;
    for (column, weight) in marginal.iter().enumerate() {
        if below + weight >= share {
            let within = (share - below) / weight.max(f64::MIN_POSITIVE);
            return threshold_at(column) - 0.5 + within;
        }
        below += weight;
    }
    threshold_at(N_THRESHOLDS - 1) + 0.5
}

/// The standard normal distribution function, by the series of Marsaglia (2004, "Evaluating the
/// normal distribution", J. Statistical Software 11(4)), good to about 1e-15.
pub fn normal_cdf(z: f64) -> f64 {
    if z.abs() > 7.0 {
        return if z > 0.0 { 1.0 } else { 0.0 };
    }
    let (mut sum, mut term, mut odd) = (z, z, 1.0);
    while sum + term != sum {
        odd += 2.0;
        term *= z * z / odd;
        sum += term;
    }
    0.5 + sum * (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt()
}

#[expect(clippy::cast_possible_truncation, reason = "weights need no more")]
fn single(x: f64) -> f32 {
    x as f32
}

#[expect(clippy::cast_precision_loss, reason = "indices of small tables")]
fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
#[path = "threshold_tests.rs"]
mod tests;

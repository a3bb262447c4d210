use serde_json::Value;

use super::*;
use crate::world::Dice;

#[test]
fn the_normal_distribution_is_the_tabled_one() {
    // Abramowitz and Stegun 1964, table 26.1, to the digits given there (from memory).
    for (z, p) in [
        (0.0, 0.5),
        (1.0, 0.841_344_746_068_543),
        (1.96, 0.975_002_104_851_780),
        (3.0, 0.998_650_101_968_370),
        (-2.0, 0.022_750_131_948_179),
    ] {
        assert!((normal_cdf(z) - p).abs() < 1e-12, "{z}: {}", normal_cdf(z));
    }
}

/// QUEST+ with a Weibull curve on a decibel scale and entropy placement, as in Watson 2017, driving
/// the same grid in double precision (the closest call in the fixture is 3.3e-6 nat).
struct Outside<const W: usize, const ROWS: usize> {
    grid: Grid<f64, W, ROWS>,
    domain: [f64; W],
    slopes: [f64; ROWS],
    guess: f64,
    lapse: f64,
}

impl<const W: usize, const ROWS: usize> Outside<W, ROWS> {
    fn new(domain: [f64; W], slopes: &[f64], guess: f64, lapse: f64) -> Self {
        let uniform = 1.0 / (W * ROWS) as f64;
        Self {
            grid: Grid::new(|_, _| uniform),
            domain,
            slopes: slopes.try_into().expect("as many slopes as rows"),
            guess,
            lapse,
        }
    }

    /// `p = 1 − λ − (1 − g − λ)·exp(−10^(slope·(x − t)/20))`, or its complement.
    fn likelihood(&self, level: f64, right: bool, row: usize) -> [f64; W] {
        self.domain.map(|threshold| {
            let inner = 10_f64.powf(self.slopes[row] * (level - threshold) / 20.0);
            let p = 1.0 - self.lapse - (1.0 - self.guess - self.lapse) * (-inner).exp();
            if right { p } else { 1.0 - p }
        })
    }

    fn entropy(&self, level: f64) -> f64 {
        [true, false]
            .into_iter()
            .map(|right| {
                let mut products = Vec::with_capacity(W * ROWS);
                for (row, cells) in self.grid.cells().iter().enumerate() {
                    let likelihood = self.likelihood(level, right, row);
                    products.extend(cells.iter().zip(likelihood).map(|(w, l)| w * l));
                }
                let all: f64 = products.iter().sum();
                let entropy: f64 = products
                    .iter()
                    .map(|p| p / all)
                    .filter(|p| *p > 0.0)
                    .map(|p| -p * p.ln())
                    .sum();
                entropy * all / self.grid.total()
            })
            .sum()
    }

    /// The level of least expected entropy, the lowest of equals, and that entropy.
    fn next(&self) -> (f64, f64) {
        let mut best = (f64::NAN, f64::INFINITY);
        for level in self.domain {
            let entropy = self.entropy(level);
            if entropy < best.1 {
                best = (level, entropy);
            }
        }
        best
    }

    fn learn(&mut self, level: f64, right: bool) {
        let rows: [[f64; W]; ROWS] = std::array::from_fn(|row| self.likelihood(level, right, row));
        self.grid.update(|row| Likelihood::of(&rows[row]), 0.0);
    }

    fn mean(&self) -> f64 {
        self.grid.mean(|column| self.domain[column])
    }

    fn mode(&self) -> (f64, f64) {
        let mut best = (0.0, 0.0, f64::MIN);
        for (row, cells) in self.grid.cells().iter().enumerate() {
            for (column, weight) in cells.iter().enumerate() {
                if *weight > best.2 {
                    best = (self.domain[column], self.slopes[row], *weight);
                }
            }
        }
        (best.0, best.1)
    }
}

fn fixture() -> Value {
    let text = include_str!(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/reference/fixtures/questplus.json"
    ));
    serde_json::from_str(text).expect("the fixture is JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().expect("a list");
    list.iter().map(|v| v.as_f64().expect("a number")).collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

#[track_caller]
fn check_published<const ROWS: usize>(run: &Value) {
    let domain: [f64; 41] = std::array::from_fn(|i| i as f64 - 40.0);
    let mut outside = Outside::<41, ROWS>::new(
        domain,
        &numbers(&run["slopes"]),
        number(&run["lower_asymptote"]),
        number(&run["lapse_rate"]),
    );
    let answers = run["responses"].as_str().expect("answers").chars();
    let levels = numbers(&run["published_stimuli_db"]);
    let means = numbers(&run["mean_threshold_after_each"]);
    assert_eq!(levels.len(), means.len());
    for (trial, answer) in answers.enumerate() {
        let (level, _) = outside.next();
        assert_eq!(level, levels[trial], "trial {trial}");
        outside.learn(level, answer == 'C');
        let error = (outside.mean() - means[trial]).abs();
        assert!(error < 1e-6, "trial {trial}: off by {error:e}");
    }
    let mode = &run["published_mode"];
    let mode = (number(&mode["threshold_db"]), number(&mode["slope"]));
    assert_eq!(outside.mode(), mode);
}

#[test]
fn watson_s_first_sequence_comes_out() {
    check_published::<1>(&fixture()["published"][0]);
}

#[test]
fn watson_s_second_sequence_comes_out() {
    check_published::<4>(&fixture()["published"][1]);
}

#[track_caller]
fn check_trajectory<const W: usize, const ROWS: usize>(run: &Value) {
    let domain = numbers(&run["threshold_domain_db"]);
    let mut outside = Outside::<W, ROWS>::new(
        domain.try_into().expect("as many thresholds as columns"),
        &numbers(&run["slope_domain"]),
        number(&run["lower_asymptote"]),
        number(&run["lapse_rate"]),
    );
    for trial in run["trials"].as_array().expect("trials") {
        let (level, entropy) = outside.next();
        assert_eq!(level, number(&trial["stimulus_db"]));
        assert!((entropy - number(&trial["expected_entropy_nats"])).abs() < 1e-6);
        outside.learn(level, trial["answer"] == "Correct");
        assert!((outside.mean() - number(&trial["mean_threshold_db"])).abs() < 1e-6);
    }
    let marginal = outside.grid.marginal();
    for (got, expected) in marginal
        .iter()
        .zip(numbers(&run["final_marginal_threshold"]))
    {
        assert!((got - expected).abs() < 1e-6, "{got} instead of {expected}");
    }
}

#[test]
fn two_further_trajectories_come_out() {
    let fixture = fixture();
    check_trajectory::<41, 1>(&fixture["trajectories"][0]);
    check_trajectory::<16, 4>(&fixture["trajectories"][1]);
}

/// A listener who is as the model says.
struct Listener {
    threshold: f64,
    slope: f64,
    lapse: f64,
    guess: f64,
}

impl Listener {
    fn success(&self, level: f64) -> f64 {
        let z = (level - self.threshold) / self.slope;
        self.guess + (1.0 - self.guess - self.lapse) * normal_cdf(z)
    }

    /// The level at which this listener is right in five of six.
    fn target(&self) -> f64 {
        let (mut low, mut high) = (-60.0, 80.0);
        for _ in 0..60 {
            let middle = (low + high) / 2.0;
            if self.success(middle) < TARGET {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    fn answers(&self, level: Level, dice: &mut Dice) -> bool {
        dice.real(0.0, 1.0) < self.success(level.decibels())
    }
}

fn normal(dice: &mut Dice) -> f64 {
    // Box and Muller 1958.
    let radius = (-2.0 * dice.real(1e-12, 1.0).ln()).sqrt();
    radius * (std::f64::consts::TAU * dice.real(0.0, 1.0)).cos()
}

/// A listener drawn from N(6, 4) dB with slopes about 3 dB and lapses up to 8 %, whose level of
/// five in six can be asked with room to either side: no procedure can hold others there.
fn draw(alternatives: u8, dice: &mut Dice) -> Listener {
    loop {
        let listener = Listener {
            threshold: 6.0 + 4.0 * normal(dice),
            slope: 3.0 * (0.5 * normal(dice)).exp(),
            lapse: dice.real(0.0, 0.08),
            guess: guess_rate(alternatives),
        };
        if (3.0..=10.5).contains(&listener.target()) && (1.2..8.0).contains(&listener.slope) {
            return listener;
        }
    }
}

/// Bias and standard deviation of the estimated level of five in six after 80 attempts, in
/// decibels, and the share of right answers on the way.
fn simulate(alternatives: u8, n_listeners: u64) -> (f64, f64, f64) {
    let mut errors = Vec::new();
    let mut n_right = 0;
    for number in 0..n_listeners {
        let seed = Seed(20_170).child("listener", number * 8 + u64::from(alternatives));
        let mut dice = seed.dice();
        let listener = draw(alternatives, &mut dice);
        let mut threshold = Threshold::new(alternatives, 6.0, 6.0);
        for trial in 0..80 {
            let level = threshold.place(
                0.0,
                Level::WEAKEST,
                Level::STRONGEST,
                seed.child("place", trial),
            );
            let right = listener.answers(level, &mut dice);
            n_right += u64::from(right);
            threshold.learn(level, right);
        }
        errors.push(threshold.heard_from().decibels() - listener.target());
    }
    let n = n_listeners as f64;
    let bias = errors.iter().sum::<f64>() / n;
    let variance = errors.iter().map(|e| (e - bias).powi(2)).sum::<f64>() / (n - 1.0);
    (bias, variance.sqrt(), n_right as f64 / (80.0 * n))
}

#[track_caller]
fn check_simulation(alternatives: u8) {
    let (bias, sd, success) = simulate(alternatives, 600);
    assert!(bias.abs() < 0.3, "bias {bias}, SD {sd}, success {success}");
    assert!(sd < 1.3, "SD {sd}");
    assert!((0.80..=0.85).contains(&success), "success {success}");
}

// The bounds are the aims of the design: 0.3 dB, 1.3 dB and 80 to 85 % after 80 attempts.
#[test]
fn listeners_with_two_answers_are_measured() {
    check_simulation(2);
}

#[test]
fn listeners_with_three_answers_are_measured() {
    check_simulation(3);
}

#[test]
fn listeners_with_four_answers_are_measured() {
    check_simulation(4);
}

#[test]
fn a_wrong_expectation_is_overcome() {
    for mean in [0.0, 12.0] {
        let mut total = 0.0;
        for number in 0..60 {
            let seed = Seed(9).child("listener", number);
            let mut dice = seed.dice();
            let listener = draw(3, &mut dice);
            let mut threshold = Threshold::new(3, mean, 6.0);
            for trial in 0..80 {
                let at = seed.child("place", trial);
                let level = threshold.place(0.0, Level::WEAKEST, Level::STRONGEST, at);
                threshold.learn(level, listener.answers(level, &mut dice));
            }
            total += threshold.heard_from().decibels() - listener.target();
        }
        assert!((total / 60.0).abs() < 0.5, "{mean}: {}", total / 60.0);
    }
}

#[test]
fn runs_of_one_answer_stay_on_the_grid() {
    for alternatives in [0, 1, 2, 3, 12] {
        for right in [true, false] {
            let mut threshold = Threshold::new(alternatives, 6.0, 6.0);
            for trial in 0..200 {
                let level = threshold.place(0.0, Level::WEAKEST, Level::STRONGEST, Seed(trial));
                threshold.learn(level, right);
            }
            let (low, high) = threshold.interval();
            let mean = threshold.mean();
            assert!((-10.5..=22.5).contains(&low) && (-10.5..=22.5).contains(&high));
            assert!(low <= mean && mean <= high, "{low} {mean} {high}");
            assert!(
                threshold
                    .weights()
                    .iter()
                    .all(|w| w.is_finite() && *w > 0.0)
            );
            let whole: f64 = threshold.grid.marginal().iter().sum();
            assert!((whole - 1.0).abs() < 1e-6, "{whole}");
            assert_eq!(mean < 6.0, right, "{mean} after {right}");
        }
    }
}

#[test]
fn a_miss_on_a_very_easy_phrase_is_inattention() {
    let settled = || {
        let mut threshold = Threshold::new(3, 3.0, 2.0);
        for _ in 0..12 {
            threshold.learn(Level::of_tenths(60), true);
            threshold.learn(Level::of_tenths(100), true);
        }
        threshold
    };
    let (mut easy, mut near) = (settled(), settled());
    let before = easy.heard_from().decibels();
    easy.learn(Level::STRONGEST, false);
    near.learn(Level::of_tenths(30), false);
    let (by_easy, by_near) = (
        easy.mean() - settled().mean(),
        near.mean() - settled().mean(),
    );
    assert!(by_easy < by_near, "{by_easy} against {by_near}");
    assert!(easy.heard_from().decibels() < before + 2.0);
}

#[test]
fn guess_free_success_at_the_target_depends_on_the_answers() {
    // (0.825 − g)/(1 − g − λ) with the mean lapse expected beforehand, 0.0418. With λ = 0.02 it would be
    // 0.68, 0.76 and 0.79 for 2, 3 and 4 answers.
    for (alternatives, expected) in [(2, 0.709), (3, 0.787), (4, 0.812), (0, 0.861)] {
        let threshold = Threshold::new(alternatives, 5.0, 0.5);
        let got = threshold.guess_free_success(threshold.heard_from());
        // A tenth of a decibel is at most 0.015 of success.
        assert!((got - expected).abs() < 0.015, "{alternatives}: {got}");
        let observed = threshold.success(threshold.heard_from());
        assert!(
            (observed - 0.825).abs() < 0.015,
            "{alternatives}: {observed}"
        );
    }
}

#[test]
fn placing_keeps_to_what_can_be_made() {
    let threshold = Threshold::new(3, 6.0, 6.0);
    for n in 0..50 {
        let level = threshold.place(0.0, Level::of_tenths(30), Level::of_tenths(50), Seed(n));
        assert!((30..=50).contains(&level.tenths()));
    }
    let here = threshold.heard_from().tenths();
    let spread: Vec<i16> = (0..50)
        .map(|n| {
            let level = threshold.place(0.0, Level::WEAKEST, Level::STRONGEST, Seed(n));
            level.tenths() - here
        })
        .collect();
    assert!(spread.iter().any(|d| *d < -5) && spread.iter().all(|d| d.abs() <= 10));
}
